"""Text set in a column: paragraphs, labelled rows, swatches, one under the other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from .face import ITALIC, PT, REGULAR, SEMIBOLD, face, text_width, wrap
from .page import INK, QUIET, Box, Item, Line, Text

__all__ = ["Column", "Style"]


@dataclass(frozen=True, slots=True)
class Style:
    """``size`` in points; ``leading`` from baseline to baseline, in sizes."""

    size: float
    weight: str = REGULAR
    colour: tuple[int, int, int] = INK
    leading: float = 1.36

    @property
    def step(self) -> float:
        """mm from line to line."""
        return self.size * PT * self.leading

    @property
    def cap(self) -> float:
        """Height of a capital in mm."""
        f = face(self.weight)
        return f.cap_height / f.units * self.size * PT

    @property
    def drop(self) -> float:
        """mm from the baseline to the lowest descender."""
        f = face(self.weight)
        return f.descent / f.units * self.size * PT

    def bold(self) -> Style:
        return replace(self, weight=SEMIBOLD)

    def slanted(self) -> Style:
        return replace(self, weight=ITALIC)

    def quiet(self) -> Style:
        return replace(self, colour=QUIET)


@dataclass
class Column:
    """Things set from ``y`` down between ``x`` and ``x + width``, in mm; ``y`` moves on with each.

    most  lines that a paragraph may have, None for as many as it takes.
    """

    x: float
    y: float
    width: float
    most: int | None = None
    items: list[Item] = field(default_factory=list)

    def space(self, mm: float) -> None:
        self.y += mm

    def text(self, words: str, style: Style, *, indent: float = 0.0, most: int | None = None) -> None:
        """A paragraph; the top of its capitals at ``y``. Nothing at all for no words."""
        self._lines(wrap(words, style.weight, style.size, self.width - indent, most=most or self.most), style, self.x + indent)

    def _lines(self, lines: list[str], style: Style, x: float) -> None:
        if not lines:
            return
        self.items += [Text(x, self.y + style.cap + i * style.step, line, style.size, style.weight, style.colour)
                       for i, line in enumerate(lines)]
        self.y += style.cap + (len(lines) - 1) * style.step + style.drop

    def row(self, label: str, words: str, style: Style, *, indent: float, label_style: Style | None = None) -> None:
        """A quiet label at the left and a paragraph beside it, from ``indent`` on; the longer one decides the height."""
        beside = Column(self.x, self.y, indent - 1.5, self.most)
        beside.text(label, label_style or style.quiet())
        own = Column(self.x + indent, self.y, self.width - indent, self.most)
        own.text(words, style)
        self.items += beside.items + own.items
        self.y = max(beside.y, own.y)

    def numbered(self, number: str, words: str, style: Style, *, indent: float) -> None:
        """A step of a list, its number hanging in front."""
        top = self.y
        self.text(words, style, indent=indent)
        if self.y > top:
            self.items.append(Text(self.x, top + style.cap, number, style.size, style.weight, QUIET))

    def swatch(self, colours: tuple[tuple[int, int, int], ...], lines: list[tuple[str, Style]], *, side: float, gap: float) -> None:
        """A patch, ``side`` mm square, of one colour or of several beside each other, and paragraphs; the taller one decides the height."""
        top, wide = self.y, side / len(colours)
        self.items += [Box(self.x + k * wide, top, wide, side, colour) for k, colour in enumerate(colours)]
        beside = Column(self.x + side + gap, top, self.width - side - gap, self.most)
        for i, (words, style) in enumerate(lines):
            if i and words:
                beside.space(style.size * PT * 0.5)
            beside.text(words, style)
        self.items += beside.items
        self.y = max(top + side, beside.y)

    def rule(self, colour: tuple[int, int, int], width: float = 0.15) -> None:
        self.items.append(Line(self.x, self.y, self.x + self.width, self.y, width, colour))

    def label_width(self, labels: list[str], style: Style, *, most: float) -> float:
        """Room for the widest of some labels, at most a share ``most`` of the column."""
        return min(max(text_width(label, style.weight, style.size) for label in labels) + 2.6, self.width * most)
