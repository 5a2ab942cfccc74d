"""How a face leans where it is not flat: carved tops, hollows, fretboards, the round backs of necks."""

from __future__ import annotations

import cv2
import numpy as np

from ..outline.cut import width_at
from ..outline.distance import edge_field
from ..outline.shape import Shape
from ..scene.values import Form
from .canvas import Canvas
from .coarse import Coarse, field_canvas

__all__ = ["form_key", "form_lean"]

SOFT, SOFTER = 6.0, 12.0  # mm (sigma) over which a hollow, and a carved top, is rounded: a carver leaves no ridge
STEEPEST = 0.93  # of the horizontal part of a unit normal


def form_key(form: Form) -> tuple:
    """A key that changes with anything in a form."""
    hollows = tuple((tuple(hash(r.tobytes()) for r in c.shape.rings), c.depth, c.side) for c in form.contours)
    return form.dome, form.reach, form.radius, form.axis, form.barrel, hollows


def form_lean(form: Form, shape: Shape) -> Coarse | None:
    """The horizontal part (x, y) of the face's unit normal, a field over the shape; None where it is flat.

    The fields are smooth, so one or two samples per mm do.
    """
    carved = form.dome > 0 or form.contours
    if not carved and not form.radius and form.barrel is None:
        return None
    canvas = field_canvas(shape.bounds, 1.0 if carved else 2.0, 8.0)
    lean = np.zeros((canvas.height, canvas.width, 2), np.float32)
    s, (ox, oy) = canvas.px_per_mm, canvas.origin
    x = (ox + (np.arange(canvas.width) + 0.5) / s).astype(np.float32)
    y = (oy + (np.arange(canvas.height) + 0.5) / s).astype(np.float32)
    if carved:
        lean += _slopes(_height(form, shape, canvas), s)
    if form.radius:
        lean[..., 0] += np.clip((x - form.axis) / form.radius, -0.9, 0.9)
    if form.barrel is not None:
        lean[..., 0] += _barrel(form, shape, x, y)
    size = np.hypot(lean[..., 0], lean[..., 1])
    lean *= np.minimum(1.0, STEEPEST / np.maximum(size, 1e-6))[..., None]
    return Coarse(lean, canvas)


def _height(form: Form, shape: Shape, canvas: Canvas) -> np.ndarray:
    """mm by which the face stands above flat, (h, w) float32."""
    z = np.zeros((canvas.height, canvas.width), np.float32)
    if form.dome > 0:
        reach = form.reach + 3 * SOFTER
        d, _ = edge_field(shape, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size, reach=reach)
        z += form.dome * _smooth(cv2.GaussianBlur(d, (0, 0), SOFTER * canvas.px_per_mm) / form.reach)
    for hollow in form.contours:
        d, _ = edge_field(hollow.shape, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size, reach=400.0)
        inside, _ = edge_field(shape, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size, reach=2.0)
        deepest = float(d[inside > 0].max(initial=1.0))
        t = np.clip(cv2.GaussianBlur(d, (0, 0), SOFT * canvas.px_per_mm) / max(deepest, 1.0), 0, 1.4)
        z -= hollow.depth * t * t * (2 - t)
    return z


def _smooth(t: np.ndarray) -> np.ndarray:
    t = np.clip(t, 0, 1)
    return t * t * (3 - 2 * t)


def _slopes(z: np.ndarray, s: float) -> np.ndarray:
    dx = cv2.Sobel(z, cv2.CV_32F, 1, 0, ksize=3) * (s / 8)
    dy = cv2.Sobel(z, cv2.CV_32F, 0, 1, ksize=3) * (s / 8)
    n = np.sqrt(1 + dx * dx + dy * dy)
    return np.stack((-dx / n, -dy / n), axis=-1)


def _barrel(form: Form, shape: Shape, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A neck's back between the two heights of ``form.barrel``, easing into the head and the heel."""
    top, low = form.barrel
    above, below = width_at(shape, top + 10), width_at(shape, low)
    if above is None or below is None or low <= top:
        return np.zeros((len(y), len(x)), np.float32)
    share = (y - top - 10) / (low - top - 10)
    left, right = (a + share * (b - a) for a, b in zip(above, below, strict=True))
    u = (x[None, :] - ((left + right) / 2)[:, None]) / ((right - left) / 2)[:, None]
    u = np.clip(u, -1.05, 1.05)
    # Flat along the middle, steep at the sides: between a C and a D.
    ease = _smooth((y - top) / 26.0) * _smooth((low - y) / 44.0)
    return (0.30 * u + 0.62 * u ** 3) * ease[:, None]
