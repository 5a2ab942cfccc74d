"""The one place that knows svgelements: an SVG document with one shape in it, to curves in mm.

svgelements resolves units, viewBox, nested transforms, style sheets and path
commands. Three of its habits are kept out: it turns mm into inches with seven
digits (so it only ever sees px), it cuts a path short at the first thing it
cannot read (so it only ever sees path data that was read to the end before),
and it skews arcs wrongly (so curves are flattened first and transformed after).
"""

from __future__ import annotations

import io
import math

import numpy as np

from mockup.errors import MockupError
from mockup.outline import flatten

__all__ = ["MM_PER_PX", "MOST_POINTS", "curves_in_mm"]

MM_PER_PX = 25.4 / 96.0  # CSS Values and Units 4, 6.2: 96 px are one inch
MOST_POINTS = 200_000
_FARTHEST = 20_000.0  # mm from the origin of the drawing


def curves_in_mm(document: bytes) -> tuple[list[tuple[np.ndarray, bool]], str]:
    """The curves of the only shape in an SVG document.

    Returns ([(points (N, 2) in mm, whether closed)], fill rule). Chords stay
    within ``flatten.TOLERANCE`` of the curves. Raises MockupError when the
    shape is empty, not finite, too far out or made of too many points.
    """
    import svgelements

    try:
        drawing = svgelements.SVG.parse(
            io.BytesIO(document), reify=False, ppi=96.0, parse_display_none=True, on_error="raise"
        )
        shapes = [e for e in drawing.elements() if isinstance(e, svgelements.Shape)] if drawing is not None else []
        segments = shapes[0].segments(transformed=False) if shapes else []
    except (ValueError, TypeError, IndexError, KeyError, AttributeError, ArithmeticError, RecursionError):
        # What svgelements raises on values it cannot make sense of is not one family.
        raise MockupError("The outline cannot be read.", fix="Save it again as plain SVG.") from None
    if not segments:
        raise MockupError("The outline is empty.", fix="Draw a closed curve there.")
    m = shapes[0].transform
    matrix = np.array([[m.a, m.b], [m.c, m.d]], np.float64) * MM_PER_PX  # for row vectors
    offset = np.array([m.e, m.f], np.float64) * MM_PER_PX
    rule = str(shapes[0].values.get("fill-rule") or "nonzero").strip().lower()
    with np.errstate(all="ignore"):  # overflow is found by the check for finite points
        curves = _flattened(segments, matrix, offset)
    return curves, "evenodd" if rule == "evenodd" else "nonzero"


def _flattened(segments, matrix: np.ndarray, offset: np.ndarray) -> list[tuple[np.ndarray, bool]]:
    """Segments of a path, in its own units, to curves in mm."""
    if not (np.isfinite(matrix).all() and np.isfinite(offset).all()):
        raise _not_finite()
    stretch, squeeze = np.linalg.svd(matrix, compute_uv=False).tolist()
    if not squeeze > 1e-9 * stretch:
        raise MockupError("A transform flattens the outline to nothing.", fix="Remove the scale of 0 from it.")
    curves: list[tuple[np.ndarray, bool]] = []
    pieces: list[np.ndarray] = []
    corners: list = []  # straight segments wait here, to be mapped many at once
    total = 0

    def flush() -> None:
        if corners:
            pieces.append(_mapped(corners, matrix, offset))
            corners.clear()

    def finish(closed: bool) -> None:
        flush()
        if pieces:
            points = np.concatenate(pieces)
            # A move with nothing drawn after it is no curve.
            if len(points) > 1 or closed:
                curves.append((points, closed))
            pieces.clear()

    for segment in segments:
        kind = type(segment).__name__
        if kind == "Move":
            finish(closed=False)
            corners.append(segment.end)
            continue
        if kind == "Close":
            finish(closed=True)
            if segment.end is not None:
                corners.append(segment.end)  # drawing may go on from here
            continue
        points = None
        if kind == "Line":
            corners.append(segment.end)
            chords = 1
        elif kind == "Arc":
            points, chords = _arc(segment, matrix, offset, stretch)
        else:
            inner = [getattr(segment, name) for name in ("control", "control1", "control2") if hasattr(segment, name)]
            control = _mapped([segment.start, *inner, segment.end], matrix, offset)
            chords = flatten.bezier_chords(control)
            points = lambda n, control=control: flatten.bezier_points(control, n)  # noqa: E731
        total += chords
        if total > MOST_POINTS:
            raise MockupError(
                f"The outline needs more than {MOST_POINTS} points.",
                fix="Simplify the path, and check its size in mm.",
            )
        if points is not None:
            flush()
            pieces.append(points(int(chords)))
    finish(closed=False)
    return curves


def _mapped(points, matrix: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """svgelements points to (N, 2) in mm."""
    if any(p is None for p in points):
        raise MockupError("The outline does not begin with a point.", fix="Save it again as plain SVG.")
    return _checked(np.array([(p.x, p.y) for p in points], np.float64) @ matrix + offset)


def _checked(points: np.ndarray) -> np.ndarray:
    if not np.isfinite(points).all():
        raise _not_finite()
    far = np.abs(points).max()
    if far > _FARTHEST:
        raise MockupError(
            f"The outline reaches {far / 1000.0:.4g} m from the drawing's origin; {_FARTHEST / 1000:g} m is the most.",
            fix="Check the drawing's size in mm and its viewBox.",
        )
    return points


def _not_finite() -> MockupError:
    return MockupError("The outline has a coordinate that is not a number.", fix="Draw that curve again.")


def _arc(arc, matrix: np.ndarray, offset: np.ndarray, stretch: float):
    """An elliptical arc: (function from a number of chords to points in mm, number of chords)."""
    end = _mapped([arc.end], matrix, offset)
    rx, ry, sweep = float(arc.rx or 0), float(arc.ry or 0), float(arc.sweep or 0)
    if not (rx > 0 and ry > 0 and math.isfinite(rx) and math.isfinite(ry) and math.isfinite(sweep)) or sweep == 0:
        return (lambda n: end), 1  # SVG 2, 9.5.1: an arc without radii is a straight line
    _mapped([arc.center], matrix, offset)
    turn, start = float(arc.get_rotation()), float(arc.get_start_t())

    def points(n: int) -> np.ndarray:
        found = flatten.arc_points((arc.center.x, arc.center.y), (rx, ry), turn, start, sweep, n) @ matrix + offset
        found[-1] = end[0]
        return _checked(found)

    return points, flatten.arc_chords(max(rx, ry) * stretch, sweep)
