"""How a face leans where it is not flat: carved tops, hollows, fretboards, the round backs of necks."""

from __future__ import annotations

import cv2
import numpy as np

from ..outline.coverage import coverage
from ..outline.cut import width_at
from ..outline.distance import edge_field
from ..outline.shape import Shape
from ..scene.values import Form
from .canvas import Canvas
from .coarse import Coarse, field_canvas

__all__ = ["form_key", "form_lean"]

SOFT = 6.0  # mm (sigma) over which a hollow is rounded: a carver leaves no ridge
SPREAD, STEP = 0.7, 6.0  # of a carved top's reach (sigma), and mm (sigma) of one step toward it
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
        lean += _barrel(form, shape, x, y)
    size = np.hypot(lean[..., 0], lean[..., 1])
    lean *= np.minimum(1.0, STEEPEST / np.maximum(size, 1e-6))[..., None]
    return Coarse(lean, canvas)


def _height(form: Form, shape: Shape, canvas: Canvas) -> np.ndarray:
    """mm by which the face stands above flat, (h, w) float32."""
    z = np.zeros((canvas.height, canvas.width), np.float32)
    if form.dome > 0:
        z += form.dome * _smooth(_swell(shape, canvas, form.reach))
    for hollow in form.contours:
        d, _ = edge_field(hollow.shape, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size, reach=400.0)
        inside, _ = edge_field(shape, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size, reach=2.0)
        deepest = float(d[inside > 0].max(initial=1.0))
        t = np.clip(cv2.GaussianBlur(d, (0, 0), SOFT * canvas.px_per_mm) / max(deepest, 1.0), 0, 1.4)
        z -= hollow.depth * t * t * (2 - t)
    return z


def _swell(shape: Shape, canvas: Canvas, reach: float) -> np.ndarray:
    """From 0 at the edge toward 1 about ``reach`` mm in, (h, w) float32.

    What is left of heat that flows off at the edge: unlike the distance to the
    edge it has no ridge along the middle of a horn, and no end to its slope,
    either of which a glossy top would show as a line.
    """
    s = canvas.px_per_mm / 2
    size = (canvas.width // 2 + 1, canvas.height // 2 + 1)
    inside = coverage(shape, origin=canvas.origin, px_per_mm=s, size=size)
    left = inside
    for _ in range(max(4, round((SPREAD * reach / STEP) ** 2))):
        left = cv2.GaussianBlur(left, (0, 0), STEP * s) * inside
    move = np.array([[0.5, 0, -0.25], [0, 0.5, -0.25]])
    large = cv2.warpAffine(left, move, canvas.size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    return cv2.GaussianBlur(large, (0, 0), 2.0 * canvas.px_per_mm)


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
        return np.zeros((len(y), len(x), 2), np.float32)
    share = (y - top - 10) / (low - top - 10)
    left, right = (a + share * (b - a) for a, b in zip(above, below, strict=True))
    u = (x[None, :] - ((left + right) / 2)[:, None]) / ((right - left) / 2)[:, None]
    u = np.clip(u, -1.05, 1.05)
    # Flat along the middle, steep at the sides: between a C and a D.
    ease = _smooth((y - top) / 26.0) * _smooth((low - y) / 44.0)
    lean = np.zeros((len(y), len(x), 2), np.float32)
    lean[..., 0] = (0.30 * u + 0.62 * u ** 3) * ease[:, None]
    return lean
