"""Runs of points as geometry: strokes as areas, dashes, and what is left of a run inside a rectangle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..outline.shape import Shape
from .page import Path

__all__ = ["clipped_runs", "dashed_runs", "filled_shape", "simpler", "stroked_shape"]

NEAR = 0.004  # mm a simplified run may leave the drawing: a tenth of what paper shows


def simpler(line: np.ndarray, *, closed: bool) -> np.ndarray:
    """The run (N, 2) with points left out that lie within 0.004 mm of the rest."""
    import shapely

    ring = np.concatenate([line, line[:1]]) if closed else line
    kept = np.asarray(shapely.simplify(shapely.LineString(ring), NEAR, preserve_topology=True).coords)
    return kept[:-1] if closed else kept


def clipped_runs(lines: Sequence[np.ndarray], box: tuple[float, float, float, float], *, closed: bool) -> tuple[np.ndarray, ...]:
    """What of each run lies in the box (x0, y0, x1, y1): open runs of two points or more."""
    import shapely

    found: list[np.ndarray] = []
    window = shapely.box(*box)
    for line in lines:
        run = shapely.LineString(np.concatenate([line, line[:1]]) if closed else line)
        left = shapely.line_merge(shapely.intersection(run, window))
        found += [np.asarray(g.coords) for g in getattr(left, "geoms", [left])
                  if g.geom_type == "LineString" and len(g.coords) > 1]
    return tuple(found)


def dashed_runs(line: np.ndarray, dash: Sequence[float], *, closed: bool) -> list[np.ndarray]:
    """The drawn pieces of a dashed run, each from its very start to its very end."""
    import shapely
    from shapely.ops import substring

    run = shapely.LineString(np.concatenate([line, line[:1]]) if closed else line)
    pieces, at, k = [], 0.0, 0
    while at < run.length:
        end = at + dash[k % len(dash)]
        if k % 2 == 0:
            piece = substring(run, at, min(end, run.length))
            if piece.geom_type == "LineString" and piece.length > 0:
                pieces.append(np.asarray(piece.coords))
        at, k = end, k + 1
    return pieces


def stroked_shape(path: Path, *, least: float) -> Shape | None:
    """The area of a path's stroke, with flat ends; at least ``least`` mm wide."""
    import shapely

    runs = [(piece, False) for line in path.lines for piece in dashed_runs(line, path.dash, closed=path.closed)] if path.dash else \
        [(line, path.closed) for line in path.lines]
    half = max(path.width, least) / 2
    areas = []
    for line, closed in runs:
        spine = shapely.LinearRing(line) if closed and len(line) > 2 else shapely.LineString(line)
        areas.append(spine.buffer(half, cap_style="flat", join_style="round", quad_segs=4))
    return _shape(shapely.union_all(areas)) if areas else None


def filled_shape(path: Path) -> Shape | None:
    """The area that a path's runs surround, by the even-odd rule."""
    import shapely

    area = shapely.Polygon()
    for line in path.lines:
        if len(line) > 2:
            area = area.symmetric_difference(shapely.Polygon(line).buffer(0))
    return _shape(area)


def _shape(area) -> Shape | None:
    """A shapely area as a Shape: outer rings counter-clockwise with y up, which is clockwise by the numbers."""
    from shapely.geometry.polygon import orient

    rings = []
    for polygon in getattr(area, "geoms", [area]):
        if polygon.geom_type == "Polygon" and not polygon.is_empty:
            turned = orient(polygon, -1.0)
            rings += [np.asarray(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)]
    rings = [ring for ring in rings if len(ring) > 2]
    return Shape(tuple(rings)) if rings else None
