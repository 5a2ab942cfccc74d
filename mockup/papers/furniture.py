"""What stands around the drawing on a sheet printed at true size: joint marks, rules, check bars, map and words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from .face import REGULAR, SEMIBOLD, text_width
from .flow import Column, Style
from .page import INK, PALE, QUIET, WHITE, Box, Item, Line, Page, Path, Text
from .plan import Plan, through_window
from .strokes import simpler
from .tiles import EDGE, FOOT, OVERLAP, Tile, Tiling

__all__ = ["INCH", "ONE_TO_ONE", "Words", "true_size_pages"]

INCH = 25.4
ONE_TO_ONE = "Print at 100 %"
SMALL, TINY = Style(7.5, leading=1.34), 5.5
RED = (176, 32, 24)   # joints: seen on wood of any colour
HAIR = 0.15


@dataclass(frozen=True, slots=True)
class Words:
    """What is said in the foot of each sheet: a title, a line below it, which edition it is, and the sheet's scale in words."""

    title: str
    detail: str
    edition: str = ""
    scale: str = "Scale 1 : 1"


def true_size_pages(plan: Plan, tiling: Tiling, words: Words) -> list[Page]:
    """The sheets of a drawing in reading order; before several, one that shows how they go together."""
    printed = tiling.printed
    pages = [_overview(plan, tiling, words)] if len(printed) > 1 else []
    for number, tile in enumerate(printed, 1):
        pages.append(Page(*tiling.paper, tuple(_sheet(plan, tiling, tile, number, words)), plan.px_per_mm,
                          title=f"{words.title}, sheet {tile.name}"))
    return pages


def _sheet(plan: Plan, tiling: Tiling, tile: Tile, number: int, words: Words) -> list[Item]:
    x0, y0, x1, y1 = tile.window
    wide, high = x1 - x0, y1 - y0
    # A paper that is no whole mm wide leaves a little more at the right and bottom.
    items = through_window(plan.items, tile.window, (EDGE, EDGE))
    items += _rules(tile)
    items.append(Path((_corners(EDGE, EDGE, wide, high),), 0.1, PALE, closed=True))
    items += _joints(tiling, tile)
    items += _foot(plan, tiling, tile, number, words)
    return items


def _corners(x: float, y: float, wide: float, high: float) -> np.ndarray:
    return np.array([[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]])


def _rules(tile: Tile) -> list[Item]:
    """Ticks at whole cm of the drawing outside all four sides, numbered every 5 cm: a sheet's own check both ways."""
    x0, y0, x1, y1 = tile.window
    found: list[Item] = []
    for low, high, level in ((x0, x1, True), (y0, y1, False)):
        for k in range(math.ceil(low / 10 - 1e-9), math.floor(high / 10 + 1e-9) + 1):
            at, long = EDGE + k * 10 - low, 2.4 if k % 5 == 0 else 1.2
            for first, last in ((EDGE - 0.6, EDGE - 0.6 - long), (EDGE + (y1 - y0 if level else x1 - x0) + 0.6,) * 2):
                if first == last:
                    last = first + long
                ends = np.array([[at, first], [at, last]] if level else [[first, at], [last, at]])
                found.append(Path((ends,), 0.1, QUIET))
            if k % 5 == 0:
                text = f"{k * 10:d}".replace("-", "−")
                found.append(Text(at, EDGE - 3.8, text, TINY, REGULAR, QUIET, "middle") if level else
                             Text(EDGE - 3.6, at + 0.7, text, TINY, REGULAR, QUIET, "right"))
    return found


def _joints(tiling: Tiling, tile: Tile) -> list[Item]:
    """Cut marks where this sheet is cut, a dashed line where the next one lies, and two crosses on each joint."""
    x0, y0, x1, y1 = tile.window
    found: list[Item] = []
    for side, (right, down) in {"left": (-1, 0), "right": (1, 0), "top": (0, -1), "bottom": (0, 1)}.items():
        other = tiling.neighbour(tile, right, down)
        if other is None:
            continue
        upright = side in ("left", "right")
        joint = tiling.joint(tile, side)
        at = EDGE + joint - (x0 if upright else y0)
        long = y1 - y0 if upright else x1 - x0

        def run(first: float, last: float, at=at, upright=upright) -> np.ndarray:
            return np.array([[at, first], [at, last]] if upright else [[first, at], [last, at]])

        cut = side in ("left", "top")
        if cut:
            ends = (run(EDGE - 7.5, EDGE - 4.6) if side == "left" else run(EDGE - 7.5, EDGE - 6.2), run(EDGE + long + 3.4, EDGE + long + 7.5))
            found.append(Path(ends, 0.3, RED))
        else:
            found.append(Path((run(EDGE, EDGE + long),), 0.5, WHITE))
            found.append(Path((run(EDGE, EDGE + long),), HAIR, RED, dash=(3.0, 2.0)))
        found += _joint_words("cut here" if cut else f"{other.name} lies to here", at, EDGE + long, tiling.paper[0], upright=upright)
        for share in (0.25, 0.75):
            # On both sheets at the same point of the drawing: the corners of the two windows decide it.
            middle = EDGE + share * long
            found += _cross(at, middle) if upright else _cross(middle, at)
    return found


