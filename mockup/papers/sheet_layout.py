"""Where everything stands on a sheet: captions of cells, rows of cells, head and foot."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import zip_longest

from .describe import capital
from .face import PT, text_width
from .flow import Column, Style
from .page import INK, PALE, QUIET, Box, Item, Line, Text
from .placed import placed

__all__ = ["Cell", "Facts", "Frame", "Layout", "Sheet", "lay_out"]

SCREEN_WIDTH = 320.0  # mm: with it 9 points are 16 pixels on a sheet of 1600
LARGEST, SMALLEST, STEP = 9.0, 6.5, 0.5  # points of a caption
ON_PAPER = {2: 10.5, 3: 9.0, 4: 8.5}      # the largest by columns, where the page has room
TALLEST = 210.0   # mm of a picture on a page of free height
DESK = 210.0      # mm: the short side of paper that is read from the hand
LARGER = 1.2      # times as large is not
ENOUGH = 0.42     # share of a row that its pictures should keep before captions are made smaller
ENDS = ("light", "expected", "dark")
CUTS = (8, 6, 5, 4, 3, 2, 1)


@dataclass(frozen=True, slots=True)
class Facts:
    """What is said of some parts of an option."""

    titles: tuple[str, ...]
    wood: str
    finish: str
    sheen: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One option: the size of its picture in instrument mm, and all of its caption.

    swatches  one colour, or two of a burst: its middle and its edge.
    colours   their values in words, each with what it is the colour of.
    ends      the colour if it comes out light, as expected, and if dark; () where none is predicted.
    range     what they are the range of, and how wide it is.
    only      what that range holds for alone; "" where the wood's own colour is known.
    """

    size: tuple[float, float]
    title: str
    why: str
    swatches: tuple[tuple[int, int, int], ...]
    colours: tuple[str, ...]
    facts: tuple[Facts, ...]
    ends: tuple[tuple[int, int, int], ...] = ()
    range: str = ""
    only: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """The words of a sheet."""

    title: str
    edition: str
    client: str
    cells: tuple[Cell, ...]
    alike: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a picture goes: a rectangle in mm."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A sheet laid out. ``scale`` is mm of page per mm of instrument, the same in every frame."""

    width: float
    height: float
    scale: float
    frames: tuple[Frame, ...]
    items: tuple[Item, ...]
    captions: tuple[tuple[Item, ...], ...] = field(default=())


def lay_out(sheet: Sheet, paper: tuple[float, float] | None) -> Layout:
    """A sheet of ``paper`` mm (upright or on its side, whichever shows the instruments larger), or of free height.

    Paper larger than that of a desk is hung up: words grow with the pictures, as if the sheet were enlarged.
    """
    if paper is None:
        return _free(sheet)
    grown = min(paper) / DESK
    if grown > LARGER:
        made = lay_out(sheet, (paper[0] / grown, paper[1] / grown))
        size = (min(paper), max(paper))[::1 if made.height >= made.width else -1]
        return Layout(*size, made.scale * grown, tuple(Frame(*(v * grown for v in (f.x, f.y, f.width, f.height))) for f in made.frames),
                      tuple(placed(i, 1 / grown, 0, 0) for i in made.items), tuple(tuple(placed(i, 1 / grown, 0, 0) for i in c) for c in made.captions))
    upright = _on_paper(sheet, min(paper), max(paper))
    lying = _on_paper(sheet, max(paper), min(paper))
    return lying if lying.scale >= upright.scale else upright


@dataclass(frozen=True, slots=True)
class _Grid:
    """Rows of cells across a page."""

    rows: tuple[tuple[int, ...], ...]
    columns: int
    left: float
    gutter: float
    cell: float

    def x(self, column: int) -> float:
        return self.left + column * (self.cell + self.gutter)


def _grid(count: int, width: float, margin: float) -> _Grid:
    """Up to four in a row, five to eight in two rows."""
    columns = count if count <= 4 else math.ceil(count / 2)
    rows = tuple(tuple(range(first, min(first + columns, count))) for first in range(0, count, columns))
    gutter = {1: 0.0, 2: 9.0, 3: 8.0, 4: 6.5}[columns]
    return _Grid(rows, columns, margin, gutter, (width - 2 * margin - (columns - 1) * gutter) / columns)


def _size(sheet: Sheet) -> tuple[float, float]:
    return max(c.size[0] for c in sheet.cells), max(c.size[1] for c in sheet.cells)


