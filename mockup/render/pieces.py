"""What a region covers of a canvas, in pieces: where it is full, and where its edge runs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from ..outline.coverage import coverage
from ..outline.shape import Shape
from .bands import band_list
from .canvas import Canvas

__all__ = ["Piece", "Pieces", "region_pieces"]

TILE = 128  # columns looked at together
ALONE = 5   # tiles from which a full run is a piece of its own
AT_ONCE = 2_000_000  # pixels covered in one go


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
    origin = (canvas.origin[0] + x0 / canvas.px_per_mm, canvas.origin[1])
    bands = band_list(canvas.height, canvas.width)
    found: list[tuple[Piece, ...]] = [()] * len(bands)
    touched = [n for n, (first, last) in enumerate(bands) if last > y0 and first < y1]
    # As many bands at once as go into some megabytes: each call of ``coverage`` sorts through the whole outline.
    step = max(1, int(AT_ONCE / max((x1 - x0) * (bands[0][1] - bands[0][0]), 1)))
    for k in range(0, len(touched), step):
        some = touched[k:k + step]
        first, last = bands[some[0]][0], bands[some[-1]][1]
        cover = coverage(region, origin=origin, px_per_mm=canvas.px_per_mm, size=(x1 - x0, canvas.height), rows=(first, last))
        tops, edges = [bands[n][0] - first for n in some], np.arange(0, x1 - x0, TILE)
        # The least and the most of each tile: down a band first, which is fast, then across.
        least, most = (how.reduceat(np.stack([how.reduce(cover[top:end], axis=0) for top, end in zip(tops, [*tops[1:], len(cover)], strict=True)]),
                                    edges, axis=1) for how in (np.minimum, np.maximum))
        kinds = np.where(most <= 0, 0, np.where(least >= 1, 2, 1))  # empty, edge, full
        for n, top, row in zip(some, tops, kinds.tolist(), strict=True):
            if any(row):
                found[n] = _band_pieces(cover[top:top + bands[n][1] - bands[n][0]], row, x0)
    return Pieces(tuple(found))


def _band_pieces(cover: np.ndarray, kinds: list[int], left: int) -> tuple[Piece, ...]:
    """The pieces of one band of tiles that are empty (0), on the edge (1) or full (2)."""
    # A short full run beside an edge goes with it: one more call costs more than covering some pixels by one.
    joined: list[int] = []
    for kind, run in groupby(kinds):
        count, n = len(list(run)), len(joined)
        beside = 1 in (joined[-1:] + kinds[n + count:n + count + 1])
        joined += [1 if kind == 2 and count < ALONE and beside else kind] * count
    width, start, pieces = cover.shape[1], 0, []
    for kind, run in groupby(joined):
        end = start + len(list(run))
        a, b = start * TILE, min(end * TILE, width)
        if kind:
            pieces.append(Piece(left + a, left + b, None if kind == 2 else cover[:, a:b].copy()))
        start = end
    return tuple(pieces)
