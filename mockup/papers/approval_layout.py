"""Where everything stands on an approval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from .face import PT
from .flow import Column, Style
from .page import INK, PALE, QUIET, Box, Image, Item, Line, Text

__all__ = ["HIGHEST", "WIDTH", "Approval", "Plan", "Recipe", "Target", "Thumbnail", "lay_out", "plan", "words_height"]

WIDTH, LEAST_HEIGHT = 420.0, 297.0  # mm: A3 on its side
MARGIN, GUTTER = 15.0, 11.0
HIGHEST = 224.0  # mm of a picture beside words; more where the words themselves are longer
ACROSS, BETWEEN = 2, 6.0  # thumbnails in a row, and mm between them
TITLE, BODY, SMALL = Style(24, leading=1.18), Style(10.5, leading=1.4), Style(9, colour=QUIET, leading=1.4)
EM = 10.5 * PT


@dataclass(frozen=True, slots=True)
class Recipe:
    """Steps of the parts that share a finish."""

    title: str
    wood: str
    steps: tuple[str, ...]
    sheen: str
    binding: str = ""


@dataclass(frozen=True, slots=True)
class Target:
    """The colour a part should meet: patches, labelled values, and how far the wood itself varies.

    ends  the colour if it comes out light, as expected, and if dark, of a burst that of its middle; () where none is predicted.
    """

    title: str
    patches: tuple[tuple[int, int, int], ...]
    rows: tuple[tuple[str, str], ...]
    range: str
    ends: tuple[tuple[int, int, int], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Thumbnail:
    """A part's outline over its board: a picture at the page's pixels, and words."""

    pixels: object
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Approval:
    """The words and thumbnails of an approval."""

    title: str
    variant: str
    why: str
    edition: str
    client: str
    recipes: tuple[Recipe, ...]
    targets: tuple[Target, ...]
    basis: str
    thumbnails: tuple[Thumbnail, ...]
    notes: tuple[str, ...]
    fingerprint: str
    answer: tuple[str, ...] = ()  # the client's words, "" for none, and whose they are
    signed: str | None = None     # who signs; None for the client


@dataclass(frozen=True, slots=True)
class Plan:
    """How the page is divided for a picture of a given size in instrument mm.

    scale      mm of page per mm of instrument.
    beside     True when the words stand at the right of the picture, False when under it.
    columns    x and width of each column of words.
    thumbnail  widest and highest a thumbnail may be, mm.
    """

    scale: float
    beside: bool
    picture: tuple[float, float]
    columns: tuple[tuple[float, float], ...]
    thumbnail: tuple[float, float]


def plan(size: tuple[float, float], thumbnails: int, highest: float = HIGHEST) -> Plan:
    """Where things go for a picture of ``size`` mm with its ground, at most ``highest`` mm on the page, and a number of thumbnails.

    A high picture stands at the left with two columns beside it, a wide one lies above three columns.
    """
    wide, high = size
    inner = WIDTH - 2 * MARGIN
    if high / wide >= 0.6:
        scale = min((196 if high >= wide else 230) / wide, highest / high)
        picture = (wide * scale, high * scale)
        first = MARGIN + picture[0] + GUTTER
        width = (WIDTH - MARGIN - first - GUTTER) / 2
        columns = ((first, width), (first + width + GUTTER, width))
        return Plan(scale, True, picture, columns, (_thumbnail_width(width, thumbnails), 62.0))
    scale = min(inner / wide, 235 / high)
    width = (inner - 2 * GUTTER) / 3
    columns = tuple((MARGIN + k * (width + GUTTER), width) for k in range(3))
    return Plan(scale, False, (wide * scale, high * scale), columns, (_thumbnail_width(width, thumbnails), 62.0))


def lay_out(words: Approval, planned: Plan, picture: Image, density: float) -> tuple[float, tuple[Item, ...]]:
    """Height of the page in mm and all that stands on it; ``picture`` has its pixels and size, and is given its place here."""
    head = _head(words)
    items: list[Item] = [*head.items, replace(picture, x=MARGIN, y=_level(head.y, density))]
    below = head.y + picture.height
    columns = _columns(words, planned, head.y if planned.beside else below + 8, density)
    items += [item for column in columns for item in column.items]
    lowest = max(below, *(column.y for column in columns))
    foot = _foot(words, 0.0)
    height = max(LEAST_HEIGHT, lowest + 9 + foot.y + MARGIN)
    height = round(height * density) / density
    return height, (*items, *_foot(words, height - MARGIN - foot.y).items)


def words_height(words: Approval, planned: Plan, density: float) -> float:
    """How far down the page the longest column of words reaches from its top, mm."""
    return max(column.y for column in _columns(words, planned, 0.0, density))


def _columns(words: Approval, planned: Plan, top: float, density: float) -> list[Column]:
    if planned.beside:
        share: tuple[tuple[Callable, ...], ...] = ((_recipe, _placement), (_answer, _targets, _notes))
    else:
        share = ((_recipe,), (_targets, _notes), (_answer, _placement))
    columns = []
    for (x, width), blocks in zip(planned.columns, share, strict=True):
        column = Column(x, top, width)
        for block in blocks:
            before = column.y
            block(column, words, density)
            if column.y > before:
                column.space(3.4 * EM)
        column.y -= 3.4 * EM
        columns.append(column)
    return columns


def _level(mm: float, density: float) -> float:
    return round(mm * density) / density


def _head(words: Approval) -> Column:
    column = Column(MARGIN, MARGIN, WIDTH - 2 * MARGIN - 120)
    side = Column(WIDTH - MARGIN - 112, MARGIN, 112)
    column.text(words.title, TITLE.bold(), most=3)
    column.space(2.8)
    column.text(words.variant, Style(15, leading=1.2), most=2)
    if words.why:
        column.space(2.6)
        column.text(words.why, BODY.slanted().quiet())
    side.space(TITLE.cap - BODY.cap)
    side.text("For approval", BODY.bold())
    side.space(1.6)
    side.text(words.edition, BODY.quiet())
    if words.client:
        side.space(1.6)
        side.text(f"For {words.client}", BODY.quiet(), most=3)
    right = WIDTH - MARGIN
    column.items += [replace(item, x=right, align="right") for item in side.items if isinstance(item, Text)]
    column.y = max(column.y, side.y) + 6.5
    return column


def _heading(column: Column, words: str) -> None:
    column.rule(INK, 0.25)
    column.space(2.6)
    column.text(words, BODY.bold())
    column.space(1.5 * EM)


def _recipe(column: Column, words: Approval, density: float) -> None:
    _heading(column, "Recipe")
    for i, recipe in enumerate(words.recipes):
        column.space(1.5 * EM if i else 0)
        column.text(recipe.title, BODY.bold())
        column.space(0.6 * EM)
        column.text(recipe.wood, BODY.quiet())
        column.space(0.9 * EM)
        for n, step in enumerate(recipe.steps, 1):
            column.numbered(f"{n}.", step, BODY, indent=5.2 if len(recipe.steps) < 10 else 7.4)
            column.space(0.62 * EM)
        if not recipe.steps:
            column.text("No finish: bare wood", BODY)
            column.space(0.62 * EM)
        column.space(0.2 * EM)
        column.row("Sheen", recipe.sheen, BODY, indent=17)
        if recipe.binding:
            column.space(0.62 * EM)
            column.row("Edge", recipe.binding, BODY, indent=17)


def _targets(column: Column, words: Approval, density: float) -> None:
    _heading(column, "Colour to meet")
    side = 4.0 * EM
    for i, target in enumerate(words.targets):
        column.space(1.7 * EM if i else 0)
        column.text(target.title, BODY.bold())
        column.space(0.9 * EM)
        top = column.y
        wide = 2 * side / len(target.patches)
        column.items += [Box(column.x + k * wide, top, wide, side, colour) for k, colour in enumerate(target.patches)]
        beside = Column(column.x + 2 * side + 4, top, column.width - 2 * side - 4)
        for label, value in target.rows:
            beside.row(label, value, BODY if label in ("Finished", "Middle", "Edge") else BODY.quiet(), indent=17)
            beside.space(0.55 * EM)
        beside.text(target.range, SMALL)
        column.items += beside.items
        under = Column(column.x, top + side, 2 * side)
        if target.ends:
            under.space(0.7 * EM)
            third = 2 * side / len(target.ends)
            under.items += [Box(under.x + k * third, under.y, third, 0.4 * side, colour) for k, colour in enumerate(target.ends)]
            under.space(0.4 * side + 0.5 * EM)
            under.text("light, expected, dark", SMALL)
        column.items += under.items
        column.y = max(under.y, beside.y)
    column.space(1.4 * EM)
    column.text(words.basis, SMALL)


def _placement(column: Column, words: Approval, density: float) -> None:
    if not words.thumbnails:
        return
    _heading(column, "Where it is cut")
    pictured = [t for t in words.thumbnails if t.pixels is not None]
    across = min(len(pictured), ACROSS)
    width = _thumbnail_width(column.width, len(pictured))
    for first in range(0, len(pictured), ACROSS):
        column.space(1.6 * EM if first else 0)
        row = pictured[first:first + across]
        tallest = max(t.pixels.shape[0] for t in row) / density
        lowest = column.y
        for k, thumbnail in enumerate(row):
            height, wide = (n / density for n in thumbnail.pixels.shape[:2])
            own = Column(column.x + k * (width + BETWEEN), column.y, width)
            own.items.append(Image(own.x, own.y, wide, height, thumbnail.pixels))
            own.space(tallest + 0.9 * EM)
            own.text(thumbnail.words, SMALL)
            column.items += own.items
            lowest = max(lowest, own.y)
        column.y = lowest
    for thumbnail in words.thumbnails:
        if thumbnail.pixels is None:
            column.space(0.9 * EM)
            column.text(thumbnail.words, SMALL)


def _thumbnail_width(column: float, count: int) -> float:
    across = min(max(count, 1), ACROSS)
    return (column - BETWEEN * (across - 1)) / across


def _answer(column: Column, words: Approval, density: float) -> None:
    if not words.answer:
        return
    _heading(column, "The client\u2019s answer")
    said, whose = words.answer
    if said:
        column.text(said, BODY.slanted())
        column.space(0.9 * EM)
    column.text(whose, SMALL)


def _notes(column: Column, words: Approval, density: float) -> None:
    if not words.notes:
        return
    _heading(column, "Notes")
    for i, note in enumerate(words.notes):
        column.space(0.9 * EM if i else 0)
        column.text(note, SMALL)


def _foot(words: Approval, y: float) -> Column:
    """Lines for client, signature and date, and the fingerprint; ``y`` ends at the last line."""
    column = Column(MARGIN, y, WIDTH - 2 * MARGIN)
    column.text("I approve the colour and finish shown here, within the variation that wood has from piece to piece.", BODY)
    column.space(15)
    x = MARGIN
    for label, filled, width in (("Client", words.client if words.signed is None else words.signed, 128.0), ("Signature", "", 152.0), ("Date", "", 88.0)):
        own = Column(x, column.y + 1.7, width)
        column.items.append(Line(x, column.y, x + width, column.y, 0.2, QUIET))
        own.text(label, SMALL)
        column.items += own.items
        if filled:
            name = Column(x, 0, width)
            name.text(filled, Style(12), most=1)
            column.items += [replace(item, y=column.y - 1.6) for item in name.items if isinstance(item, Text)]
        x += width + GUTTER
    column.space(1.7 + SMALL.cap + SMALL.drop + 5.5)
    column.items.append(Line(MARGIN, column.y, WIDTH - MARGIN, column.y, 0.15, PALE))
    column.space(2.6)
    end = Text(WIDTH - MARGIN, column.y + SMALL.cap, f"Fingerprint {words.fingerprint}", SMALL.size, SMALL.weight, QUIET, "right")
    line = Column(MARGIN, column.y, WIDTH - 2 * MARGIN - 75)
    line.text("Screens and prints differ: judge the final colour on a sample of the wood. "
              "Colours are means of a part's face, without gloss (CIE Lab, D65).", SMALL, most=2)
    column.items += [*line.items, end]
    column.y = line.y
    return column
