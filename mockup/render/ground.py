"""The ground a picture lies on, and the shadows of parts on it and on each other."""

from __future__ import annotations

import math

import cv2
import numpy as np

from ..colour.spaces import lab_to_linear
from ..outline.boxes import apart
from ..outline.coverage import coverage
from ..outline.fewer import thinned
from ..outline.shape import Shape
from .canvas import Canvas
from .coarse import Coarse

__all__ = ["ground_fade", "ground_rows", "reaches", "shade", "shadow"]

_SCALE = 1.0  # samples per mm
_FINER = ((5.0, 3.0), (14.0, 2.0), (math.inf, _SCALE))  # and on parts: mm of height, and for what stands lower than that samples per mm
# Contact, near and soft: offset right, offset down, blur (sigma), depth, for a part of BODY mm.
_LAYERS = ((0.5, 0.8, 2.0, 0.34), (5.0, 8.0, 7.5, 0.34), (9.0, 15.0, 21.0, 0.14))
_BODY, _LOW = 45.0, 0.85  # and the power of their share with which the shadows of lower ones shrink: a little less than they do, to be seen at all
_FLAT, _ALL = 3.0, 0.46  # mm under which one layer says it all, and its depth
_THIN = 2.6   # strings: a lamp's shadow of a thin thing is as dark as that of a wide one, only narrower
_SOFTEST = 0.4  # mm: the sky over the bench rounds even the shadow of a screw
_LEAST = 0.02  # mm: flush inlays cast nothing
_CHORD, _LONG = 0.02, 1000  # mm by which a long outline that casts a shadow may be cut short, and its points
_MASK = 4.5    # samples per mm, at least, of what a mask is averaged from
_ALIKE = 1.15  # heights within this share of each other cast one shadow
_SPARSE, _WIDE = 0.4, 25_000.0  # of a box of so many mm² or more, below which what lies scattered in it is shaded piece by piece


def ground_fade(y: np.ndarray) -> np.ndarray:
    """How much lighter the ground is at a share y (0 top, 1 bottom) of the picture: a little darker downward."""
    return 1.02 - 0.10 * y * y - 0.02 * y


def ground_rows(lab: tuple[float, float, float], canvas: Canvas, first: int, last: int, span: tuple[float, float] | None = (0.0, 1.0)) -> np.ndarray:
    """Colour of the ground for rows of a picture, float32 linear, (rows, 1, 3), or (1, columns, 3) for one that will lie on its side.

    span  the share of the ground, from top to bottom, that the picture shows; None for one that is the same all over.
    """
    colour = np.clip(lab_to_linear(np.array(lab)), 0, 1)
    if span is None:
        return np.broadcast_to(colour, (1 if canvas.lying else last - first, 1, 3)).astype(np.float32)
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
    # On the same places of the drawing whatever is shown of it: a crop has the shadow of the whole.
    origin = [math.floor(at * s - pad) / s for at in picture.origin]
    size = tuple(int(n / picture.px_per_mm * s) + 2 * pad + 1 for n in picture.size)
    canvas = Canvas((origin[0], origin[1]), s, size, picture.lying)
    return Coarse(_shadows(_grouped([(*c, False) for c in casters]), canvas), canvas)


def shade(casters: list[tuple[Shape, float, bool]], part: Shape, picture: Canvas) -> Coarse | None:
    """As ``shadow``, on one part, of shapes with their rise and whether they are thin; None where nothing reaches it."""
    boxes = _clusters(part)
    made = [m for box in boxes if (m := _shade_box(casters, box, picture)) is not None]
    if len(boxes) == 1 or not made:
        return made[0] if made else None
    # All of them on one canvas, light between them.
    s = max(m.canvas.px_per_mm for m in made)
    low = np.min([m.canvas.origin for m in made], axis=0)
    high = np.max([np.array(m.canvas.origin) + np.array(m.canvas.size) / m.canvas.px_per_mm for m in made], axis=0)
    canvas = Canvas((float(low[0]), float(low[1])), s, tuple(int(v) for v in np.ceil((high - low) * s) + 1), picture.lying)
    left = np.ones(canvas.size[::-1], np.float32)
    for m in made:
        (x, y), (w, h) = ((np.array(m.canvas.origin) - low) * s).round().astype(int), np.array(m.canvas.size)
        if m.canvas.px_per_mm != s:
            w, h = (np.array(m.canvas.size) / m.canvas.px_per_mm * s).astype(int)
        x, y, w, h = (int(v) for v in (x, y, min(w, canvas.width - x), min(h, canvas.height - y)))
        placed = Canvas((canvas.origin[0] + x / s, canvas.origin[1] + y / s), s, (w, h), picture.lying)
        left[y:y + h, x:x + w] = m.rows(placed, (0, w), (0, h))
    return Coarse(left, canvas)