def _free(sheet: Sheet) -> Layout:
    width, margin = SCREEN_WIDTH, 13.0
    wide, high = _size(sheet)
    grid = _grid(len(sheet.cells), width, margin)
    scale = min(grid.cell / wide, TALLEST / high)
    head = _head(sheet, margin, width, large=True)
    return _assemble(sheet, grid, head, scale, width, margin, LARGEST, None, None)


def _on_paper(sheet: Sheet, width: float, height: float) -> Layout:
    margin = 11.0
    wide, high = _size(sheet)
    grid = _grid(len(sheet.cells), width, margin)
    head = _head(sheet, margin, width, large=False)
    foot = _foot(sheet, 0.0, margin, width)
    room = height - margin - head.y - foot.y
    largest = ON_PAPER[grid.columns]
    sizes = [largest - STEP * k for k in range(int((largest - SMALLEST) / STEP) + 1)]
    tries: list[tuple[float, int | None]] = [(size, None) for size in sizes] + [(SMALLEST, most) for most in CUTS]
    for size, most in tries:
        captions = sum(_captions([sheet.cells[k] for k in row], grid, 0.0, size, most)[0].y for row in grid.rows)
        free = (room - captions - (len(grid.rows)) * _row_gap(size)) / len(grid.rows)
        # Good enough when the width decides the scale, or pictures keep their share.
        if free >= min(grid.cell * high / wide, ENOUGH * room / len(grid.rows)):
            break
    scale = min(grid.cell / wide, max(free, 8.0) / high)
    return _assemble(sheet, grid, head, scale, width, margin, size, most, height)


def _row_gap(size: float) -> float:
    return 2.2 * size * PT


def _assemble(sheet: Sheet, grid: _Grid, head: Column, scale: float, width: float, margin: float, size: float, most: int | None,
              height: float | None) -> Layout:
    """Put rows of cells under the head and the foot under them, or at the bottom of a page of fixed height."""
    picture = _size(sheet)[1] * scale
    items, frames = list(head.items), [Frame(0, 0, 0, 0)] * len(sheet.cells)
    captions: list[tuple[Item, ...]] = [()] * len(sheet.cells)
    y = head.y
    for row in grid.rows:
        made = _captions([sheet.cells[k] for k in row], grid, y + picture, size, most)
        for k, caption in zip(row, made, strict=True):
            frames[k] = Frame(caption.x, y, grid.cell, picture)
            captions[k] = tuple(caption.items)
            items += caption.items
        y = made[0].y + _row_gap(size)
    foot = _foot(sheet, 0.0, margin, width)
    if height is None:
        height = y + foot.y + margin
    top = height - margin - foot.y
    foot = _foot(sheet, top, margin, width)
    return Layout(width, height, scale, tuple(frames), (*items, *foot.items), tuple(captions))


def _head(sheet: Sheet, margin: float, width: float, *, large: bool) -> Column:
    """Title at the left, revision and date at the right; ``y`` ends where the pictures begin."""
    title, side = Style(20 if large else 17, leading=1.2), Style(9 if large else 8)
    right = 0.34 * (width - 2 * margin)
    beside = Column(width - margin - right, margin, right)
    left = Column(margin, margin, width - 2 * margin - right - 6)
    left.text(sheet.title, title.bold(), most=3)
    left.space(2.2)
    left.text(f"{_count(len(sheet.cells))} options at the same light, scale and exposure", side.quiet())
    beside.space(title.cap - side.cap)  # baselines of the first lines level
    for words in (sheet.edition, f"For {sheet.client}" if sheet.client else ""):
        if words:
            beside.text(words, side.quiet(), most=2)
            beside.space(1.4)
    beside.items = [_to_right(item, width - margin) for item in beside.items]
    left.items += beside.items
    left.y = max(left.y, beside.y) + (5.5 if large else 4.0)
    return left


def _to_right(item: Text, right: float) -> Text:
    return replace(item, x=right, align="right")


def _count(n: int) -> str:
    return ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight")[n]


def _captions(cells: Sequence[Cell], grid: _Grid, y: float, size: float, most: int | None) -> list[Column]:
    """The captions of one row of cells. What stands beside each other begins at one height, and all end at one."""
    columns = [Column(grid.x(k), y, grid.cell, most) for k in range(len(cells))]
    shown = [c.facts if most is None else c.facts[:max(1, min(3, most - 1))] for c in cells]
    labels = ["Finish", *(word for c in cells for word in c.range.split(" ")), *(_titles(f) for facts in shown for f in facts[1:])]
    indent = _indent(labels, Style(size), grid.cell)
    for blocks in zip_longest(*(_blocks(c, facts, size, indent) for c, facts in zip(cells, shown, strict=True))):
        for column, block in zip(columns, blocks, strict=True):
            if block is not None:
                block(column)
        level = max(column.y for column in columns)
        for column in columns:
            column.y = level
    return columns


