"""What is left of a shape under the shapes that lie on it."""

from __future__ import annotations

from collections.abc import Sequence

from .shape import Shape, _region, _rings

__all__ = ["without"]

# Coincident curves leave slivers of rounding; smaller than this, in mm², nothing can be seen of them.
_SLIVER = 1e-4


def without(shape: Shape, others: Sequence[Shape]) -> Shape | None:
    """The part of ``shape`` that none of ``others`` covers; None when nothing is left.

    Regions cut so meet exactly, so that their coverages add up to that of the
    whole in every pixel: no seam and no fringe where edges coincide.
    """
    import shapely

    region = _region(shape.rings)
    box = shape.bounds
    for other in others:
        o = other.bounds
        if o[0] < box[2] and o[2] > box[0] and o[1] < box[3] and o[3] > box[1]:
            region = shapely.difference(region, _region(other.rings))
    pieces = [p for p in shapely.get_parts(region) if p.geom_type == "Polygon" and p.area > _SLIVER]
    if not pieces:
        return None
    rings = _rings(shapely.MultiPolygon(pieces))
    return Shape(rings) if rings else None
