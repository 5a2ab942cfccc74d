"""An outline with fewer points: what is cut, offset or shadowed need not carry every chord of the drawing."""

from __future__ import annotations

import numpy as np

from mockup.outline.shape import Shape

__all__ = ["FINEST", "fewer_points", "thinned"]

FINEST = (2e-4, 600)  # mm, and points of a ring: what every picture asks for
_PASSES = 8


def fewer_points(ring: np.ndarray, tolerance: float) -> np.ndarray:
    """The ring (N, 2) without points that lie within ``tolerance`` mm of the chord that remains, three at least.

    Every second point goes, as long as none of the drawing's own points is
    then further than that from its chord; again and again. A flattened curve
    has points at even steps, so little more is left than the best choice
    would leave, in a few passes over arrays.
    """
    count = len(ring)
    kept = np.arange(count)
    for _ in range(_PASSES):
        if len(kept) < 6:
            break
        # Of the chord from an even point to the next even one: how far its points are from it.
        start = kept[:len(kept) // 2 * 2:2]
        stop = np.append(start[1:], kept[len(kept) // 2 * 2] if len(kept) % 2 else kept[0] + count)
        a, run = ring[start], ring[stop % count] - ring[start]
        length = np.hypot(run[:, 0], run[:, 1])
        inside = np.maximum(stop - start, 1)
        item = np.repeat(np.arange(len(start)), inside)
        first = np.cumsum(inside) - inside
        away = ring[(start[item] + np.arange(len(item)) - first[item]) % count] - a[item]
        run, length = run[item], np.maximum(length, 1e-12)[item]
        along = (away[:, 0] * run[:, 0] + away[:, 1] * run[:, 1]) / length
        off = np.abs(away[:, 0] * run[:, 1] - away[:, 1] * run[:, 0]) / length
        past = along - np.clip(along, 0.0, length)  # a spike or a turn back ends beyond the chord
        gone = np.maximum.reduceat(off * off + past * past, first) <= tolerance * tolerance
        if not gone.any():
            break
        keep = np.ones(len(kept), bool)
        keep[1:2 * len(start):2] = ~gone
        kept = kept[keep]
    return ring[kept]


def thinned(shape: Shape, tolerance: float, least: int = 8) -> Shape:
    """The shape with the points that a tolerance in mm does not need left out; made once for each shape and tolerance.

    Rings of less than ``least`` points stay as they are.
    """
    made = shape.__dict__.get("_thinned")
    if made is None:
        made = {}
        object.__setattr__(shape, "_thinned", made)
    if (tolerance, least) not in made:
        # A wide tolerance starts from what the finest has left of long rings, and has so much less to spend.
        start, left = (thinned(shape, *FINEST), tolerance - FINEST[0]) if tolerance > 2 * FINEST[0] else (shape, tolerance)
        rings = tuple(own if len(own) < least else fewer_points(ring, left) for own, ring in zip(shape.rings, start.rings, strict=True))
        same = all(a is b for a, b in zip(rings, shape.rings, strict=True))
        made[tolerance, least] = shape if same else Shape(rings)
    return made[tolerance, least]
