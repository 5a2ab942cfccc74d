"""What a region covers of a canvas, in pieces: where it is full, and where its edge runs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from ..outline.coverage import Runs, coverage_runs
from ..outline.shape import Shape
from .bands import band_list
from .canvas import Canvas

__all__ = ["Piece", "Pieces", "region_pieces"]

TILE = 128  # columns looked at together
ALONE = 5   # tiles from which a full run is a piece of its own


@dataclass(frozen=True, eq=False)
class Piece:
    """Columns first..last of a band; ``cover`` (rows, columns) float32, or None where the region is full."""

    first: int
    last: int
    cover: np.ndarray | None


@dataclass(frozen=True, eq=False)
class Pieces:
    """For each band of the canvas the pieces of a region in it, left to right; empty tiles are left out."""

    bands: tuple[tuple[Piece, ...], ...]

    @property
    def nbytes(self) -> int:
        return sum(p.cover.nbytes for band in self.bands for p in band if p.cover is not None)


def region_pieces(region: Shape, canvas: Canvas, window: tuple[int, int, int, int]) -> Pieces:
    """The pieces of a region in the bands that ``in_bands`` makes of a canvas; exact coverage at the edge."""
    x0, y0, x1, y1 = window
    bands = band_list(canvas.height, canvas.width)
    touched = [n for n, (first, last) in enumerate(bands) if last > y0 and first < y1]
    found: list[tuple[Piece, ...]] = [()] * len(bands)
    if not touched or x1 <= x0:
        return Pieces(tuple(found))
    top, bottom = bands[touched[0]][0], bands[touched[-1]][1]
    runs = coverage_runs(region, origin=(canvas.origin[0] + x0 / canvas.px_per_mm, canvas.origin[1]), px_per_mm=canvas.px_per_mm,
                         size=(x1 - x0, canvas.height), rows=(top, bottom))
    height = bands[0][1] - bands[0][0]
    kinds = _kinds(runs, height)
    placed = [(n, *piece) for n, row in zip(touched, kinds.tolist(), strict=True) for piece in _columns(row, x1 - x0)]
    edges = [(n, a, b) for n, a, b, full in placed if not full]
    covers = iter(_covers(runs, [(bands[n][0] - top, bands[n][1] - top, a, b) for n, a, b in edges]))
    for n, a, b, full in placed:
        found[n] += (Piece(x0 + a, x0 + b, None if full else next(covers)),)
    return Pieces(tuple(found))


def _kinds(runs: Runs, height: int) -> np.ndarray:
    """Of each tile, ``height`` rows by ``TILE`` columns (the last of each may be smaller): empty (0), on the edge (1) or full (2)."""
    lines, width = runs.shape
    bands, tiles = -(-lines // height), -(-width // TILE)
    shown = np.flatnonzero(runs.value > 0)
    start, value = runs.start.take(shown), runs.value.take(shown)
    line, first = np.divmod(start, width)
    last = first + runs.start.take(shown + 1) - start
    band = line // height * (tiles + 1)

    def counted(low: np.ndarray, high: np.ndarray, band: np.ndarray) -> np.ndarray:
        """How many of some runs, from tile ``low`` to before tile ``high`` of a band each, lie over each tile."""
        steps = np.bincount(band + low, minlength=bands * (tiles + 1)) - np.bincount(band + high, minlength=bands * (tiles + 1))
        return np.cumsum(steps.reshape(bands, tiles + 1), axis=1)[:, :tiles]

    some = counted(first // TILE, (last - 1) // TILE + 1, band) > 0
    # Over all of a tile's width, in all of its rows.
    low, high = -(-first // TILE), np.where(last == width, tiles, last // TILE)
    whole = np.flatnonzero((value >= 1) & (low < high))
    rows = np.minimum(height, lines - height * np.arange(bands))
    full = counted(low.take(whole), high.take(whole), band.take(whole)) == rows[:, None]
    return np.where(full, 2, some.astype(int))


def _columns(kinds: list[int], width: int) -> list[tuple[int, int, bool]]:
    """The pieces of one band of tiles: first and last column, and whether the region is full there."""
    # A short full run beside an edge goes with it: one more call costs more than covering some pixels by one.
    joined: list[int] = []
    for kind, run in groupby(kinds):
        count, n = len(list(run)), len(joined)
        beside = 1 in (joined[-1:] + kinds[n + count:n + count + 1])
        joined += [1 if kind == 2 and count < ALONE and beside else kind] * count
    start, pieces = 0, []
    for kind, run in groupby(joined):
        end = start + len(list(run))
        if kind:
            pieces.append((start * TILE, min(end * TILE, width), kind == 2))
        start = end
    return pieces


def _covers(runs: Runs, boxes: list[tuple[int, int, int, int]]) -> list[np.ndarray]:
    """Coverage of some boxes (first and last row, first and last column), in one go."""
    if not boxes:
        return []
    first, last, left, right = np.array(boxes, np.int64).T
    box = np.repeat(np.arange(len(boxes)), last - first)
    row = np.arange(len(box)) - np.repeat(np.cumsum(last - first) - last, last - first)
    values = runs.strips(row, left[box], right[box])
    ends = np.cumsum((last - first) * (right - left))
    return [part.reshape(b - a, d - c) for part, (a, b, c, d) in zip(np.split(values, ends[:-1]), boxes, strict=True)]
