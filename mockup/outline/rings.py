"""From drawn curves to the rings of a shape: closed, uncrossed, holes told from outer edges.

What a fill rule says of overlapping curves is settled here once, so that
everything after it sees only signed rings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from mockup.errors import MockupError
from mockup.outline.shape import Shape, ring_area

__all__ = ["GAP", "MOST_RINGS", "closed_gap", "shape_from_curves"]

GAP = 0.05  # ends this close, in mm, are joined: drawing programs leave such gaps, a cutter does not see them
MOST_RINGS = 2000
_SMALLEST = 1e-3  # area in mm² below which a curve encloses nothing


def shape_from_curves(curves: Sequence[tuple[np.ndarray, bool]], rule: str) -> Shape:
    """The region that drawn curves enclose.

    curves   (points (N, 2) in mm, whether the drawing closes the curve itself).
    rule     "nonzero" or "evenodd", as in SVG 2, 13.4.2.

    Raises MockupError when a curve is open by more than ``GAP``, crosses or
    touches itself or another one, or when nothing is enclosed; the place is
    given in mm.
    """
    rings = [ring for points, closed in curves if (ring := _closed(points, closed)) is not None]
    if not rings:
        raise MockupError("The outline is empty.", fix="Draw a closed curve there.")
    if len(rings) > MOST_RINGS:
        raise MockupError(
            f"The outline has {len(rings)} separate curves; {MOST_RINGS} is the most.",
            fix="Give the body or part its own path, without textures or hatching.",
        )
    areas = np.array([ring_area(ring) for ring in rings])
    for ring, area in zip(rings, areas, strict=True):
        _check_uncrossed(ring, area)
    inside = _inside(rings, np.abs(areas))
    kept = []
    for i, ring in enumerate(rings):
        around = np.flatnonzero(inside[i])
        if rule == "evenodd":
            outer, inner = len(around) % 2, (len(around) + 1) % 2
        else:
            winding = int(np.sign(areas[around]).sum())
            outer, inner = int(winding != 0), int(winding + np.sign(areas[i]) != 0)
        if outer != inner:  # otherwise there is material on both sides, or on neither: no edge
            kept.append(ring if (inner > outer) == (areas[i] > 0) else ring[::-1])
    return Shape(tuple(kept))


def closed_gap(curves: Sequence[tuple[np.ndarray, bool]]) -> float:
    """The widest gap, mm, that ``shape_from_curves`` closes without being told to by the drawing; 0.0 where there is none."""
    gaps = (math.dist(points[0], points[-1]) for points, closed in curves if not closed)
    return max((gap for gap in gaps if gap <= GAP), default=0.0)


def _closed(points: np.ndarray, closed: bool) -> np.ndarray | None:
    """One curve as a ring without repeated points; None for a bare point."""
    gap = math.dist(points[0], points[-1])
    if not closed and gap > GAP:
        (x0, y0), (x1, y1) = points[-1], points[0]
        raise MockupError(
            f"The outline is open: {gap:.2f} mm are missing from x {x0:.2f}, y {y0:.2f} to x {x1:.2f}, y {y1:.2f} mm.",
            fix="Close the path there.",
        )
    if 0 < gap <= GAP and len(points) > 3:
        points = points[:-1]
    # Points closer than this are one point; a drawing has no detail there, and a ring must not fold back.
    points = points[_apart(points, 1e-7)]
    return points if len(points) > 1 else None


def _apart(points: np.ndarray, least: float) -> np.ndarray:
    """True where a point differs from the one before it; the last is dropped when it repeats the first."""
    step = np.abs(np.diff(points, axis=0)).max(axis=1) > least
    keep = np.r_[True, step]
    last = np.flatnonzero(keep)[-1]
    if last > 0 and np.abs(points[last] - points[0]).max() <= least:
        keep[last] = False
    return keep


def _check_uncrossed(ring: np.ndarray, area: float) -> None:
    """Refuse a ring that encloses nothing, or that crosses or touches itself."""
    import shapely

    if len(ring) >= 3:
        line = shapely.linearrings(ring)
        if not shapely.is_simple(line):
            place = _crossing(ring)
            raise MockupError(
                f"The outline crosses itself{_at(place)}.", fix="Move or delete the points around that place."
            )
    if len(ring) < 3 or abs(area) < _SMALLEST:
        x, y = ring.mean(axis=0)
        raise MockupError(
            f"A curve of the outline encloses no area, around x {x:.2f}, y {y:.2f} mm.",
            fix="Delete it, or draw it as a closed curve.",
        )


def _crossing(ring: np.ndarray) -> tuple[float, float] | None:
    """Where a ring first crosses itself."""
    import re

    import shapely

    reason = shapely.is_valid_reason(shapely.polygons(shapely.linearrings(ring)))
    place = re.search(r"\[(\S+) (\S+)\]", reason)
    return (float(place[1]), float(place[2])) if place else None


def _at(place: tuple[float, float] | None) -> str:
    return f" at x {place[0]:.2f}, y {place[1]:.2f} mm" if place else ""


def _inside(rings: list[np.ndarray], areas: np.ndarray) -> np.ndarray:
    """(n, n) bool: ring i lies within ring j. Refuses rings that meet."""
    import shapely

    inside = np.zeros((len(rings), len(rings)), bool)
    if len(rings) == 1:
        return inside
    lines = shapely.linearrings
    edges = np.array([lines(ring) for ring in rings])
    tree = shapely.STRtree(edges)
    first, second = tree.query(edges, predicate="intersects")
    meet = first < second
    if meet.any():
        i, j = first[meet][0], second[meet][0]
        spot = shapely.get_coordinates(shapely.intersection(edges[i], edges[j]))[0]
        raise MockupError(
            f"Two curves of the outline meet{_at((float(spot[0]), float(spot[1])))}.",
            fix="Join them into one path, or draw them apart.",
        )
    # They do not meet, so one point of a ring tells where all of it lies.
    polygons = shapely.polygons(edges)
    point, around = shapely.STRtree(polygons).query(
        shapely.points([ring[0] for ring in rings]), predicate="within"
    )
    inside[point, around] = areas[around] > areas[point]
    return inside
