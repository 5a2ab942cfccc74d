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

from dataclasses import dataclass

import numpy as np

from mockup.outline.shape import Shape

__all__ = ["Runs", "coverage", "coverage_runs"]

# Heights and areas are rounded to this before they are added, so that every
# sum is exact in float64 and does not depend on which rows are asked for.
_GRAIN = 2.0**-36


@dataclass(frozen=True, eq=False)
class Runs:
    """Coverage of a band of rows as runs of pixels that are covered alike, in reading order; each row begins a new one.

    ``start`` (N + 1,) int64 counts pixels from the band's first, and ends with
    how many there are; ``value`` (N,) float32, 0 to 1.
    """

    start: np.ndarray
    value: np.ndarray
    shape: tuple[int, int]  # rows, columns

    def plane(self) -> np.ndarray:
        """All of the band, (H, W) float32."""
        return np.repeat(self.value, np.diff(self.start)).reshape(self.shape)

    def strips(self, row: np.ndarray, left: np.ndarray, right: np.ndarray) -> np.ndarray:
        """What some strips of rows hold, from column ``left`` to ``right`` each, one after the other; (sum of their widths,) float32."""
        first, last = row * self.shape[1] + left, row * self.shape[1] + right
        low, high = np.searchsorted(self.start, first, "right") - 1, np.searchsorted(self.start, last, "left") - 1
        strip, run = _spread(low, high)
        length = np.minimum(self.start.take(run + 1), last.take(strip)) - np.maximum(self.start.take(run), first.take(strip))
        return np.repeat(self.value.take(run), length)


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
    return coverage_runs(shape, origin=origin, px_per_mm=px_per_mm, size=size, rows=rows).plane()


def coverage_runs(
    shape: Shape,
    *,
    origin: tuple[float, float],
    px_per_mm: float,
    size: tuple[int, int],
    rows: tuple[int, int] | None = None,
) -> Runs:
    """As ``coverage``, as runs of equal value: of a large shape these are few beside its pixels."""
    width, height = size
    first, end = (0, height) if rows is None else rows
    lines, width = max(end - first, 0), max(width, 0)
    edge = np.arange(lines, dtype=np.int64) * width
    if lines * width == 0:
        return Runs(np.zeros(1, np.int64), np.zeros(0, np.float32), (lines, width))

    row, x0, y0, x1, y1 = _cut_rows(*_edges(shape, origin, px_per_mm), first, end)
    row, column, cover, area = _cut_columns(row, x0, y0, x1, y1, width)
    if len(row) == 0:
        return Runs(np.append(edge, lines * width), np.zeros(lines, np.float32), (lines, width))

    # One entry per edge pixel, in reading order.
    key = (row - first) * width + column
    order = np.argsort(key, kind="stable")
    key, cover, area = key.take(order), cover.take(order), area.take(order)
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

    # Between two edge pixels of a row the sum stands still: a whole number, or a share of the row
    # where an exactly level edge, which cuts no column, runs through it.
    level = np.clip(total * _GRAIN, 0.0, 1.0)
    level[level <= 1e-9] = 0.0
    after = pixel + 1
    gap = after < np.where(np.append(new_row[1:], True), (line + 1) * width, np.append(pixel[1:], 0))
    bare = np.ones(lines, bool)  # rows that begin before their first edge pixel
    bare[line[pixel == edge[line]]] = False

    start = np.concatenate((edge[bare], pixel, after[gap]))
    value = np.concatenate((np.zeros(np.count_nonzero(bare)), np.clip((total - area) * _GRAIN, 0.0, 1.0), level[gap]))
    order = np.argsort(start, kind="stable")
    start, value = start.take(order), value.take(order).astype(np.float32)
    new = np.append(True, value[1:] != value[:-1])
    new[np.searchsorted(start, edge)] = True
    return Runs(np.append(start[new], lines * width), value[new], (lines, width))


def _edges(shape: Shape, origin, px_per_mm: float) -> tuple[np.ndarray, ...]:
    """Start (x, y) and end (x, y) of every edge, in pixels of the canvas."""
    points = (np.concatenate(shape.rings) - np.asarray(origin, np.float64)) * float(px_per_mm)
    ends = np.cumsum([len(ring) for ring in shape.rings])
    after = np.arange(1, len(points) + 1)
    after[ends - 1] = np.append(0, ends[:-1])
    x, y = np.ascontiguousarray(points[:, 0]), np.ascontiguousarray(points[:, 1])
    return x, y, x.take(after), y.take(after)


def _spread(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each item i the whole numbers low[i] … high[i]: (items repeated, numbers)."""
    count = np.maximum(high - low + 1, 0)
    item = np.repeat(np.arange(len(low)), count)
    step = np.arange(len(item)) + np.repeat(low - np.cumsum(count) + count, count)
    return item, step


def _cut_rows(ax, ay, bx, by, first: int, end: int):
    """Cut edges at every row line of the band: row, and start and end of each piece."""
    down = ay <= by
    top, bottom = np.where(down, ay, by), np.where(down, by, ay)
    seen = np.flatnonzero((bottom > first) & (top < end) & (bottom > top))
    down, top, bottom = down.take(seen), top.take(seen), bottom.take(seen)
    ax, bx = ax.take(seen), bx.take(seen)
    left, right = np.where(down, ax, bx), np.where(down, bx, ax)  # of the upper and of the lower end
    slope = (right - left) / (bottom - top)
    low = np.maximum(np.floor(top), first).astype(np.int64)
    high = np.minimum(np.ceil(bottom) - 1, end - 1).astype(np.int64)
    item, row = _spread(low, high)
    down, top, bottom, left, right, slope = (v.take(item) for v in (down, top, bottom, left, right, slope))
    ya, yb = np.maximum(top, row), np.minimum(bottom, row + 1)
    xa = np.where(ya == top, left, left + (ya - top) * slope)
    xb = np.where(yb == bottom, right, left + (yb - top) * slope)
    # Down the drawing is +1: with y down and outer rings counter-clockwise as seen with
    # y up, the left flank of a part runs down, so a part's inside sums to one.
    return row, xa, np.where(down, ya, yb), xb, np.where(down, yb, ya)


def _cut_columns(row, xa, y0, xb, y1, width: int):
    """Cut the pieces of one row at every column line: row, column, signed height, signed area left of the piece."""
    rise = y1 - y0
    left, right = np.minimum(xa, xb), np.maximum(xa, xb)
    seen = left < width  # what lies right of the canvas changes nothing on it
    if not seen.all():
        row, rise, left, right = row[seen], rise[seen], left[seen], right[seen]
    # Column -1 stands for everything left of the canvas.
    low = np.maximum(np.floor(left), -1).astype(np.int64)
    high = np.clip(np.ceil(right) - 1, low, width - 1).astype(np.int64)
    item, column = _spread(low, high)
    row, rise, left, right = (v.take(item) for v in (row, rise, left, right))
    outside = column < 0
    lo = np.where(outside, left, np.maximum(left, column))
    hi = np.minimum(right, column + 1)
    span = right - left
    upright = span <= 0
    share = np.where(upright, 1.0, np.maximum(hi - lo, 0.0) / np.where(upright, 1.0, span))
    cover = rise * share
    area = np.where(outside, 0.0, cover * (0.5 * (lo + hi) - column))
    return row, np.maximum(column, 0), cover, area
