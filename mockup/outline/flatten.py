"""Curves to chords: points on Bézier curves and elliptical arcs, no further apart than a tolerance allows.

How many chords a curve needs follows from a bound on its second derivative
(G. Wang, "The subdivision method for finding the intersection between two
Bézier curves or surfaces", Zhejiang University Journal, 1984; for arcs the
sagitta of a circle), so the count is known before any memory is spent.
"""

from __future__ import annotations

import math

import numpy as np

__all__ = ["TOLERANCE", "arc_chords", "arc_points", "bezier_chords", "bezier_points"]

# Largest distance between curve and chord, mm. A chord polygon of a convex curve loses about
# two thirds of this times the perimeter: with 1e-5 a disc of 20 mm across keeps its area to 1e-6.
TOLERANCE = 1e-5


def bezier_chords(control: np.ndarray, tolerance: float = TOLERANCE) -> float:
    """How many equal parameter steps keep a Bézier curve within ``tolerance`` of its chords.

    control   (degree + 1, 2) control points, in the unit of ``tolerance``.

    Returns a whole number as a float, so that a curve with absurd
    coordinates gives inf rather than an error.
    """
    degree = len(control) - 1
    if degree < 2:
        return 1.0
    bend = np.hypot(*np.diff(control, n=2, axis=0).T).max()
    return max(1.0, float(np.ceil(np.sqrt(degree * (degree - 1) * bend / (8.0 * tolerance)))))


def bezier_points(control: np.ndarray, chords: int) -> np.ndarray:
    """Points of a Bézier curve at ``chords`` equal steps, (chords, 2), the start left out, the end exact."""
    t = np.linspace(0.0, 1.0, chords + 1)[1:, None]
    s = 1.0 - t
    degree = len(control) - 1
    points = sum(math.comb(degree, i) * s ** (degree - i) * t**i * control[i] for i in range(degree + 1))
    points[-1] = control[-1]
    return points


def arc_chords(radius: float, sweep: float, tolerance: float = TOLERANCE) -> float:
    """How many equal angles keep an arc of ``sweep`` radians within ``tolerance``; radius is the larger half axis."""
    if not radius > 0:
        return 1.0
    step = 2.0 * math.acos(max(0.0, 1.0 - tolerance / radius))
    return max(1.0, float(np.ceil(abs(sweep) / step))) if step > 0 else math.inf


def arc_points(centre, radii, turn: float, start: float, sweep: float, chords: int) -> np.ndarray:
    """Points of an elliptical arc at equal steps of its parameter, (chords, 2), the start left out.

    centre, radii   of the ellipse; turn its first axis against x, radians;
    start, sweep    the parameter (SVG 2, appendix B.2: implementation notes on elliptical arcs), radians.
    """
    t = start + sweep * np.linspace(0.0, 1.0, chords + 1)[1:]
    along, across = radii[0] * np.cos(t), radii[1] * np.sin(t)
    c, s = math.cos(turn), math.sin(turn)
    return np.column_stack((centre[0] + c * along - s * across, centre[1] + s * along + c * across))
