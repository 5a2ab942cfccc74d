"""A part's closed curves in mm, and the few things done to them.

x runs right and y runs down, as in the drawing. An outer ring runs
counter-clockwise and a hole clockwise when the drawing is looked at with y
up, so that signed areas add up to the area of the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mockup.errors import MockupError

__all__ = ["Shape", "region_of", "ring_area"]

# Chords of a round join stay this close to the true arc when insetting, mm.
_JOIN = 1e-3


def ring_area(ring: np.ndarray) -> float:
    """Signed area of one ring (N, 2) in mm²: positive for an outer ring, negative for a hole.

    Gauss's shoelace formula, taken about the ring's first point so that a
    ring far from the origin loses no digits.
    """
    x, y = (ring - ring[0]).T
    # y runs down, so the textbook sign turns round. (Not np.dot: BLAS may wake its threads for it.)
    return -0.5 * float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())


@dataclass(frozen=True, eq=False)
class Shape:
    """Closed curves of a part, in mm, flattened to 1e-5 mm.

    ``rings`` holds (N, 2) float64 arrays, N at least 3, the first point not
    repeated at the end; rings neither cross themselves nor each other. The
    arrays are read-only.

    Raises MockupError for a ring of fewer than three points or one with a
    coordinate that is not a number.
    """

    rings: tuple[np.ndarray, ...]

    def __post_init__(self) -> None:
        rings = []
        for ring in self.rings:
            ring = np.array(ring, np.float64)
            if ring.ndim != 2 or ring.shape[1] != 2 or len(ring) < 3:
                raise MockupError(
                    "A ring of an outline needs three points or more.", fix="Draw it as a closed curve."
                )
            if not np.isfinite(ring).all():
                raise MockupError(
                    "An outline has a coordinate that is not a number.", fix="Draw that curve again."
                )
            ring.setflags(write=False)
            rings.append(ring)
        if not rings:
            raise MockupError("An outline has no curves.", fix="Draw one closed curve or more.")
        object.__setattr__(self, "rings", tuple(rings))

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom, mm."""
        x, y = (self.rings[0] if len(self.rings) == 1 else np.concatenate(self.rings)).T
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    @cached_property
    def area(self) -> float:
        """Area in mm², holes left out."""
        return sum(ring_area(ring) for ring in self.rings)

    def mirrored(self, x: float) -> Shape:
        """The shape mirrored about the vertical line at ``x`` mm."""
        # Mirroring turns every ring round; running it backwards restores the sign of its area.
        return Shape(tuple((ring * (-1.0, 1.0) + (2.0 * x, 0.0))[::-1] for ring in self.rings))

    def moved(self, dx: float, dy: float) -> Shape:
        """The shape moved by (dx, dy) mm: right and down."""
        return Shape(tuple(ring + (dx, dy) for ring in self.rings))

    def turned(self, degrees: float, about: tuple[float, float] = (0.0, 0.0)) -> Shape:
        """The shape turned clockwise as seen by ``degrees``, about a point in mm."""
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        turn = np.array([[c, s], [-s, c]])  # row vectors, y down: a positive angle turns clockwise
        return Shape(tuple((ring - about) @ turn + about for ring in self.rings))

    def inset(self, mm: float) -> Shape | None:
        """The shape offset inward by ``mm`` (negative: outward), with round joins.

        Holes grow when the part shrinks. Every point of the new edge is
        ``mm`` from the old one to within 1e-3 mm (1.2e-4 of an inset of more
        than 8 mm). None when nothing is left; the result may be several
        separate pieces. Raises MockupError when ``mm`` is not a number.
        """
        if not math.isfinite(mm):
            raise MockupError(f"An inset of {mm} mm is not a number.", fix="Give a length in mm.")
        if mm == 0:
            return self
        # Half the angle of one chord of a round join whose sagitta is _JOIN; never coarser than
        # 64 chords a turn, so that a join still shades as a curve and not as facets.
        half = math.acos(max(0.0, 1.0 - _JOIN / abs(mm)))
        chords = max(16, math.ceil(math.pi / 4.0 / half)) if half > 0 else 16
        left = region_of(self).buffer(-mm, quad_segs=min(chords, 512), join_style="round")
        rings = _rings(left)
        return Shape(rings) if rings else None


def region_of(shape: Shape):
    """A shape as a shapely region, made once for each shape."""
    region = shape.__dict__.get("_shapely")
    if region is None:
        region = _region(shape.rings)
        object.__setattr__(shape, "_shapely", region)
    return region


def _region(rings: Iterable[np.ndarray]):
    """The rings as one shapely region: each hole given to the smallest outer ring around it."""
    import shapely

    rings = list(rings)
    outers = [r for r in rings if ring_area(r) > 0]
    holes = [r for r in rings if ring_area(r) <= 0]
    polygons = shapely.polygons([shapely.linearrings(r) for r in outers])
    owned: list[list[np.ndarray]] = [[] for _ in outers]
    if holes:
        tree = shapely.STRtree(polygons)
        areas = shapely.area(polygons)
        hole, outer = tree.query(shapely.points([h[0] for h in holes]), predicate="within")
        for i, ring in enumerate(holes):
            around = outer[hole == i]
            if len(around):
                owned[around[np.argmin(areas[around])]].append(ring)
    return shapely.MultiPolygon([shapely.Polygon(o, h) for o, h in zip(outers, owned, strict=True)])


def _rings(region) -> tuple[np.ndarray, ...]:
    """The rings of a shapely polygon or collection, turned so that signed areas add up."""
    found = []
    for polygon in getattr(region, "geoms", [region]):
        if polygon.is_empty or polygon.geom_type != "Polygon":
            continue
        for sign, ring in [(1, polygon.exterior), *((-1, hole) for hole in polygon.interiors)]:
            points = np.asarray(ring.coords)[:-1]
            found.append(points if sign * ring_area(points) > 0 else points[::-1])
    return tuple(found)
