"""The ground a picture lies on, and the shadows of parts on it and on each other."""

from __future__ import annotations

import math

import cv2
import numpy as np

from ..colour.spaces import lab_to_linear
from ..outline.coverage import coverage
from ..outline.shape import Shape
from .canvas import Canvas
from .coarse import Coarse

__all__ = ["ground_fade", "ground_rows", "reaches", "shade", "shadow"]

_SCALE = 1.0  # samples per mm
_FINE = 4.0   # and where a part stands low over what it shades
# Contact, near and soft: offset right, offset down, blur (sigma), depth, for a part of BODY mm.
_LAYERS = ((1.0, 1.5, 1.8, 0.30), (5.0, 8.0, 7.5, 0.34), (9.0, 15.0, 21.0, 0.14))
_BODY = 45.0
_STEP = 3.0   # mm: parts whose heights differ by less cast one shadow on the ground
_FLAT, _ALL = 3.0, 0.46  # mm under which one layer says it all, and its depth
_LOW = 14.0   # mm above what it falls on, below which a shadow is sharp enough to need the finer field
_THIN = 2.6   # strings: a lamp's shadow of a thin thing is as dark as that of a wide one, only narrower
_SOFTEST = 0.4  # mm: the sky over the bench rounds even the shadow of a screw
_LEAST = 0.02  # mm: flush inlays cast nothing


def ground_fade(y: np.ndarray) -> np.ndarray:
    """How much lighter the ground is at a share y (0 top, 1 bottom) of the picture: a little darker downward."""
    return 1.02 - 0.10 * y * y - 0.02 * y


def ground_rows(lab: tuple[float, float, float], canvas: Canvas, first: int, last: int, span: tuple[float, float] = (0.0, 1.0)) -> np.ndarray:
    """Colour of the ground for rows of a picture, float32 linear, (rows, 1, 3), or (1, columns, 3) for one that will lie on its side.

    span  the share of the ground, from top to bottom, that the picture shows.
    """
    colour = np.clip(lab_to_linear(np.array(lab)), 0, 1)
    if canvas.lying:
        # Turned left, the right edge becomes the top.
        y = 1 - (np.arange(canvas.width) + 0.5) / canvas.width
        return (colour * ground_fade(span[0] + (span[1] - span[0]) * y)[:, None])[None].astype(np.float32)
    y = (np.arange(first, last) + 0.5) / canvas.height
    return (colour * ground_fade(span[0] + (span[1] - span[0]) * y)[:, None])[:, None].astype(np.float32)


def shadow(casters: list[tuple[Shape, float]], picture: Canvas) -> Coarse:
    """What is left of the light beside parts that stand above it, 0..1.

    casters  shapes, each with the mm it stands above what the shadow falls on.
    """
    s = min(_SCALE, max(picture.px_per_mm, 0.25))
    pad = 8
    size = (int(picture.width / picture.px_per_mm * s) + 2 * pad, int(picture.height / picture.px_per_mm * s) + 2 * pad)
    canvas = Canvas((picture.origin[0] - pad / s, picture.origin[1] - pad / s), s, size, picture.lying)
    return Coarse(_shadows([(*c, False) for c in _grouped(casters)], canvas), canvas)


def shade(casters: list[tuple[Shape, float, bool]], box: tuple[float, float, float, float], picture: Canvas) -> Coarse | None:
    """As ``shadow``, on one part within a box in mm, of shapes with their rise and whether they are thin; None where nothing reaches it."""
    # To half a millimetre of height, so that the pieces of a bridge are shadowed in one go.
    near = [(shape, max(round(rise * 2) / 2, 0.5), thin) for shape, rise, thin in casters if rise > _LEAST and reaches(shape, rise, box)]
    if not near:
        return None
    # Clipped to the picture: a crop needs no shadow beyond its frame.
    x0, y0 = max(box[0], picture.origin[0]) - 2, max(box[1], picture.origin[1]) - 2
    x1 = min(box[2], picture.origin[0] + picture.width / picture.px_per_mm) + 2
    y1 = min(box[3], picture.origin[1] + picture.height / picture.px_per_mm) + 2
    if x1 <= x0 or y1 <= y0:
        return None
    low = [c for c in near if c[1] < _LOW]
    left = None
    for some, fine in ((low, True), ([c for c in near if c[1] >= _LOW], False)):
        if not some:
            continue
        s = min(_FINE if fine else _SCALE, max(picture.px_per_mm, 0.25))
        canvas = Canvas((x0, y0), s, (max(2, math.ceil((x1 - x0) * s)), max(2, math.ceil((y1 - y0) * s))), picture.lying)
        made = Coarse(_shadows(some, canvas), canvas)
        if left is None:
            left = made
        else:
            left = Coarse(left.values * made.rows(left.canvas, (0, left.canvas.width), (0, left.canvas.height)), left.canvas)
    return left


