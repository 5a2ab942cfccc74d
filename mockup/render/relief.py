"""The shape of a part's surface near its edge, and the light on it."""

from __future__ import annotations

import cv2
import numpy as np

from ..outline.distance import edge_field
from ..outline.shape import Shape
from .canvas import Canvas
from .coarse import Coarse, fine_canvas
from .light import diffuse, shine

__all__ = ["part_lighting"]

LEAST, MOST = 3.0, 4.0  # samples per mm that a roundover of some mm needs


def _ripple(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of a rubbed-out film, a thousandth or two: enough to bend a window's edge as real film does."""
    nx = 0.0011 * np.sin(x / 17.3 + 0.7 * np.sin(y / 31.0)) + 0.0008 * np.sin(y / 11.9 + x / 37.0)
    ny = 0.0011 * np.sin(y / 19.1 + 0.8 * np.sin(x / 27.0)) + 0.0008 * np.sin(x / 13.3 - y / 41.0)
    return nx, ny


def part_lighting(shape: Shape, roundover: float, gloss: float, picture: Canvas, window: tuple[int, int, int, int],
                  middle: tuple[float, float]) -> tuple[Coarse, Coarse]:
    """Light on a flat part with a quarter-round of ``roundover`` mm along its edge.

    ``middle`` is the drawing point under the eye. Returns what
    multiplies the light of the body (1 where the part lies flat), and what the
    surface adds to it.
    """
    canvas, factor = fine_canvas(picture, window, LEAST, MOST)
    s, (ox, oy), (width, height) = canvas.px_per_mm, canvas.origin, canvas.size

    # Flat face: smooth, so a few samples per cm do.
    cell = max(1, int(s * 2))
    xs = ox + (np.arange(0, width + cell, cell) + 0.5) / s - middle[0]
    ys = oy + (np.arange(0, height + cell, cell) + 0.5) / s - middle[1]
    x, y = np.meshgrid(xs, ys)
    nx, ny = _ripple(x, y)
    flat = shine(nx, ny, np.sqrt(1 - nx * nx - ny * ny), x, y, gloss)
    matrix = np.array([[1 / cell, 0, 0], [0, 1 / cell, 0]], np.float64)
    surface = cv2.warpAffine(flat, matrix, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                             borderMode=cv2.BORDER_REPLICATE)
    body = np.ones((height, width), np.float32)

    if roundover > 0:
        distance, inward = edge_field(shape, origin=canvas.origin, px_per_mm=s, size=canvas.size, reach=roundover + 2)
        # A little beyond the edge too: coverage, not light, ends the part there.
        rim = np.nonzero((distance < roundover) & (distance > -1.5))
        slope = np.clip(1 - np.maximum(distance[rim], 0) / roundover, 0, 0.94).astype(np.float64)
        nx, ny = -inward[rim][:, 0] * slope, -inward[rim][:, 1] * slope
        nz = np.sqrt(1 - slope * slope)
        x = ox + (rim[1] + 0.5) / s - middle[0]
        y = oy + (rim[0] + 0.5) / s - middle[1]
        rx, ry = _ripple(x, y)
        body[rim] = diffuse(nx, ny, nz)
        surface[rim] = shine(nx + rx, ny + ry, nz, x, y, gloss)
    if factor > 1:
        small = (width // factor, height // factor)
        body = cv2.resize(body, small, interpolation=cv2.INTER_AREA)
        surface = cv2.resize(surface, small, interpolation=cv2.INTER_AREA)
        canvas = Canvas(canvas.origin, picture.px_per_mm, small)
    return Coarse(body, canvas), Coarse(surface, canvas)
