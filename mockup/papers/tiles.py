"""A drawing too large for one sheet of paper, spread over several: which window each sheet shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import MockupError

__all__ = ["EDGE", "FOOT", "OVERLAP", "Tile", "Tiling", "tiling", "whole_sheet"]

Bounds = tuple[float, float, float, float]

EDGE = 12.0      # mm of margin around the window, where joint marks stand; printers leave 4 to 6 mm blank
FOOT = 24.0      # mm under the window for check bars, words and map
OVERLAP = 12.0   # mm shown by both sheets at a joint
CLEAR = 36.0     # mm between a joint and the centre line, where there is room: so a neck stays on one sheet
LEAST = 40.0     # mm of window that a sheet must show
LEAST_WIDE = 176.0  # mm of paper that the foot takes
MOST = 400       # sheets


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet: what of the drawing its window shows, and whether there is anything to show."""

    row: int
    column: int
    window: Bounds
    empty: bool

    @property
    def name(self) -> str:
        """Row as a letter, column as a number: "B3"."""
        letters, row = "", self.row
        while True:
            letters, row = chr(65 + row % 26) + letters, row // 26 - 1
            if row < 0:
                return f"{letters}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Tiling:
    """All sheets, row by row from the top left.

    paper    width and height of a sheet, mm.
    step     mm from one window to the next, right and down.
    """

    paper: tuple[float, float]
    rows: int
    columns: int
    step: tuple[float, float]
    tiles: tuple[Tile, ...]

    @property
    def printed(self) -> tuple[Tile, ...]:
        """The sheets that show something."""
        return tuple(t for t in self.tiles if not t.empty)

    def neighbour(self, tile: Tile, right: int, down: int) -> Tile | None:
        """The sheet beside one, None where there is none or it stays unprinted."""
        row, column = tile.row + down, tile.column + right
        if not (0 <= row < self.rows and 0 <= column < self.columns):
            return None
        other = self.tiles[row * self.columns + column]
        return None if other.empty else other

    def joint(self, tile: Tile, side: str) -> float:
        """x or y at which a sheet meets its neighbour at the "left", "right", "top" or "bottom": the middle of the overlap."""
        x0, y0, x1, y1 = tile.window
        return {"left": x0, "right": x1 - OVERLAP, "top": y0, "bottom": y1 - OVERLAP}[side] + OVERLAP / 2


def tiling(box: Bounds, paper: tuple[float, float], *, wanted: Sequence[np.ndarray] = (), grid: tuple[float, float, float] = (0, 0, 1),
           clear: float | None = None, where: str = "") -> Tiling:
    """Sheets of ``paper``, upright or on their side, whichever takes fewer.

    wanted  curves (N, 2) in drawing mm; a sheet whose window none of them enters is empty. () for all wanted.
    grid    x, y and px_per_mm of the picture: windows begin at whole pixels.
    clear   x of a line that no joint should lie along, where there is room to move the sheets.
    where   the paper's name, for errors.

    MockupError when the window of a sheet would be too small, or there would be too many sheets.
    """
    upright = _laid(box, (min(paper), max(paper)), wanted, grid, clear)
    lying = _laid(box, (max(paper), min(paper)), wanted, grid, clear)
    both = [t for t in (upright, lying) if t is not None]
    if not both:
        raise MockupError(f"The paper, {paper[0]:g} x {paper[1]:g} mm, is too small for a tile.",
                          fix=f"Use paper of at least {LEAST_WIDE:g} x {LEAST + 2 * EDGE + FOOT:g} mm.", where=where)
    best = min(both, key=lambda t: (len(t.printed), len(t.tiles)))
    if len(best.tiles) > MOST:
        raise MockupError(f"The drawing would take {len(best.tiles)} sheets.", fix="Use larger paper, or check the scale.", where=where)
    return best


def _laid(box: Bounds, paper: tuple[float, float], wanted: Sequence[np.ndarray], grid: tuple[float, float, float],
          clear: float | None) -> Tiling | None:
    window = (math.floor(paper[0] - 2 * EDGE), math.floor(paper[1] - 2 * EDGE - FOOT))
    if min(window) < LEAST or paper[0] < LEAST_WIDE:
        return None
    starts, steps, counts = [], [], []
    for k in (0, 1):
        size = box[k + 2] - box[k]
        step = window[k] - OVERLAP
        count = max(1, math.ceil((size - OVERLAP) / step - 1e-9))
        spare = count * step + OVERLAP - size
        start = box[k] - spare / 2
        if k == 0 and clear is not None and count > 1:
            away = min((clear - start - n * step - OVERLAP / 2 for n in range(1, count)), key=abs)
            if abs(away) < CLEAR:
                move = min(CLEAR - abs(away), max(spare / 2 - 1, 0))
                start += -move if away >= 0 else move
        # Whole pixels of the picture, so that it is cut and not resampled.
        starts.append(grid[k] + round((start - grid[k]) * grid[2]) / grid[2])
        steps.append(float(step))
        counts.append(count)
    tiles = []
    if counts[0] * counts[1] > 4 * MOST:
        return Tiling(paper, counts[1], counts[0], (steps[0], steps[1]), (Tile(0, 0, box, False),) * (counts[0] * counts[1]))
    for row in range(counts[1]):
        for column in range(counts[0]):
            x, y = starts[0] + column * steps[0], starts[1] + row * steps[1]
            shown = (x, y, x + window[0], y + window[1])
            tiles.append(Tile(row, column, shown, bool(wanted) and not _enters(wanted, shown)))
    return Tiling(paper, counts[1], counts[0], (steps[0], steps[1]), tuple(tiles))


def _enters(wanted: Sequence[np.ndarray], window: Bounds) -> bool:
    """Whether the area in any of the curves and the window share a point."""
    import shapely

    box = shapely.box(*window)
    return any(shapely.intersects(shapely.make_valid(shapely.Polygon(curve)), box) for curve in wanted)


def whole_sheet(box: Bounds, grid: tuple[float, float, float] = (0, 0, 1)) -> Tiling:
    """One sheet large enough for all of the drawing."""
    x0, y0 = (grid[k] + math.floor((box[k] - grid[k]) * grid[2]) / grid[2] for k in (0, 1))
    wide = max(math.ceil(box[2] - x0), math.ceil(LEAST_WIDE - 2 * EDGE))
    high = math.ceil(box[3] - y0)
    window = (x0, y0, x0 + wide, y0 + high)
    return Tiling((wide + 2 * EDGE, high + 2 * EDGE + FOOT), 1, 1, (float(wide), float(high)), (Tile(0, 0, window, False),))
