"""Coverage: how much of each pixel an outline covers, exactly.

Every edge is cut where it leaves a pixel; each piece adds its signed height
to the pixel (and so to all pixels right of it) and its signed area to the
pixel itself. This is the accumulation of analytic font rasterisers (from
memory: LibArt and FreeType's smooth rasteriser, R. Levien and D. Turner),
done on the edge pixels only: what lies between two edges of a row is wholly
in or wholly out and is filled as a run. Rows depend on nothing but
themselves, so that any band of rows is bit for bit the same as in the whole.
"""

from __future__ import annotations

import numpy as np

from mockup.outline.shape import Shape

__all__ = ["coverage"]

# Heights and areas are rounded to this before they are added, so that every
# sum is exact in float64 and does not depend on which rows are asked for.
_GRAIN = 2.0**-36


def coverage(
    shape: Shape,
    *,
    origin: tuple[float, float],
    px_per_mm: float,
    size: tuple[int, int],
    rows: tuple[int, int] | None = None,
) -> np.ndarray:
    """The share of each pixel that lies inside the shape.

    origin      the drawing point (mm) at the outer corner of pixel (0, 0).
    px_per_mm   scale.
    size        (width, height) of the canvas in pixels.
    rows        (first, end) of a band of rows; the whole canvas when None.

    Returns (H, W) float32, 0 to 1, H the rows asked for. What lies outside
    the canvas is clipped away. Exact for the flattened rings to about 1e-7.
    """
    width, height = size
    first, end = (0, height) if rows is None else rows
    out = np.zeros((max(end - first, 0), width), np.float32)
    if out.size == 0:
        return out

    a, b = _edges(shape, origin, px_per_mm)
    row, x0, y0, x1, y1 = _cut_rows(a, b, first, end)
    row, column, cover, area = _cut_columns(row, x0, y0, x1, y1, width)
    if len(row) == 0:
        return out

    # One entry per edge pixel, in reading order.
    key = (row - first) * width + column
    order = np.argsort(key, kind="stable")
    key, cover, area = key[order], cover[order], area[order]
    starts = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    pixel = key[starts]
    cover = np.add.reduceat(np.rint(cover / _GRAIN), starts)
    area = np.add.reduceat(np.rint(area / _GRAIN), starts)

    # Height summed from the left of the row up to and with each edge pixel.
    total = np.cumsum(cover)
    line = pixel // width
    new_row = np.r_[True, line[1:] != line[:-1]]
    before = np.where(new_row, total - cover, 0.0)
    row_start = np.maximum.accumulate(np.where(new_row, np.arange(len(pixel)), 0))
    total -= before[row_start]

    flat = out.reshape(-1)
    flat[pixel] = np.clip((total - area) * _GRAIN, 0.0, 1.0)

    # Between two edge pixels of a row the sum stands still: a whole number, or a share of the row
    # where an exactly level edge, which cuts no column, runs through it.
    run_end = np.r_[pixel[1:], 0]
    row_end = (line + 1) * width
    last = np.r_[new_row[1:], True]
    run_end = np.where(last, row_end, run_end)
    level = np.clip(total * _GRAIN, 0.0, 1.0)
    inside = (level > 1e-9) & (run_end > pixel + 1)
    for start, stop, value in zip((pixel[inside] + 1).tolist(), run_end[inside].tolist(), level[inside].tolist(), strict=True):
        flat[start:stop] = value
    return out


def _edges(shape: Shape, origin, px_per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Start and end of every edge, in pixels of the canvas."""
    scale, corner = float(px_per_mm), np.asarray(origin, np.float64)
    rings = [(ring - corner) * scale for ring in shape.rings]
    return np.concatenate(rings), np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])


def _spread(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each item i the whole numbers low[i] … high[i]: (items repeated, numbers)."""
    count = np.maximum(high - low + 1, 0)
    item = np.repeat(np.arange(len(low)), count)
    step = np.arange(len(item)) - np.repeat(np.cumsum(count) - count, count)
    return item, low[item] + step


def _cut_rows(a, b, first: int, end: int):
    """Cut edges at every row line of the band: row, and start and end of each piece."""
    down = a[:, 1] <= b[:, 1]
    top, bottom = np.where(down[:, None], a, b), np.where(down[:, None], b, a)
    seen = (bottom[:, 1] > first) & (top[:, 1] < end) & (bottom[:, 1] > top[:, 1])
    top, bottom, down = top[seen], bottom[seen], down[seen]
    low = np.maximum(np.floor(top[:, 1]), first).astype(np.int64)
    high = np.minimum(np.ceil(bottom[:, 1]) - 1, end - 1).astype(np.int64)
    item, row = _spread(low, high)
    top, bottom, down = top[item], bottom[item], down[item]
    slope = (bottom[:, 0] - top[:, 0]) / (bottom[:, 1] - top[:, 1])
    ya, yb = np.maximum(top[:, 1], row), np.minimum(bottom[:, 1], row + 1)
    xa = np.where(ya == top[:, 1], top[:, 0], top[:, 0] + (ya - top[:, 1]) * slope)
    xb = np.where(yb == bottom[:, 1], bottom[:, 0], top[:, 0] + (yb - top[:, 1]) * slope)
    # Down the drawing is +1: with y down and outer rings counter-clockwise as seen with
    # y up, the left flank of a part runs down, so a part's inside sums to one.
    return row, xa, np.where(down, ya, yb), xb, np.where(down, yb, ya)


def _cut_columns(row, xa, y0, xb, y1, width: int):
    """Cut the pieces of one row at every column line: row, column, signed height, signed area left of the piece."""
    rise = y1 - y0
    left, right = np.minimum(xa, xb), np.maximum(xa, xb)
    seen = left < width  # what lies right of the canvas changes nothing on it
    row, rise, left, right = row[seen], rise[seen], left[seen], right[seen]
    # Column -1 stands for everything left of the canvas.
    low = np.maximum(np.floor(left), -1).astype(np.int64)
    high = np.clip(np.ceil(right) - 1, low, width - 1).astype(np.int64)
    item, column = _spread(low, high)
    row, rise, left, right = row[item], rise[item], left[item], right[item]
    outside = column < 0
    lo = np.where(outside, left, np.maximum(left, column))
    hi = np.minimum(right, column + 1)
    span = right - left
    upright = span <= 0
    share = np.where(upright, 1.0, np.maximum(hi - lo, 0.0) / np.where(upright, 1.0, span))
    cover = rise * share
    area = np.where(outside, 0.0, cover * (0.5 * (lo + hi) - column))
    return row, np.maximum(column, 0), cover, area
