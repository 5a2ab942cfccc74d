"""Smooth fields (light, shadow, burst) kept coarser than the picture and spread over its rows when needed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from .canvas import Canvas

__all__ = ["Coarse", "fine_canvas", "field_canvas"]


@dataclass(frozen=True, eq=False)
class Coarse:
    """``values`` (h, w) or (h, w, n) float32 over ``canvas``."""

    values: np.ndarray
    canvas: Canvas

    def rows(self, picture: Canvas, columns: tuple[int, int], rows: tuple[int, int]) -> np.ndarray:
        """The field at the pixels of some columns and rows of a picture, linear between its samples."""
        k = self.canvas.px_per_mm / picture.px_per_mm
        if k == 1 and self.canvas.origin == picture.origin:
            return self.values[rows[0]:rows[1], columns[0]:columns[1]]
        shift = [(picture.origin[i] - self.canvas.origin[i]) * self.canvas.px_per_mm + (p + 0.5) * k - 0.5
                 for i, p in enumerate((columns[0], rows[0]))]
        matrix = np.array([[k, 0, shift[0]], [0, k, shift[1]]])
        return cv2.warpAffine(self.values, matrix, (columns[1] - columns[0], rows[1] - rows[0]),
                              flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)

    def is_one(self, picture: Canvas, columns: tuple[int, int], rows: tuple[int, int]) -> bool:
        """Whether the field is 1 all over some columns and rows of a picture."""
        k = self.canvas.px_per_mm / picture.px_per_mm
        (x0, x1), (y0, y1) = (
            (max(0, math.floor(at[0] * k + shift) - 1), math.ceil(at[1] * k + shift) + 2)
            for at, shift in ((at, (picture.origin[i] - self.canvas.origin[i]) * self.canvas.px_per_mm) for i, at in enumerate((columns, rows))))
        here = self.values[y0:y1, x0:x1]
        return bool((here[len(here) // 2] == 1).all() and (here == 1).all())


def fine_canvas(picture: Canvas, window: tuple[int, int, int, int], least: float, most: float) -> tuple[Canvas, int]:
    """A canvas over a window for a field that needs ``least`` to ``most`` samples per mm, and by how much to average it.

    Below ``least`` the field is drawn finer by a whole factor and averaged down; above ``most`` it is kept coarse.
    """
    s = picture.px_per_mm
    factor = max(1, math.ceil(least / s)) if s < least else 1
    scale = s * factor if s <= most else most
    x0, y0, x1, y1 = window
    origin = (picture.origin[0] + x0 / s, picture.origin[1] + y0 / s)
    if s > most:
        origin = (origin[0] - 2 / scale, origin[1] - 2 / scale)
        size = (math.ceil((x1 - x0) / s * scale) + 4, math.ceil((y1 - y0) / s * scale) + 4)
    else:
        size = ((x1 - x0) * factor, (y1 - y0) * factor)
    return Canvas(origin, scale, size), factor


def field_canvas(box: tuple[float, float, float, float], px_per_mm: float, margin: float) -> Canvas:
    """A canvas for a field of fixed fineness over a box in mm."""
    x0, y0, x1, y1 = box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin
    return Canvas((x0, y0), px_per_mm, (max(2, math.ceil((x1 - x0) * px_per_mm)), max(2, math.ceil((y1 - y0) * px_per_mm))))