def reaches(shape: Shape, rise: float, box) -> bool:
    """Whether the shadow of a shape that stands some mm higher can fall into a box."""
    far = 2 + 1.8 * rise
    x0, y0, x1, y1 = shape.bounds
    return x0 - far < box[2] and x1 + far > box[0] and y0 - far < box[3] and y1 + far > box[1]


def _grouped(casters: list[tuple[Shape, float]]) -> list[tuple[Shape, float]]:
    """Casters of about one height at one height: their shadows on the ground are blurred by far more than they differ."""
    if len(casters) < 4:
        return casters
    return [(shape, max(_STEP, round(rise / _STEP) * _STEP)) for shape, rise in casters]


def _shadows(casters: list[tuple[Shape, float, bool]], canvas: Canvas) -> np.ndarray:
    """What the shadows of casters leave of the light over a canvas."""
    s, size = canvas.px_per_mm, canvas.size
    left = np.ones((size[1], size[0]), np.float32)
    heights: dict[tuple[float, bool], list[Shape]] = {}
    for shape, rise, thin in casters:
        heights.setdefault((rise, thin), []).append(shape)
    # Parts that lie on each other cast one shadow, the deepest, not one each.
    darks = [np.zeros_like(left) for _ in _LAYERS]
    for (rise, thin), shapes in heights.items():
        k = min(rise / _BODY, 1.5)
        boxes = np.array([shape.bounds for shape in shapes])
        # Worked out only where they can fall.
        far = max(abs(v) for v in (15.0 * k, 9.0 * k)) + 3 * 21.0 * k + 3
        a = int(np.clip((boxes[:, 0].min() - far - canvas.origin[0]) * s, 0, size[0]))
        b = int(np.clip((boxes[:, 2].max() + far - canvas.origin[0]) * s + 1, 0, size[0]))
        c = int(np.clip((boxes[:, 1].min() - far - canvas.origin[1]) * s, 0, size[1]))
        d = int(np.clip((boxes[:, 3].max() + far - canvas.origin[1]) * s + 1, 0, size[1]))
        if a >= b or c >= d:
            continue
        # What lies beyond the canvas casts onto it too.
        pad = int(15.0 * k * s) + int(3 * 7.5 * k * s) + 2
        origin = (canvas.origin[0] + (a - pad) / s, canvas.origin[1] + (c - pad) / s)
        wide, high = b - a + 2 * pad, d - c + 2 * pad
        mask = np.zeros((high, wide), np.float32)
        for shape in shapes:
            np.maximum(mask, coverage(shape, origin=origin, px_per_mm=s, size=(wide, high)), out=mask)
        for n, ((dx, dy, blur, depth), dark) in enumerate(zip(_LAYERS, darks, strict=True)):
            if rise < _FLAT:
                if n != 1:
                    continue
                depth = _ALL  # so low that the three fall together
            mx, my = canvas.in_drawing(dx * k * s, dy * k * s)
            moved = cv2.warpAffine(mask, np.array([[1, 0, mx], [0, 1, my]]), (wide, high), flags=cv2.INTER_LINEAR)
            soft = _blurred(moved, max(max(blur * k, _SOFTEST) * s, 0.3))[pad:pad + d - c, pad:pad + b - a]
            here = dark[c:d, a:b]
            np.maximum(here, depth * (_THIN if thin else min(1.0, 0.35 + 0.65 * k)) * soft, out=here)
    for dark in darks:
        left *= 1 - dark
    return left


def _blurred(image: np.ndarray, sigma: float) -> np.ndarray:
    """A Gaussian blur; a wide one on a smaller image, which nobody can tell."""
    factor = int(sigma / 4)
    if factor < 2 or min(image.shape) < 8 * factor:
        return cv2.GaussianBlur(image, (0, 0), sigma)
    height, width = image.shape
    small = (-(-width // factor), -(-height // factor))
    padded = cv2.copyMakeBorder(image, 0, small[1] * factor - height, 0, small[0] * factor - width, cv2.BORDER_REPLICATE)
    done = cv2.GaussianBlur(cv2.resize(padded, small, interpolation=cv2.INTER_AREA), (0, 0), sigma / factor)
    return cv2.resize(done, (small[0] * factor, small[1] * factor), interpolation=cv2.INTER_CUBIC)[:height, :width]
