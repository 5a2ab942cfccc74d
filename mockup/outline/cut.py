"""What is left of a shape under the shapes that lie on it, and what two shapes share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .shape import Shape, _rings, region_of

__all__ = ["Cover", "contains", "edge_near", "overlap", "width_at", "without"]

# Coincident curves leave slivers of rounding; smaller than this, in mm², nothing can be seen of them.
_SLIVER = 1e-4


def without(shape: Shape, others: Sequence[Shape]) -> Shape | None:
    """The part of ``shape`` that none of ``others`` covers; None when nothing is left.

    Regions cut so meet exactly, so that their coverages add up to that of the
    whole in every pixel: no seam and no fringe where edges coincide.
    """
    import shapely

    region = region_of(shape)
    box = shape.bounds
    for other in others:
        o = other.bounds
        if o[0] < box[2] and o[2] > box[0] and o[1] < box[3] and o[3] > box[1]:
            region = shapely.difference(region, region_of(other))
    return _shape(region)


class Cover:
    """What lies over a shape, gathered piece by piece, so that many shapes can be cut by all of it."""

    def __init__(self) -> None:
        self._pieces: dict[int, tuple[object, tuple[float, float, float, float]]] = {}  # region and box, by its place in the order
        self._joined: dict[tuple[int, ...], object] = {}
        self._keys: set[tuple[bytes, ...]] = set()
        self._count = 0

    def add(self, shape: Shape) -> None:
        """Lay one more shape over."""
        import shapely

        region, box = region_of(shape), shape.bounds
        # Frets lie within their fretboard: whatever both lie over, the fretboard says it all.
        within = [n for n, (_, o) in self._pieces.items() if o[0] >= box[0] and o[1] >= box[1] and o[2] <= box[2] and o[3] <= box[3]]
        if within:
            shapely.prepare(region)
            for n, hidden in zip(within, shapely.covers(region, [self._pieces[n][0] for n in within]), strict=True):
                if hidden:
                    del self._pieces[n]
        self._pieces[self._count] = region, box
        self._count += 1
        self._keys.add(_key(shape))

    def left_of(self, shape: Shape) -> Shape | None:
        """The part of a shape that nothing covers; None when nothing is left."""
        import shapely

        if _key(shape) in self._keys:  # a top of the body's own outline, say
            return None
        region, box = region_of(shape), shape.bounds
        met = tuple(n for n, (_, o) in self._pieces.items() if o[0] < box[2] and o[2] > box[0] and o[1] < box[3] and o[3] > box[1])
        if not met:
            return shape
        # One union and one cut, whatever lies there; the rings of a binding are cut by the same one.
        joined = self._joined.get(met)
        if joined is None:
            joined = self._joined[met] = shapely.union_all([self._pieces[n][0] for n in met])
        if not shapely.intersects(region, joined):
            return shape
        return _shape(shapely.difference(region, joined))


def _key(shape: Shape) -> tuple[bytes, ...]:
    return tuple(ring.tobytes() for ring in shape.rings)


def overlap(shape: Shape, other: Shape) -> Shape | None:
    """What lies in both shapes; None when nothing does."""
    import shapely

    return _shape(shapely.intersection(region_of(shape), region_of(other)))


def contains(shape: Shape, point: tuple[float, float]) -> bool:
    """Whether a point in mm lies inside a shape."""
    import shapely

    return bool(shapely.contains_xy(region_of(shape), *point))


def edge_near(shape: Shape, point: tuple[float, float]) -> tuple[tuple[float, float], tuple[float, float], float]:
    """The point of the edge nearest to ``point``, the way out of the shape there (unit x, y), and how far it is in mm."""
    import shapely

    rings = shapely.linearrings
    edges = [rings(ring) for ring in shape.rings]
    away = shapely.distance(edges, shapely.points(point))
    edge = edges[int(np.argmin(away))]
    along, length = shapely.line_locate_point(edge, shapely.points(point)), shapely.length(edge)
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(edge, along))[0]
    before, after = shapely.get_coordinates(shapely.line_interpolate_point(edge, [(along - 0.2) % length, (along + 0.2) % length]))
    run = (after - before) / np.hypot(*(after - before))
    out = np.array([run[1], -run[0]])
    if contains(shape, (x + 0.1 * out[0], y + 0.1 * out[1])):
        out = -out
    return (float(x), float(y)), (float(out[0]), float(out[1])), float(away.min())


def width_at(shape: Shape, y: float) -> tuple[float, float] | None:
    """The leftmost and rightmost x of a shape at the height ``y``; None where it has none."""
    import shapely

    x0, _, x1, _ = shape.bounds
    found = shapely.intersection(region_of(shape), shapely.LineString([(x0 - 1, y), (x1 + 1, y)]))
    if found.is_empty:
        return None
    left, _, right, _ = found.bounds
    return float(left), float(right)


def _shape(region) -> Shape | None:
    import shapely

    pieces = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and p.area > _SLIVER]
    if not pieces:
        return None
    rings = _rings(shapely.MultiPolygon(pieces))
    return Shape(rings) if rings else None