def _indent(labels: Sequence[str], style: Style, width: float) -> float:
    """Room for labels: that of the widest, at most a third, but none has a word broken where it need not be."""
    room = min(max(text_width(label, style.weight, style.size) for label in labels), 0.30 * width)
    word = max(text_width(w, style.weight, style.size) for label in labels for w in label.split() or [""])
    return max(room, min(word, 0.42 * width)) + 2.6


def _blocks(cell: Cell, shown: tuple[Facts, ...], size: float, indent: float) -> list[Callable[[Column], None]]:
    """What a caption is made of, from top to bottom: swatch and title, the reason, the range, then wood, finish and sheen."""
    em = size * PT
    style = Style(size)

    def head(column: Column) -> None:
        title, small = Style(size * 1.28, leading=1.22).bold(), Style(size * 0.92).quiet()
        column.space(1.1 * em)
        side, gap = 3.1 * em, 0.9 * em
        lines: list[str] = []
        for words in cell.colours:
            fits = text_width(words, small.weight, small.size) <= column.width - side - gap
            lines += [words] if fits else words.split(" · ")
        column.swatch(cell.swatches, [(cell.title, title), *((words, small) for words in lines)], side=side, gap=gap)

    def why(column: Column) -> None:
        if cell.why:
            column.space(1.05 * em)
            column.text(cell.why, style.slanted())

    def ends(column: Column) -> None:
        column.space(1.05 * em)
        if cell.ends:
            _strip(column, cell, style, indent)
            column.space(0.75 * em)

    def fact(label: str, words: str, gap: float = 0.62) -> Callable[[Column], None]:
        def block(column: Column) -> None:
            column.space(gap * em)
            column.row(label, capital(words), style, indent=indent)

        return block

    first = shown[0]
    blocks = [head, why, ends, fact("Wood", first.wood, 0.0), fact("Finish", first.finish), fact("Sheen", first.sheen)]
    blocks += [fact(_titles(f), f"{f.wood}; {f.finish}; {f.sheen}") for f in shown[1:]]
    left = len(cell.facts) - len(shown)
    if left:
        def more(column: Column) -> None:
            column.space(0.62 * em)
            column.text(f"and {left} more, see the approval", style.quiet())

        blocks.append(more)
    return blocks


def _strip(column: Column, cell: Cell, style: Style, indent: float) -> None:
    """The colours that may come out, beside each other, each with what it is under it."""
    em, top, small = style.size * PT, column.y, Style(style.size * 0.92).quiet()
    label = Column(column.x, top, indent - 1.5)
    label.text(cell.range, style.quiet())
    x, room = column.x + indent, column.width - indent
    wide, high = min(5.2 * em, room / len(ENDS)), 1.35 * em
    column.items += [Box(x + k * wide, top, wide, high, colour) for k, colour in enumerate(cell.ends)]
    under = Column(x, top + high + 0.5 * em, room, column.most)
    if max(text_width(word, small.weight, small.size) for word in ENDS) < wide - 0.5 * em:
        under.items += [Text(x + (k + 0.5) * wide, under.y + small.cap, word, small.size, small.weight, small.colour, "middle")
                        for k, word in enumerate(ENDS)]
        under.space(small.cap + small.drop)
    else:
        under.text(", ".join(ENDS), small)
    if cell.only:
        under.space(0.45 * em)
        under.text(cell.only, small)
    column.items += [*label.items, *under.items]
    column.y = max(label.y, under.y)


def _titles(facts: Facts) -> str:
    shown = ", ".join(facts.titles[:3])
    return shown if len(facts.titles) <= 3 else f"{shown} …"


def _foot(sheet: Sheet, y: float, margin: float, width: float) -> Column:
    """What options may look alike, then a rule and the small print; ``y`` ends at its last line."""
    column = Column(margin, y, width - 2 * margin)
    plain, small = Style(9, colour=INK), Style(7.5, colour=QUIET)
    for sentence in sheet.alike:
        column.text(sentence, plain, most=3)
        column.space(1.3)
    column.space(1.7 if sheet.alike else 0)
    column.items.append(Line(margin, column.y, width - margin, column.y, 0.15, PALE))
    column.space(2.4)
    column.text(" ".join(sheet.notes), small, most=6)
    return column
