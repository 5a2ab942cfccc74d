"""A cut-out photo laid into a picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from ..files.photo import photo_size, read_photo
from ..scene.values import CutOut
from .canvas import Canvas
from .kept import Kept

__all__ = ["LoadedCutOut", "load_cut_out"]

_BLEED = 3.0  # pixels (sigma) by which colours are carried out into the transparent
_NEAR = 0.02   # share of what is opaque around a pixel from which its colour is carried there


@dataclass(frozen=True, eq=False)
class LoadedCutOut:
    """``pixels`` (H, W, 3) float32 linear, opaque all over, and the map from drawing mm to them."""

    pixels: np.ndarray
    to_pixels: np.ndarray  # (2, 3)

    def block(self, canvas: Canvas, rows: tuple[int, int], columns: tuple[int, int]) -> list[np.ndarray]:
        """Its colours over a block of a canvas, three planes (H, W) float32 linear."""
        s = canvas.px_per_mm
        corner = np.array([canvas.origin[0] + (columns[0] + 0.5) / s, canvas.origin[1] + (rows[0] + 0.5) / s, 1.0])
        matrix = np.column_stack([self.to_pixels[:, :2] / s, self.to_pixels @ corner])
        size = (columns[1] - columns[0], rows[1] - rows[0])
        return list(cv2.split(cv2.warpAffine(self.pixels, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                                             borderMode=cv2.BORDER_REPLICATE)))


def load_cut_out(photo: CutOut, canvas: Canvas, kept: Kept) -> LoadedCutOut:
    """Read and prepare a cut-out once for each scale: colours carried into the transparent, averaged down to the picture's pixels."""
    stat = photo.path.stat()
    ratio = 1 / (canvas.px_per_mm * photo.mm_per_pixel)  # pixels of the photo per pixel of the canvas

    def make() -> np.ndarray:
        read = read_photo(photo.path)
        pixels = read.pixels.astype(np.float32) / 65535
        alpha = np.ones(pixels.shape[:2], np.float32) if read.alpha is None else read.alpha.astype(np.float32) / 255
        # Next to the edge an editor leaves any colour where nothing is seen: what is opaque spreads there.
        weight = np.where(alpha > 0.98 * alpha.max(), 1.0, 0.0).astype(np.float32)
        spread = cv2.GaussianBlur(weight, (0, 0), _BLEED)
        filled = cv2.GaussianBlur(pixels * weight[..., None], (0, 0), _BLEED) / (spread[..., None] + 1e-6)
        # Where nothing opaque is near, what is half seen keeps the colour it has.
        share = np.where(weight > 0, 0.0, np.clip(spread / _NEAR, 0, 1))[..., None].astype(np.float32)
        pixels = pixels + share * (filled - pixels)
        if ratio > 1.02:
            height, width = alpha.shape
            pixels = cv2.resize(pixels, (max(1, round(width / ratio)), max(1, round(height / ratio))), interpolation=cv2.INTER_AREA)
        return np.ascontiguousarray(pixels)

    key = ("cut-out", str(photo.path), stat.st_mtime_ns, stat.st_size, round(max(ratio, 1.02), 6))
    pixels = kept.get(key, make, lambda p: p.nbytes)
    width_mm, height_mm = _size(photo)
    c, s = math.cos(math.radians(photo.turn)), math.sin(math.radians(photo.turn))
    back = np.array([[c, s], [-s, c]])  # undoes a clockwise turn, y down
    scale = np.array([pixels.shape[1] / width_mm, pixels.shape[0] / height_mm])
    matrix = back * scale[:, None]
    offset = np.array([pixels.shape[1], pixels.shape[0]]) / 2 - 0.5 - matrix @ np.array(photo.at)
    if photo.behind is not None:
        offset = offset + matrix @ np.array([2 * photo.behind, 0.0])
        matrix = matrix @ np.diag([-1.0, 1.0])
    return LoadedCutOut(pixels, np.column_stack([matrix, offset]))


def _size(photo: CutOut) -> tuple[float, float]:
    width, height = photo_size(photo.path)
    return width * photo.mm_per_pixel, height * photo.mm_per_pixel
