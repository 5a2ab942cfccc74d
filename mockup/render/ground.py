"""The ground a picture lies on, and the shadows of parts."""

from __future__ import annotations

import cv2
import numpy as np

from ..colour.spaces import lab_to_linear
from ..outline.coverage import coverage
from ..outline.shape import Shape
from .canvas import Canvas
from .coarse import Coarse

__all__ = ["ground_rows", "shadow"]

_SCALE = 1.0  # samples per mm
# Contact, near and soft: offset right, offset down, blur (sigma), depth, for a part of BODY mm.
_LAYERS = ((1.0, 1.5, 1.8, 0.30), (5.0, 8.0, 7.5, 0.34), (9.0, 15.0, 21.0, 0.14))
_BODY = 45.0


def ground_rows(lab: tuple[float, float, float], height: int, first: int, last: int) -> np.ndarray:
    """Colour of the ground for rows of a picture, (rows, 3) float32 linear: a little darker downward."""
    y = (np.arange(first, last) + 0.5) / height
    fade = 1.02 - 0.10 * y * y - 0.02 * y
    return (np.clip(lab_to_linear(np.array(lab)), 0, 1) * fade[:, None]).astype(np.float32)


def shadow(casters: list[tuple[Shape, float]], picture: Canvas) -> Coarse:
    """What is left of the light beside parts that stand above it, 0..1.

    casters  shapes, each with the mm it stands above what the shadow falls on.
    """
    s = min(_SCALE, max(picture.px_per_mm, 0.25))
    pad = 8
    size = (int(picture.width / picture.px_per_mm * s) + 2 * pad, int(picture.height / picture.px_per_mm * s) + 2 * pad)
    canvas = Canvas((picture.origin[0] - pad / s, picture.origin[1] - pad / s), s, size)
    left = np.ones((size[1], size[0]), np.float32)
    masks: dict[float, np.ndarray] = {}
    for shape, rise in casters:
        mask = coverage(shape, origin=canvas.origin, px_per_mm=s, size=size)
        masks[rise] = np.maximum(masks[rise], mask) if rise in masks else mask
    for dx, dy, blur, depth in _LAYERS:
        # Parts that lie on each other cast one shadow, the deepest, not one each.
        dark = np.zeros_like(left)
        for rise, mask in masks.items():
            k = min(rise / _BODY, 1.5)
            moved = cv2.warpAffine(mask, np.array([[1, 0, dx * k * s], [0, 1, dy * k * s]]), size, flags=cv2.INTER_LINEAR)
            soft = cv2.GaussianBlur(moved, (0, 0), max(blur * k * s, 0.3))
            np.maximum(dark, depth * min(1.0, 0.35 + 0.65 * k) * soft, out=dark)
        left *= 1 - dark
    return Coarse(left, canvas)
