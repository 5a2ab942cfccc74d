"""Plain figures in mm: circle, rounded rectangle, polygon, strip along a line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from mockup.outline.boxes import apart
from mockup.outline.shape import Shape, _rings, region_of, ring_area

__all__ = ["circle", "many", "outline", "plate", "strip", "strips"]

Point = tuple[float, float]
APART = 1e-6  # mm: what is nearer than that touches
CHORD = 2e-4  # mm between a circle and its chords: nothing of it is seen at any scale


def outline(points: Sequence[Point] | np.ndarray) -> Shape:
    """The region within a closed polygon, its points in either direction."""
    ring = np.asarray(points, np.float64)
    return Shape((ring if ring_area(ring) > 0 else ring[::-1],))


def circle(centre: Point, diameter: float) -> Shape:
    """A disc."""
    radius = diameter / 2
    n = max(24, math.ceil(math.pi / math.acos(max(0.0, 1 - CHORD / radius))))
    t = np.linspace(0, 2 * math.pi, n, endpoint=False)
    return outline(np.column_stack((centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t))))


def plate(centre: Point, size: tuple[float, float], corner: float = 0.0, turn: float = 0.0) -> Shape:
    """A rectangle of (width, height) with rounded corners, turned clockwise as seen about its centre."""
    w, h = size[0] / 2, size[1] / 2
    r = min(corner, w, h)
    if r <= 0:
        points = np.array([[-w, -h], [w, -h], [w, h], [-w, h]])
    else:
        n = max(6, math.ceil(math.pi / 4 / math.acos(max(0.0, 1 - CHORD / r))))
        t = np.linspace(0, math.pi / 2, n + 1)
        arc = np.column_stack((np.cos(t), np.sin(t))) * r
        quarter = [(w - r, h - r, 0), (-w + r, h - r, 1), (-w + r, -h + r, 2), (w - r, -h + r, 3)]
        turned = [(arc @ np.linalg.matrix_power(np.array([[0, 1], [-1, 0]]), k)) + (x, y) for x, y, k in quarter]
        points = np.concatenate(turned)
        # Where the corners meet there is no side between them, nor a second point.
        points = points[np.abs(points - np.roll(points, 1, axis=0)).max(axis=1) > 1e-9]
    return outline(points + centre).turned(turn, centre)


def strip(line: Sequence[Point], width: float, *, round_ends: bool = False) -> Shape:
    """The region within half of ``width`` of a line of two points or more."""
    import shapely

    region = shapely.LineString(line).buffer(width / 2, cap_style="round" if round_ends else "flat", join_style="mitre", quad_segs=12)
    return Shape(_rings(region))


def strips(lines: Iterable[tuple[Sequence[Point], float]], *, round_ends: bool = False) -> Shape:
    """Several strips, each a line and a width, as one shape; where they overlap they are one."""
    return many([strip(line, width, round_ends=round_ends) for line, width in lines])


def many(shapes: Sequence[Shape]) -> Shape:
    """Several shapes as one region."""
    import shapely

    if len(shapes) == 1:
        return shapes[0]
    if len(apart([((x0 - APART, y0 - APART, x1, y1), []) for x0, y0, x1, y1 in (shape.bounds for shape in shapes)])) == len(shapes):  # nothing to unite
        return Shape(tuple(ring for shape in shapes for ring in shape.rings))
    return Shape(_rings(shapely.union_all([region_of(s) for s in shapes])))
