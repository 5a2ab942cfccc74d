"""Linear light to 8-bit sRGB, once, with dithering."""

from __future__ import annotations

import cv2
import numpy as np

from ..colour.spaces import encode_srgb

__all__ = ["dither_tile", "encode_rows"]

# sRGB as 8.8 fixed point from the square root of linear light: the square root
# spreads the dark codes, so 16 bits are finer than a hundredth of a code.
_TABLE = np.round(encode_srgb((np.arange(65536) / 65535.0) ** 2) * 255 * 256).astype(np.uint16)


def dither_tile(rows: tuple[int, int], columns: tuple[int, int]) -> np.ndarray:
    """Thresholds 0..255 by absolute pixel position, (H, W) uint16.

    Interleaved gradient noise (Jimenez 2014): even coverage of every
    threshold in each 3 x 3 block, and the same in every band of a picture.
    """
    y = np.arange(*rows, dtype=np.float64)[:, None]
    x = np.arange(*columns, dtype=np.float64)[None, :]
    noise = np.mod(52.9829189 * np.mod(0.06711056 * x + 0.00583715 * y, 1.0), 1.0)
    return (noise * 255).astype(np.uint16)


def encode_rows(bands: list[np.ndarray], noise: np.ndarray) -> np.ndarray:
    """Three planes (H, W) float32, linear (destroyed), to (H, W, 3) uint8 sRGB; clips to 0..1."""
    out = []
    for plane in bands:
        np.maximum(plane, 0, out=plane)
        cv2.sqrt(plane, dst=plane)
        np.multiply(plane, 65535.0, out=plane)
        plane += 0.5
        np.minimum(plane, 65535.0, out=plane)
        codes = cv2.LUT(plane.astype(np.uint16), _TABLE)
        codes = cv2.add(codes, noise)  # saturates: white stays white
        out.append((codes >> 8).astype(np.uint8))
    return cv2.merge(out)
