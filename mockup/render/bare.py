"""Board to part: rows of the bare layer, resampled true to area.

A bare layer is (H, W, 4) uint16: the board's own axes t, c, w, r (see
``finish.bake``), each scaled to the board's range. It knows no finish.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ..finish.axes import LEAST_LIGHT, SHIMMER
from .boards import ROOTS, LoadedBoard
from .canvas import Canvas
from .placement import Leaf

__all__ = ["BareSource", "bare_source"]

# Opening a leaf turns the fibres' tilt about: under one light the other half
# of a bookmatch shows its figure a little weaker (a plain mirror draws faces).
SECOND_LEAF = 0.85


@dataclass(frozen=True, eq=False)
class _LeafSource:
    columns: tuple[int, int]        # of the window
    pixels: np.ndarray              # at most as fine as the picture, when that is coarser than the board
    to_pixels: np.ndarray           # (2, 3) window pixel to pixel of ``pixels``
    to_surround: np.ndarray         # (2, 3) window pixel to pixel of the map of surroundings
    second: bool

    @property
    def whole(self) -> bool:
        """Whether every window pixel falls on the middle of one of ``pixels``."""
        return bool((self.to_pixels == np.round(self.to_pixels)).all())


@dataclass(frozen=True, eq=False)
class BareSource:
    """Makes rows of a bare layer over a window (x0, y0, x1, y1) of a canvas."""

    board: LoadedBoard
    window: tuple[int, int, int, int]
    leaves: tuple[_LeafSource, ...]

    @property
    def shape(self) -> tuple[int, int, int]:
        x0, y0, x1, y1 = self.window
        return y1 - y0, x1 - x0, 4

    def rows(self, first: int, last: int, out: np.ndarray | None = None) -> np.ndarray:
        """Rows first..last of the window, (H, W, 4) uint16; into ``out`` where it is given."""
        axes = self.board.axes
        out = np.empty((last - first, self.shape[1], 4), np.uint16) if out is None else out
        scale = 65535.0 / (axes.high - axes.low)
        # One matrix takes cube roots to t and r (plain) and to c (scaled to 16 bits).
        matrix = axes.to_axes.copy()
        shift = -matrix @ axes.mean
        matrix[1] *= scale[1]
        shift[1] = (shift[1] - axes.low[1]) * scale[1]
        matrix = np.column_stack([matrix, shift]).astype(np.float32)
        for leaf in self.leaves:
            a, b = leaf.columns
            if b <= a:
                continue
            # Of a single column one more: where it is four rows high, OpenCV takes a number beside it for an array.
            size = (max(b - a, 2), last - first)
            # Where pixels fall on pixels, the nearest is what a cubic gives too, at a fifth of its time.
            how = cv2.INTER_NEAREST if leaf.whole else cv2.INTER_CUBIC
            rgb = cv2.warpAffine(leaf.pixels, _moved(leaf.to_pixels, a, first), size, flags=how | cv2.WARP_INVERSE_MAP,
                                 borderMode=cv2.BORDER_REPLICATE)
            t, c, r = cv2.split(cv2.transform(cv2.LUT(rgb, ROOTS), matrix))
            around = cv2.warpAffine(self.board.surround, _moved(leaf.to_surround, a, first), size,
                                    flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
            # w = share * (t - around), and t without shimmer = around + (1 - SHIMMER) * w, each scaled to
            # 16 bits in one pass that rounds and saturates.
            # r is told relative to the lightness of its place (``axes.local_lightness``).
            r = cv2.divide(r, cv2.max(cv2.add(t, axes.lightness), LEAST_LIGHT))
            share = SECOND_LEAF if leaf.second else 1.0
            plain = share * (1 - SHIMMER)
            planes = [
                cv2.addWeighted(t, plain * scale[0], around, (1 - plain) * scale[0], -axes.low[0] * scale[0], dtype=cv2.CV_16U),
                cv2.add(c, 0.0, dtype=cv2.CV_16U),
                cv2.addWeighted(t, share * scale[2], around, -share * scale[2], -axes.low[2] * scale[2], dtype=cv2.CV_16U),
                cv2.addWeighted(r, axes.lightness * scale[3], r, 0.0, -axes.low[3] * scale[3], dtype=cv2.CV_16U),
            ]
            if b - a == size[0] == out.shape[1] and out.flags.c_contiguous:
                cv2.merge(planes, dst=out)
            else:
                out[:, a:b] = cv2.merge(planes)[:, :b - a]
        return out


def _moved(matrix: np.ndarray, column: int, row: int) -> np.ndarray:
    matrix = matrix.copy()
    matrix[:, 2] += matrix[:, :2] @ (column, row)
    return matrix


def bare_source(board: LoadedBoard, parts_leaves: tuple[Leaf, ...], canvas: Canvas,
                window: tuple[int, int, int, int]) -> BareSource:
    """Prepare the board for one part on one canvas.

    Where the picture is coarser than the board, the board is first averaged
    over each picture pixel's area (no aliasing), aligned so that a straight
    cut needs no second resampling; at equal scale a straight cut copies the
    board's own pixels (no blur), moved by at most half of one.
    """
    x0, y0, x1, y1 = window
    s, mm = canvas.px_per_mm, board.mm_per_pixel
    ratio = 1 / (s * mm)  # board pixels per picture pixel
    sources = []
    for leaf in parts_leaves:
        first, last = (int(np.clip(round((x - canvas.origin[0]) * s) - x0, 0, x1 - x0)) if np.isfinite(x) else (0 if x < 0 else x1 - x0)
                       for x in leaf.span)
        # Window pixel (column, row) to board pixel.
        linear = leaf.matrix * ratio
        corner = np.array([canvas.origin[0] + (x0 + 0.5) / s, canvas.origin[1] + (y0 + 0.5) / s])
        to_board = np.column_stack([linear, leaf.to_board(corner) / mm - 0.5])
        straight = bool(np.all((np.abs(leaf.matrix) < 1e-12) | (np.abs(np.abs(leaf.matrix) - 1) < 1e-12)))
        pixels, to_pixels = board.pixels, to_board
        if ratio > 1.02:
            pixels, to_pixels = _reduced(board.pixels, to_board, ratio, straight, (first, last), y1 - y0)
        elif straight and abs(ratio - 1) < 1e-4:
            to_pixels = np.column_stack([leaf.matrix, np.round(to_board[:, 2])])
        height, width = board.pixels.shape[:2]
        shrink = np.array([board.surround.shape[1] / width, board.surround.shape[0] / height])
        to_surround = to_board * shrink[:, None]
        to_surround[:, 2] += 0.5 * shrink - 0.5
        sources.append(_LeafSource((first, last), pixels, to_pixels, to_surround, leaf.second))
    return BareSource(board, window, tuple(sources))


def _reduced(pixels: np.ndarray, to_board: np.ndarray, ratio: float, straight: bool, columns: tuple[int, int],
             rows: int) -> tuple[np.ndarray, np.ndarray]:
    """The part of a board that a leaf uses, averaged down to the picture's scale, and the map onto it."""
    corners = np.array([[x, y, 1] for x in (columns[0] - 0.5, columns[1] - 0.5) for y in (-0.5, rows - 0.5)])
    used = corners @ to_board.T + 0.5  # board pixel edges
    height, width = pixels.shape[:2]
    margin = 0 if straight else 3 * ratio
    low = np.floor(used.min(axis=0) - margin + 0.5).astype(int)
    # Keep the grid's phase when the part starts off the board's edge by a hair.
    steps = np.ceil(np.maximum(-low, 0) / ratio)
    start = np.clip(np.round(used.min(axis=0) - margin + steps * ratio).astype(int), 0, (width - 1, height - 1))
    stop = np.minimum(np.ceil(used.max(axis=0) + margin).astype(int) + 1, (width, height))
    count = np.maximum(np.floor((stop - start) / ratio).astype(int), 1)
    stop = np.minimum(start + np.round(count * ratio).astype(int), (width, height))
    small = cv2.resize(pixels[start[1]:stop[1], start[0]:stop[0]], tuple(int(n) for n in count), interpolation=cv2.INTER_AREA)
    scale = (stop - start) / count
    to_small = to_board.copy()
    to_small[:, 2] = (to_board[:, 2] + 0.5 - start)
    to_small = to_small / scale[:, None]
    to_small[:, 2] -= 0.5
    if straight:
        linear = np.round(to_small[:, :2])
        to_small = np.column_stack([linear, np.round(to_small[:, 2])])
    return small, to_small
