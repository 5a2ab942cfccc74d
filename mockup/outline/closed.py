"""Distances to the edge in closed form, for the figures that hardware is made of: discs, rounded rectangles, polygons of few sides.

Each ring is looked at as it is, whatever drew it: it is such a figure when
all its points, and the middles of its chords, lie on one. The field of each
ring is worked out in its own window only, so that four screws in the corners
of a plate cost four screws.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from mockup.outline.boxes import apart
from mockup.outline.distance import edge_field
from mockup.outline.shape import Shape, ring_area

__all__ = ["BEYOND", "rim_strip"]

FIT = 2e-3    # mm by which a ring may leave the figure it is taken for
SIDES = 8     # of a polygon
BEYOND = 1.5  # mm outside the edge up to which the field is worked out

Field = tuple[np.ndarray, np.ndarray, np.ndarray]  # distance, and the way in (x, y)
Window = tuple[int, int, int, int]  # columns a and rows b to columns c and rows e


@dataclass(frozen=True)
class _Figure:
    """``at(x, y)`` gives the field of a filled figure at points of any shape; ``edges`` (x0, y0, x1, y1) in mm, of
    one whose edge is straight lines that enclose much more than they touch."""

    at: Callable[[np.ndarray, np.ndarray], Field]
    edges: tuple[tuple[float, float, float, float], ...] = ()


def rim_strip(shape: Shape, *, origin: tuple[float, float], px_per_mm: float, size: tuple[int, int], beyond: float,
              within: float) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray, np.ndarray] | None:
    """As ``edge_strip``, pixels in no certain order; None when no ring is a figure known here.

    ``beyond`` is at most ``BEYOND``.
    """
    figures = [_figure(ring) for ring in shape.rings]
    # A single ring of free form is the whole, which the general field does best.
    if not any(figures) and len(figures) == 1:
        return None
    found: list[tuple[np.ndarray, Field]] = []

    def keep(window: Window, field: Field, more: np.ndarray | bool = True) -> None:
        d = field[0]
        at = np.flatnonzero((d < within) & (d > -beyond) & more)
        rows, columns = np.divmod(at, d.shape[1])
        found.append(((rows + window[1]) * size[0] + columns + window[0], tuple(plane.ravel()[at] for plane in field)))

    if len(figures) == 1 and figures[0].edges:
        # Much is enclosed, little touched: strips along its sides, each of which has the pixels that the ones before it have not.
        had = np.zeros(size[::-1], bool)
        for box in _slender(figures[0].edges, max(within, beyond)):
            if (window := _window(box, max(within, beyond), origin, px_per_mm, size)) is not None:
                a, b, c, e = window
                keep(window, figures[0].at(*_centres(window, origin, px_per_mm)), ~had[b:e, a:c])
                had[b:e, a:c] = True
    else:
        known: dict[tuple, Field] = {}
        # The larger first: what is cut out of a ring comes after it, and what stands in a hole after that.
        rings = sorted(zip(shape.rings, figures, strict=True), key=lambda ring: -abs(ring_area(ring[0])))
        placed = [(window, [(window, *ring)]) for ring in rings
                  if (window := _window((*ring[0].min(axis=0), *ring[0].max(axis=0)), max(within, beyond), origin, px_per_mm, size)) is not None]
        for around, some in apart(placed):
            fields = [(window, figure.at(*_centres(window, origin, px_per_mm)) if figure is not None else
                       _free(ring, window, origin, px_per_mm, within, beyond, known), ring_area(ring) > 0) for window, ring, figure in some]
            keep(around, fields[0][1] if len(fields) == 1 else _joined(around, fields))
    at = np.concatenate([at for at, _ in found]) if found else np.zeros(0, np.int64)
    d, nx, ny = (np.concatenate([field[k] for _, field in found]).astype(np.float32) if found else np.zeros(0, np.float32) for k in range(3))
    return np.divmod(at, size[0]), d, np.column_stack((nx, ny))


def _joined(around: Window, fields: list[tuple[Window, Field, bool]]) -> Field:
    """The field of rings that lie on or in each other, each with its window and whether it is an outer one, over a window around them."""
    a, b, c, e = around
    distance = np.full((e - b, c - a), -BEYOND, np.float32)
    nx, ny = np.zeros_like(distance), np.zeros_like(distance)
    for (left, top, right, bottom), field, outer in fields:
        here = np.s_[top - b:bottom - b, left - a:right - a]
        # Of outer rings the nearest counts, of a hole what it leaves.
        d, x, y = field if outer else (-plane for plane in field)
        closer = d > distance[here] if outer else d < distance[here]
        for plane, values in ((distance, d), (nx, x), (ny, y)):
            np.copyto(plane[here], values, where=closer)
    return distance, nx, ny


def _slender(edges: tuple[tuple[float, float, float, float], ...], wide: float) -> list[tuple[float, float, float, float]]:
    """The boxes of lines, a slanted one in pieces: no box is much wider than what is asked for beside its line."""
    boxes = []
    for x0, y0, x1, y1 in edges:
        n = max(1, math.ceil(min(abs(x1 - x0), abs(y1 - y0)) / max(wide, 0.5)))
        for k in range(n):
            (a, c), (b, d) = (sorted(p + (q - p) * t / n for t in (k, k + 1)) for p, q in ((x0, x1), (y0, y1)))
            boxes.append((a, b, c, d))
    return boxes


def _window(box, margin: float, origin, s: float, size) -> tuple[int, int, int, int] | None:
    a, b = (int(np.clip(math.floor((box[k] - margin - origin[k]) * s), 0, size[k])) for k in (0, 1))
    c, e = (int(np.clip(math.ceil((box[k + 2] + margin - origin[k]) * s), 0, size[k])) for k in (0, 1))
    return (a, b, c, e) if c > a and e > b else None


def _centres(window, origin, s: float) -> tuple[np.ndarray, np.ndarray]:
    a, b, c, e = window
    return (origin[0] + (np.arange(a, c) + 0.5) / s)[None, :], (origin[1] + (np.arange(b, e) + 0.5) / s)[:, None]


def _free(ring: np.ndarray, window, origin, s: float, reach: float, beyond: float, known: dict[tuple, Field]) -> Field:
    """The field of a ring of any form, filled, over its window; of rings that are alike (the buttons of tuners) read off the first one's."""
    a, b, c, e = window
    hole = ring_area(ring) < 0
    outer = ring[::-1] if hole else ring
    low, high = outer.min(axis=0), outer.max(axis=0)
    turned = np.column_stack((low[0] + high[0] - outer[:, 0], outer[:, 1]))[::-1]
    # Around a hole is material, as far in as is asked for.
    margin = math.ceil((max(reach, beyond) if hole else beyond) * s) + 2
    key, other = ((margin, _likeness(points, low)) for points in (outer, turned))
    if key not in known and other not in known:
        size = tuple(int(v) for v in np.ceil((high - low) * s) + 2 * margin)
        d, inward = edge_field(Shape((outer,)), origin=tuple(low - margin / s), px_per_mm=s, size=size, reach=reach + beyond)
        known[key] = d, np.ascontiguousarray(inward[..., 0]), np.ascontiguousarray(inward[..., 1])
    # Samples of this window as those of the kept field: moved by some part of a sample, and turned over for a mirrored ring.
    x, y = ((origin[k] - low[k]) * s + at + margin for k, at in ((0, a), (1, b)))
    flip = key not in known
    matrix = np.array([[-1.0, 0, (high[0] - low[0]) * s + 2 * margin - x - 1] if flip else [1.0, 0, x], [0, 1.0, y]])
    field = [cv2.warpAffine(plane, matrix, (c - a, e - b), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
             for plane in known[other if flip else key]]
    return (field[0], -field[1], field[2]) if flip else tuple(field)


def _likeness(ring: np.ndarray, low: np.ndarray) -> bytes:
    """The same for rings that are moved only: their points from the topmost on, to a tenth of a micrometre."""
    own = np.rint((ring - low) * 1e4).astype(np.int64)
    first = int(np.argmin(own[:, 1] * 10**9 + own[:, 0]))
    return np.roll(own, -first, axis=0).tobytes()


def _figure(ring: np.ndarray) -> _Figure | None:
    """The figure that a ring is, or None."""
    return _disc(ring) or _plate(ring) or _polygon(ring)


def _points(ring: np.ndarray) -> np.ndarray:
    return np.concatenate((ring, (ring + np.roll(ring, -1, axis=0)) / 2))


def _disc(ring: np.ndarray) -> _Figure | None:
    if len(ring) < 12:
        return None
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    radius = (x1 - x0 + y1 - y0) / 4
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    points = _points(ring)
    if np.abs(np.hypot(points[:, 0] - cx, points[:, 1] - cy) - radius).max() > FIT:
        return None

    def at(x: np.ndarray, y: np.ndarray) -> Field:
        dx, dy = (x - cx).astype(np.float32), (y - cy).astype(np.float32)
        far = np.sqrt(dx * dx + dy * dy)
        over = -1 / np.maximum(far, np.float32(1e-6))
        return np.float32(radius) - far, dx * over, dy * over

    return _Figure(at)


def _plate(ring: np.ndarray) -> _Figure | None:
    """A rectangle with round corners, at any turn."""
    if len(ring) < 12:
        return None
    run = np.roll(ring, -1, axis=0) - ring
    longest = run[int(np.argmax((run * run).sum(axis=1)))]
    ux, uy = (longest / np.hypot(*longest)).tolist()
    turn = np.array([[ux, -uy], [uy, ux]])  # drawing to the plate's own axes, for row vectors
    own = ring @ turn
    low, high = own.min(axis=0), own.max(axis=0)
    centre, (w, h) = (low + high) / 2, ((high - low) / 2).tolist()
    lost = 4 * w * h - abs(ring_area(ring))
    corner = math.sqrt(max(lost, 0.0) / (4 - math.pi))
    if not 0 < corner <= min(w, h) + FIT:
        return None
    corner = min(corner, w, h)

    def field(u: np.ndarray, v: np.ndarray) -> Field:
        # Measured from the rectangle within the corners' centres.
        qx, qy = np.abs(u) - np.float32(w - corner), np.abs(v) - np.float32(h - corner)
        px, py = np.maximum(qx, 0), np.maximum(qy, 0)
        far = np.sqrt(px * px + py * py)
        within = np.minimum(np.maximum(qx, qy), 0)
        over = 1 / np.maximum(far, np.float32(1e-6))
        # Within that rectangle the nearer side is the way.
        flat = far <= 1e-6
        nx = np.where(flat, qx >= qy, px * over) * -np.sign(u)
        ny = np.where(flat, qx < qy, py * over) * -np.sign(v)
        return np.float32(corner) - far - within, nx, ny

    points = _points(ring) @ turn - centre
    if np.abs(field(points[:, 0], points[:, 1])[0]).max() > FIT:
        return None
    cx, cy = (turn @ centre).tolist()

    def at(x: np.ndarray, y: np.ndarray) -> Field:
        dx, dy = (x - cx).astype(np.float32), (y - cy).astype(np.float32)
        d, nu, nv = field(dx * np.float32(ux) + dy * np.float32(uy), dy * np.float32(ux) - dx * np.float32(uy))
        return d, nu * np.float32(ux) - nv * np.float32(uy), nu * np.float32(uy) + nv * np.float32(ux)

    return _Figure(at)


def _polygon(ring: np.ndarray) -> _Figure | None:
    """A convex polygon of few sides."""
    if len(ring) > SIDES:
        return None
    outer = ring if ring_area(ring) > 0 else ring[::-1]
    run = np.roll(outer, -1, axis=0) - outer
    after = np.roll(run, -1, axis=0)
    # Counter-clockwise with y up is clockwise with y down: each turn goes the same way.
    if (run[:, 0] * after[:, 1] - run[:, 1] * after[:, 0] > 0).any():
        return None
    length = np.hypot(run[:, 0], run[:, 1])
    if length.min() < 1e-6:
        return None
    unit = run / length[:, None]

    def at(x: np.ndarray, y: np.ndarray) -> Field:
        best, sign = None, None
        for (x0, y0), (ux, uy), long in zip(outer.tolist(), unit.tolist(), length.tolist(), strict=True):
            dx, dy = (x - x0).astype(np.float32), (y - y0).astype(np.float32)
            along, across = dx * np.float32(ux) + dy * np.float32(uy), dx * np.float32(uy) - dy * np.float32(ux)  # across grows inward
            past = along - np.clip(along, 0, np.float32(long))
            far = np.sqrt(past * past + across * across)
            # The way in: square to the side, or from a corner past its end.
            share = -1 / np.maximum(far, np.float32(1e-6))
            over, side = np.where(past == 0, np.float32(1), across * share), past * share
            nx, ny = over * np.float32(uy) + side * np.float32(ux), -over * np.float32(ux) + side * np.float32(uy)
            if best is None:
                best, sign, gx, gy = far, across, nx, ny
                continue
            closer = far < best
            best, gx, gy = np.where(closer, far, best), np.where(closer, nx, gx), np.where(closer, ny, gy)
            sign = np.minimum(sign, across)
        return np.where(sign >= 0, best, -best), gx, gy

    return _Figure(at, tuple((*a, *b) for a, b in zip(outer.tolist(), np.roll(outer, -1, axis=0).tolist(), strict=True)))
