"""Seeing the face squarely: the photograph resampled in mm."""

from __future__ import annotations

import cv2
import numpy as np

from mockup.board.plane import Plane

__all__ = ["BAND", "brightest", "flatten", "flatten_rows", "view_scale"]

Array = np.ndarray

BAND = 32   # rows at a time: what is worked on stays in the processor's cache
_MESH = 16   # pixels between points whose place is worked out exactly; between them it is a straight line to 0.01 px


def brightest(pixels: Array) -> Array:
    """The largest channel of each pixel, (H, W); several times faster than numpy's maximum over a short axis."""
    r, g, b = cv2.split(pixels)
    return cv2.max(cv2.max(r, g), b)


def view_scale(plane: Plane, size_mm: tuple[float, float], *, most: float = 40.0) -> float:
    """Pixels per mm worth keeping of a face of ``size_mm``: what the photo has in its better half."""
    w, h = size_mm
    spots = np.stack(np.meshgrid(np.linspace(0, w, 9), np.linspace(0, h, 9)), -1).reshape(-1, 2)
    scale = plane.px_per_mm(spots)
    return float(min(np.percentile(scale[np.isfinite(scale)], 65), most))


def _mesh(plane: Plane, first: int, rows: int, width: int, px_per_mm: float) -> tuple[Array, Array]:
    """Pixel of the photo for every pixel of rows of the view: two float32 (rows, width) maps."""
    down, across = -(-rows // _MESH) + 2, -(-width // _MESH) + 2
    # A node stands at the middle of each block, as resize expects; one more block all round.
    x = (np.arange(across) - 0.5) * _MESH / px_per_mm
    y = (first + (np.arange(down) - 0.5) * _MESH) / px_per_mm
    at = plane.to_image(np.stack(np.meshgrid(x, y), -1))
    at = np.nan_to_num(at, nan=-1e4).astype(np.float32)
    out = []
    for k in range(2):
        big = cv2.resize(np.ascontiguousarray(at[..., k]), (across * _MESH, down * _MESH), interpolation=cv2.INTER_LINEAR)
        out.append(big[_MESH:_MESH + rows, _MESH:_MESH + width])
    return out[0], out[1]


def flatten_rows(pixels: Array, plane: Plane, rows: tuple[int, int], width: int, px_per_mm: float, *,
                 smooth: bool = True) -> Array:
    """Rows ``rows[0]`` to ``rows[1]`` of the view: (n, width, C) of the photo's type.

    The face's (0, 0) is the outer corner of the first pixel. What the photo
    does not show is black. ``smooth``: bicubic, else bilinear.
    """
    map_x, map_y = _mesh(plane, rows[0], rows[1] - rows[0], width, px_per_mm)
    return cv2.remap(pixels, map_x, map_y, cv2.INTER_CUBIC if smooth else cv2.INTER_LINEAR,
                     borderMode=cv2.BORDER_CONSTANT)


def flatten(pixels: Array, plane: Plane, size_mm: tuple[float, float], px_per_mm: float, *,
            smooth: bool = True) -> Array:
    """The whole face (H, W, C) at ``px_per_mm``; reduced first where it is much coarser than the photo."""
    width, height = (max(1, round(v * px_per_mm)) for v in size_mm)
    pixels, plane = _reduced(pixels, plane, size_mm, px_per_mm)
    out = [flatten_rows(pixels, plane, (top, min(top + BAND, height)), width, px_per_mm, smooth=smooth)
           for top in range(0, height, BAND)]
    return np.concatenate(out)


def _reduced(pixels: Array, plane: Plane, size_mm: tuple[float, float], px_per_mm: float) -> tuple[Array, Plane]:
    """The photo made smaller by a whole number, so that a coarse view does not alias."""
    from dataclasses import replace

    step = int(view_scale(plane, size_mm) / px_per_mm * 0.8)
    if step < 2:
        return pixels, plane
    height, width = (v // step * step for v in pixels.shape[:2])
    small = cv2.resize(pixels[:height, :width], (width // step, height // step), interpolation=cv2.INTER_AREA)
    shrink = np.array([[1 / step, 0, 0.5 / step - 0.5], [0, 1 / step, 0.5 / step - 0.5], [0, 0, 1]])
    centre = shrink[:2, :2] @ plane.centre + shrink[:2, 2]
    return small, replace(plane, matrix=shrink @ plane.matrix, centre=tuple(centre), half=plane.half / step, spread=None)
