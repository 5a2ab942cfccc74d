"""What is left of a shape under the shapes that lie on it, and what two shapes share."""

from __future__ import annotations

from collections.abc import Sequence

from .shape import Shape, _rings, region_of

__all__ = ["contains", "overlap", "width_at", "without"]

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


def overlap(shape: Shape, other: Shape) -> Shape | None:
    """What lies in both shapes; None when nothing does."""
    import shapely

    return _shape(shapely.intersection(region_of(shape), region_of(other)))


def contains(shape: Shape, point: tuple[float, float]) -> bool:
    """Whether a point in mm lies inside a shape."""
    import shapely

    return bool(shapely.contains_xy(region_of(shape), *point))


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