def _joint_words(text: str, at: float, end: float, width: float, *, upright: bool) -> list[Item]:
    """What a joint is for: under the window beside an upright one, else on a white bed at the right end of the line."""
    wide = text_width(text, SEMIBOLD, TINY)
    if upright:
        return [Text(min(at + 1.2, width - 5 - wide), end + 6.6, text, TINY, SEMIBOLD, RED)]
    return [Box(end - wide - 3, at + 0.6, wide + 2.4, 2.9, WHITE), Text(end - 1.8, at + 2.7, text, TINY, SEMIBOLD, RED, "right")]


def _cross(x: float, y: float) -> list[Item]:
    arms = (np.array([[x - 4, y], [x + 4, y]]), np.array([[x, y - 4], [x, y + 4]]))
    turn = np.linspace(0, 2 * np.pi, 33)[:-1]
    ring = np.column_stack([x + 2 * np.cos(turn), y + 2 * np.sin(turn)])
    return [Path(arms, 0.5, WHITE), Path((ring,), 0.5, WHITE, closed=True), Path(arms, HAIR, RED), Path((ring,), HAIR, RED, closed=True)]


def _foot(plan: Plan, tiling: Tiling, tile: Tile, number: int, words: Words) -> list[Item]:
    width, height = tiling.paper
    top = EDGE + tile.window[3] - tile.window[1] + 10.5
    items = [*_bars(EDGE, top)]
    several = len(tiling.printed) > 1
    right = width - EDGE
    if several:
        right -= 27
        items += _map(plan, tiling, (width - EDGE - 24, top - 0.5, 24.0, FOOT - 7.5), here=tile)
    x = EDGE + 4 * INCH + 17
    column = Column(x, top, right - x)
    column.text(words.title, SMALL.bold(), most=1)
    column.space(1.1)
    column.text(words.detail, SMALL.quiet(), most=1 if words.edition else 2)
    if words.edition:
        column.space(1.1)
        column.text(words.edition, SMALL.quiet(), most=1)
    column.space(1.1)
    where = f"Sheet {tile.name}, {number} of {len(tiling.printed)}" if several else words.scale
    column.text(where, SMALL.bold() if several else SMALL)
    column.space(1.1)
    column.text(f"{ONE_TO_ONE}, not “fit to page”", SMALL)
    return [*items, *column.items]


def _bars(x: float, y: float) -> list[Item]:
    """A bar of 100 mm in steps of 10, and one of 4 in in steps of a half, to hold a ruler to."""
    found: list[Item] = []
    for top, step, count, label, many in ((y + 2.2, 10.0, 10, "100 mm", 5), (y + 9.4, INCH / 2, 8, "4 in", 2)):
        length = step * count
        for k in range(count + 1):
            high = 2.2 if k in (0, count) else 1.5 if k % many == 0 else 0.9
            at = x + k * step
            found.append(Path((np.array([[at, top - high], [at, top]]),), HAIR, INK))
        found.append(Path((np.array([[x, top], [x + length, top]]),), 0.2, INK))
        found.append(Text(x + length + 1.8, top, label, 7.5, SEMIBOLD))
    found.append(Text(x, y + 13.6, "Measure both bars before you use this sheet.", 6.5, REGULAR, QUIET))
    return found


def _map(plan: Plan, tiling: Tiling, frame: tuple[float, float, float, float], *, here: Tile | None = None,
         size: float = 6.0) -> list[Item]:
    """All sheets in small, the outline over them; in the foot of one, ``here`` is marked. Empty ones are left out."""
    x, y, wide, high = frame
    if here is not None:  # room for the names of rows and columns
        y, high = y + 2.2, high - 2.2
    last = tiling.tiles[-1].window
    x0, y0 = tiling.tiles[0].window[:2]
    scale = min(wide / (last[2] - x0), high / (last[3] - y0))
    x += wide - (last[2] - x0) * scale if here is not None else 0.0

    def to_page(points: np.ndarray) -> np.ndarray:
        return (points - (x0, y0)) * scale + (x, y)

    found: list[Item] = []
    for tile in tiling.printed:
        a, b = to_page(np.array([tile.window[:2], tile.window[2:]]))
        found.append(Path((_corners(*a, *(b - a)),), 0.1, PALE, closed=True,
                          fill=(214, 214, 214) if here is not None and tile.name == here.name else None))
    for curve in plan.small or plan.wanted:
        found.append(Path((simpler(to_page(curve), closed=True),), 0.12 if here is not None else 0.3, QUIET if here is not None else INK,
                          closed=True))
    if here is not None:
        return found + _map_names(tiling, to_page)
    for tile in tiling.printed:
        low, top = _own(tiling, tile)
        a, b = to_page(np.array([low, top]))
        if text_width(tile.name, SEMIBOLD, size) < b[0] - a[0]:
            middle = (a + b) / 2
            text = Text(middle[0], middle[1] + size * 0.12, tile.name, size, SEMIBOLD, INK, "middle")
            left, high_, right, low_ = text.bounds
            found += [Box(left - 1.2, high_ - 1.2, right - left + 2.4, low_ - high_ + 1.4, WHITE), text]
    return found