def _clusters(part: Shape) -> list[tuple[float, float, float, float]]:
    """The box of a shape, or where its pieces lie scattered, the boxes of those, so far apart that they do not meet."""
    x0, y0, x1, y1 = part.bounds
    if len(part.rings) < 2 or (x1 - x0) * (y1 - y0) < _WIDE:
        return [part.bounds]
    around = [(*(ring.min(axis=0) - 4.0).tolist(), *(ring.max(axis=0) + 4.0).tolist()) for ring in part.rings]
    boxes = [box for box, _ in apart([(box, []) for box in around])]
    x0, y0, x1, y1 = part.bounds
    if sum((b[2] - b[0]) * (b[3] - b[1]) for b in boxes) > _SPARSE * (x1 - x0) * (y1 - y0):
        return [part.bounds]
    return [(b[0] + 4.0, b[1] + 4.0, b[2] - 4.0, b[3] - 4.0) for b in boxes]


def _shade_box(casters: list[tuple[Shape, float, bool]], box: tuple[float, float, float, float], picture: Canvas) -> Coarse | None:
    near = _grouped([c for c in casters if c[1] > _LEAST and reaches(c[0], c[1], box)])
    if not near:
        return None
    # Clipped to the picture: a crop needs no shadow beyond its frame.
    x0, y0 = max(box[0], picture.origin[0]) - 2, max(box[1], picture.origin[1]) - 2
    x1 = min(box[2], picture.origin[0] + picture.width / picture.px_per_mm) + 2
    y1 = min(box[3], picture.origin[1] + picture.height / picture.px_per_mm) + 2
    if x1 <= x0 or y1 <= y0:
        return None
    left = None
    least = 0.0
    for most, fine in _FINER:
        some = [c for c in near if least <= c[1] < most]
        least = most
        if not some:
            continue
        s = min(fine, max(picture.px_per_mm, 0.25))
        a, b = math.floor(x0 * s), math.floor(y0 * s)  # samples of a crop lie where those of the whole do
        canvas = Canvas((a / s, b / s), s, (max(2, math.ceil(x1 * s) - a), max(2, math.ceil(y1 * s) - b)), picture.lying)
        made = Coarse(_shadows(some, canvas), canvas)
        if left is None:
            left = made
        else:
            left = Coarse(left.values * made.rows(left.canvas, (0, left.canvas.width), (0, left.canvas.height)), left.canvas)
    return left


def _share(rise: float) -> float:
    """By how much the shadow of what stands so many mm higher is smaller or larger than that of a body."""
    return min((rise / _BODY) ** _LOW, 1.5)


def _far(share: float) -> float:
    """mm from a shape within which its shadow ends: the farthest layer and three of its sigmas, and a hair."""
    dx, dy, blur, _ = _LAYERS[-1]
    return (max(dx, dy) + 3 * blur) * share + 3


def reaches(shape: Shape, rise: float, box) -> bool:
    """Whether the shadow of a shape that stands some mm higher can fall into a box."""
    far = _far(_share(rise)) if rise > 0 else 0.0
    x0, y0, x1, y1 = shape.bounds
    return x0 - far < box[2] and x1 + far > box[0] and y0 - far < box[3] and y1 + far > box[1]


def _grouped(casters: list[tuple[Shape, float, bool]]) -> list[tuple[Shape, float, bool]]:
    """Casters of about one height at that of the largest of them: their shadows are blurred by far more than they differ."""
    levels: list[tuple[float, bool]] = []
    found = []
    for shape, rise, thin in sorted(casters, key=lambda c: -c[0].area):
        rise = max(rise, 0.5)
        level = next((v for v, t in levels if t == thin and max(v, rise) / min(v, rise) < _ALIKE and (v < _FLAT) == (rise < _FLAT)), None)
        if level is None:
            level = rise
            levels.append((rise, thin))
        found.append((shape, level, thin))
    return found


