"""Pages of one paper filled from top to bottom: headings, paragraphs, tables and pictures, with breaks where they must be."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .face import SEMIBOLD, text_width
from .flow import Column, Style
from .page import INK, PALE, QUIET, Box, Image, Item, Line, Page, Path, Text, paper_size

__all__ = ["BODY", "EM", "SMALL", "Booklet"]

MARGIN = 16.0
FOOT = 13.0
BODY, SMALL = Style(9.5, leading=1.38), Style(8.2, colour=QUIET, leading=1.36)
EM = BODY.size * 25.4 / 72
CELL = Style(8.6, leading=1.3)
BETWEEN = 3.2  # mm between columns of a table


@dataclass
class Booklet:
    """Pages of ``paper``, upright, being filled.

    title, detail, edition  for the head of each page; ``note`` for its foot.
    px_per_mm               of its pictures.
    """

    paper: str
    title: str
    detail: str
    edition: str
    note: str
    px_per_mm: float = 150 / 25.4
    _pages: list[list[Item] | Page] = field(default_factory=list)
    _titles: list[str] = field(default_factory=list)
    column: Column = field(init=False)
    _top: float = field(init=False)

    def __post_init__(self) -> None:
        self.width, self.height = paper_size(self.paper)

    @property
    def inner(self) -> float:
        """mm between the margins."""
        return self.width - 2 * MARGIN

    @property
    def room(self) -> float:
        """mm left on the page."""
        return self.height - MARGIN - FOOT - self.column.y

    @property
    def bottom(self) -> float:
        """y of the last line that may be set."""
        return self.height - MARGIN - FOOT

    def page(self, name: str) -> None:
        """Begin a page with its head."""
        self._pages.append([])
        self._titles.append(name)
        side = Column(0, MARGIN, 70)
        side.text(self.edition, SMALL)
        column = Column(MARGIN, MARGIN, self.inner)
        column.text(name, Style(17, leading=1.18).bold(), most=2)
        column.space(2.2)
        column.text(f"{self.title}. {self.detail}" if self.detail else self.title, BODY.quiet(), most=2)
        for item in side.items:
            if isinstance(item, Text):
                column.items.append(Text(self.width - MARGIN, item.y + 2.6, item.text, item.size, item.weight, item.colour, "right"))
        column.space(3.6)
        column.rule(INK, 0.3)
        column.space(4.6)
        self._keep(column.items)
        self.column = Column(MARGIN, column.y, self.inner)
        self._top = column.y + 1.0

    def insert(self, page: Page) -> None:
        """A page made elsewhere, counted with the others; the next one must be begun."""
        self._pages.append(page)
        self._titles.append(page.title)

    def _keep(self, items: Sequence[Item]) -> None:
        here = self._pages[-1]
        assert isinstance(here, list)  # a page made elsewhere is not added to
        here += items

    def need(self, mm: float) -> None:
        """Go on to a new page unless this much room is left."""
        if mm > self.room:
            name = self._titles[-1]
            self.page(name if name.endswith("(continued)") else f"{name} (continued)")

    def put(self, items: Sequence[Item], height: float = 0.0) -> None:
        """Things already placed on this page; the column goes on below ``height`` mm."""
        self._keep(items)
        self.column.y += height

    def space(self, mm: float) -> None:
        self.column.y += mm

    def heading(self, words: str, *, keep: float = 22.0) -> None:
        """A heading that stays with what follows, ``keep`` mm of it."""
        self.need(keep)
        if self.column.y > self._top:
            self.space(3.0)
        own = Column(MARGIN, self.column.y, self.inner)
        own.text(words, Style(11, leading=1.25).bold())
        self.put(own.items, own.y - self.column.y + 2.6)

    def text(self, words: str, style: Style = BODY, *, indent: float = 0.0, after: float = 2.0) -> None:
        """A paragraph, whole on one page."""
        own = Column(MARGIN, self.column.y, self.inner)
        own.text(words, style, indent=indent)
        if own.y > self.bottom:
            self.need(own.y - self.column.y)
            own = Column(MARGIN, self.column.y, self.inner)
            own.text(words, style, indent=indent)
        self.put(own.items, own.y - self.column.y + after)

    def height_of(self, words: str, style: Style = BODY) -> float:
        """mm that a paragraph takes."""
        own = Column(0, 0, self.inner)
        own.text(words, style)
        return own.y

    def mark(self, words: str, *, good: bool) -> None:
        """A verdict over the whole width: filled when it is good, framed when it is not."""
        style = Style(13, SEMIBOLD, (255, 255, 255) if good else (150, 24, 16))
        own = Column(MARGIN + 5, self.column.y + 4.2, self.inner - 10)
        own.text(words, style)
        high = own.y - self.column.y + 3.4
        corners = np.array([[MARGIN, self.column.y], [MARGIN + self.inner, self.column.y],
                            [MARGIN + self.inner, self.column.y + high], [MARGIN, self.column.y + high]])
        bed = Box(MARGIN, self.column.y, self.inner, high, (38, 92, 54)) if good else Path((corners,), 0.5, (150, 24, 16), closed=True)
        self.put([bed, *own.items], high + 4.5)

    def image(self, pixels: np.ndarray, *, width: float, x: float | None = None, after: float = 3.0) -> tuple[float, float]:
        """A picture ``width`` mm wide; where its top left corner came to lie."""
        height = pixels.shape[0] / pixels.shape[1] * width
        self.need(height)
        at = (MARGIN if x is None else x, self.column.y)
        self.put([Image(*at, width, height, pixels)], height + after)
        return at

    def table_height(self, head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], *, style: Style = CELL) -> float:
        """mm that a table takes, for keeping it whole."""
        free = self.inner - BETWEEN * (len(shares) - 1)
        high = 0.0
        for cells, look in ((head, style.bold()), *((row, style) for row in rows)):
            lowest = 0.0
            for cell, share in zip(cells, shares, strict=True):
                own = Column(0, 0, free * share / sum(shares))
                for n, piece in enumerate(cell.split("\n")):
                    own.space(1.0 if n else 0.0)
                    own.text(piece, look)
                lowest = max(lowest, own.y)
            high += lowest + 3.4
        return high

    def table(self, head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], *, right: Sequence[int] = (),
              after: float = 4.0, style: Style = CELL, joined: Collection[int] = ()) -> None:
        """Rows of words under a head that comes again on each page.

        shares  widths of columns, in any unit; ``right`` which of them are set to the right. A cell may hold lines parted by a line break.
        joined  numbers of rows that stay on the page of the row before.
        """
        free = self.inner - BETWEEN * (len(shares) - 1)
        widths = [free * s / sum(shares) for s in shares]
        starts = [MARGIN + sum(widths[:k]) + BETWEEN * k for k in range(len(widths))]

        def line(cells: Sequence[str], style: Style) -> tuple[list[Item], float]:
            items: list[Item] = []
            lowest = 0.0
            for k, cell in enumerate(cells):
                own = Column(starts[k], 0, widths[k])
                for n, piece in enumerate(cell.split("\n")):
                    own.space(1.0 if n else 0.0)
                    own.text(piece, style)
                lowest = max(lowest, own.y)
                for item in own.items:
                    if k in right and isinstance(item, Text):
                        item = Text(starts[k] + widths[k], item.y, item.text, item.size, item.weight, item.colour, "right")
                    items.append(item)
            return items, lowest

        def add(cells: Sequence[str], style: Style, rule: tuple[int, int, int], *, heads: bool = False) -> None:
            items, high = line(cells, style)
            if not heads and self.column.y + high + 3.4 > self.bottom:
                self.need(1e6)
                add(head, style.bold(), INK, heads=True)
            moved = [Text(i.x, i.y + self.column.y + 1.5, i.text, i.size, i.weight, i.colour, i.align) for i in items]
            low = self.column.y + high + 3.0
            moved.append(Line(MARGIN, low, MARGIN + self.inner, low, 0.25 if rule == INK else 0.12, rule))
            self.put(moved, high + 3.0 + 0.4)

        self.need(20.0)
        add(head, style.bold(), INK, heads=True)
        for n, row in enumerate(rows):
            if n not in joined:
                more = 0.0
                for k in range(n + 1, len(rows)):
                    if k not in joined:
                        break
                    more += line(rows[k], style)[1] + 3.4
                if more and self.column.y + line(row, style)[1] + 3.4 + more > self.bottom:
                    self.need(1e6)
                    add(head, style.bold(), INK, heads=True)
            add(row, style, PALE)
        self.space(after)

    def done(self) -> list[Page]:
        """The pages, each with its foot."""
        pages = []
        for number, (items, title) in enumerate(zip(self._pages, self._titles, strict=True), 1):
            if isinstance(items, Page):
                # Its own foot fills its margin's edge: the number stands below.
                count = Text(items.width - MARGIN, items.height - 5.5, f"{number} of {len(self._pages)}", SMALL.size, SMALL.weight, QUIET, "right")
                pages.append(replace(items, items=(*items.items, count)))
                continue
            y = self.height - MARGIN - 4.5
            note = Column(MARGIN, y + 2.4, self.inner - 30)
            note.text(self.note, SMALL, most=2)
            foot: list[Item] = [Line(MARGIN, y, self.width - MARGIN, y, 0.15, PALE), *note.items,
                                Text(self.width - MARGIN, y + 2.4 + SMALL.cap, f"{number} of {len(self._pages)}", SMALL.size, SMALL.weight,
                                     QUIET, "right")]
            pages.append(Page(self.width, self.height, (*items, *foot), self.px_per_mm, title=f"{self.title}: {title}"))
        return pages

    def fits(self, words: str, style: Style, width: float) -> bool:
        """Whether a line of words is no wider than ``width`` mm."""
        return text_width(words, style.weight, style.size) <= width