def _own(tiling: Tiling, tile: Tile) -> tuple[np.ndarray, np.ndarray]:
    """Corners of what only this sheet shows, up to the middles of the joints."""
    return (np.array(tile.window[:2]) + OVERLAP / 2 * np.array([tile.column > 0, tile.row > 0]),
            np.array(tile.window[2:]) - OVERLAP / 2 * np.array([tile.column < tiling.columns - 1, tile.row < tiling.rows - 1]))


def _map_names(tiling: Tiling, to_page: Callable[[np.ndarray], np.ndarray]) -> list[Item]:
    """Letters of rows at the left of a small map, numbers of columns above it."""
    found: list[Item] = []
    left, top = to_page(np.array([tiling.tiles[0].window[:2]]))[0]
    for tile in tiling.tiles:
        (a, b), (c, d) = to_page(np.array(_own(tiling, tile)))
        if tile.column == 0 and d - b > 1.6:
            found.append(Text(left - 0.8, (b + d) / 2 + 0.65, tile.name[:-1], TINY, SEMIBOLD, QUIET, "right"))
        if tile.row == 0 and c - a > 1.6:
            found.append(Text((a + c) / 2, top - 0.8, str(tile.column + 1), TINY, SEMIBOLD, QUIET, "middle"))
    return found


def _overview(plan: Plan, tiling: Tiling, words: Words) -> Page:
    """How the sheets go together."""
    width, height = tiling.paper
    printed: Sequence[Tile] = tiling.printed
    column = Column(EDGE, EDGE, width - 2 * EDGE)
    column.text(words.title, Style(17, leading=1.2).bold(), most=2)
    column.space(2.4)
    column.text(f"{words.detail}. {words.edition}" if words.edition else words.detail, Style(9.5).quiet(), most=2)
    column.space(6)
    style = Style(9.5, leading=1.4)
    steps = (f"{ONE_TO_ONE}, not “fit to page”, all {len(printed)} sheets on the same printer and paper.",
             "Measure the 100 mm and the 4 in bar on every sheet. If one is out by more than half a millimetre, print it again.",
             "Cut each sheet at its red cut marks: left and top only, where there are any.",
             "Lay it on its neighbour up to the dashed red line, crosses on crosses, and tape it. Work from the top left, row by row.",
             "Check a length across the joints with a steel rule: the numbers along the edges are mm of the drawing.")
    for k, step in enumerate(steps, 1):
        column.numbered(f"{k}.", step, style, indent=5.5)
        column.space(1.6)
    column.space(5)
    room = height - EDGE - FOOT - column.y
    x0, y0 = tiling.tiles[0].window[:2]
    x1, y1 = tiling.tiles[-1].window[2:]
    scale = min((width - 2 * EDGE) / (x1 - x0), room / (y1 - y0))
    left = (width - (x1 - x0) * scale) / 2
    items = [*column.items, *_map(plan, tiling, (left, column.y, (x1 - x0) * scale, (y1 - y0) * scale), size=13.0)]
    box = plan.box
    size = f"{box[2] - box[0]:.1f} × {box[3] - box[1]:.1f} mm, {(box[2] - box[0]) / INCH:.2f} × {(box[3] - box[1]) / INCH:.2f} in"
    foot = Column(EDGE, height - EDGE - 4, width - 2 * EDGE)
    foot.items.append(Line(EDGE, height - EDGE - 7, width - EDGE, height - EDGE - 7, 0.15, PALE))
    foot.text(f"{tiling.rows} row{'s' * (tiling.rows > 1)}, {tiling.columns} column{'s' * (tiling.columns > 1)}, "
              f"{len(printed)} sheets to print. {words.scale}; on paper {size}.", SMALL.quiet(), most=2)
    return Page(width, height, (*items, *foot.items), plan.px_per_mm, title=words.title)