def _shadows(casters: list[tuple[Shape, float, bool]], canvas: Canvas) -> np.ndarray:
    """What the shadows of casters leave of the light over a canvas."""
    s, size = canvas.px_per_mm, canvas.size
    left = np.ones((size[1], size[0]), np.float32)
    heights: dict[tuple[float, bool], list[Shape]] = {}
    for shape, rise, thin in casters:
        heights.setdefault((rise, thin), []).append(shape)
    # Parts that lie on each other cast one shadow, the deepest, not one each. (Zeros, unlike zeros_like, costs only what is touched.)
    darks = [np.zeros(left.shape, np.float32) for _ in _LAYERS]
    touched: list[list[tuple[int, ...]]] = [[] for _ in _LAYERS]
    for (rise, thin), shapes in heights.items():
        k = _share(rise)
        # Worked out only where they can fall: screws at both ends of a body shade nothing between.
        far = _far(k)
        for box, some in apart([((shape.bounds[0] - far, shape.bounds[1] - far, shape.bounds[2] + far, shape.bounds[3] + far), [shape]) for shape in shapes]):
            a, c = (int(np.clip((box[n] - canvas.origin[n]) * s, 0, size[n])) for n in (0, 1))
            b, d = (int(np.clip((box[n + 2] - canvas.origin[n]) * s + 1, 0, size[n])) for n in (0, 1))
            if a >= b or c >= d:
                continue
            # What lies beyond the canvas casts onto it too, as far as it can; past where all of it ends is nothing to work on.
            pad, moves = math.ceil(far * s), math.ceil(15.0 * k * s) + 2
            x0, y0 = (int(np.clip((box[n] + far - canvas.origin[n]) * s - moves, at - pad, at)) for n, at in enumerate((a, c)))
            x1, y1 = (int(np.clip((box[n + 2] - far - canvas.origin[n]) * s + moves, at, at + pad)) for n, at in enumerate((b, d)))
            around = (x1 - x0, y1 - y0)
            mask = _mask(some, (canvas.origin[0] + x0 / s, canvas.origin[1] + y0 / s), s, around, thin)
            for n, ((dx, dy, blur, depth), dark) in enumerate(zip(_LAYERS, darks, strict=True)):
                if rise < _FLAT:
                    if n != 1:
                        continue
                    depth = _ALL  # so low that the three fall together
                mx, my = canvas.in_drawing(dx * k * s, dy * k * s)
                moved = cv2.warpAffine(mask, np.array([[1, 0, mx], [0, 1, my]]), around, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
                soft = _blurred(moved, max(max(blur * k, _SOFTEST) * s, 0.3))[c - y0:d - y0, a - x0:b - x0]
                here = dark[c:d, a:b]
                np.maximum(here, depth * (_THIN if thin else min(1.0, 0.9 + 0.1 * k)) * soft, out=here)
                touched[n].append((a, c, b, d))
    for dark, boxes in zip(darks, touched, strict=True):
        for (a, c, b, d), _ in apart([(box, []) for box in boxes]):
            left[c:d, a:b] *= 1 - dark[c:d, a:b]
    return left


def _mask(shapes: list[Shape], origin: tuple[float, float], s: float, size: tuple[int, int], thin: bool) -> np.ndarray:
    """How much of each sample the shapes cover together, (H, W) float32: near enough for what is blurred, exact where thin."""
    if thin:
        mask = np.zeros(size[::-1], np.float32)
        for shape in shapes:
            np.maximum(mask, coverage(shape, origin=origin, px_per_mm=s, size=size), out=mask)
        return mask
    over = 2 if s * 2 > _MASK else 4 * max(1, round(1 / s))
    filled = np.zeros((size[1] * over, size[0] * over), np.uint8)
    for shape in shapes:
        # OpenCV counts from the middle of a pixel, in 16ths here, and fills the pixels on the edge too.
        rings = [np.rint((ring - origin) * (s * over * 16) - 8).astype(np.int32) for ring in thinned(shape, _CHORD, _LONG).rings]
        cv2.fillPoly(filled, rings, 255, shift=4)
    return cv2.resize(filled, size, interpolation=cv2.INTER_AREA).astype(np.float32) * np.float32(1 / 255)


def _blurred(image: np.ndarray, sigma: float) -> np.ndarray:
    """A Gaussian blur of an image that goes on past its border as it is there; a wide one on a smaller image, which nobody can tell."""
    factor = int(sigma / 2.6)
    if factor < 2 or min(image.shape) < 8 * factor:
        return cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    height, width = image.shape
    small = (-(-width // factor), -(-height // factor))
    padded = cv2.copyMakeBorder(image, 0, small[1] * factor - height, 0, small[0] * factor - width, cv2.BORDER_REPLICATE)
    done = cv2.GaussianBlur(cv2.resize(padded, small, interpolation=cv2.INTER_AREA), (0, 0), sigma / factor, borderType=cv2.BORDER_REPLICATE)
    return cv2.resize(done, (small[0] * factor, small[1] * factor), interpolation=cv2.INTER_CUBIC)[:height, :width]
