"""Linear light to 8-bit sRGB, once, with dithering."""

from __future__ import annotations

from functools import cache, lru_cache

import cv2
import numpy as np

from ..colour.spaces import encode_srgb

__all__ = ["DITHER", "dither_rows", "encode_rows"]

DITHER = 128  # pixels after which the pattern repeats

# sRGB as 8.8 fixed point from the square root of linear light: the square root
# spreads the dark codes, so 16 bits are finer than a hundredth of a code.
_TABLE = np.round(encode_srgb((np.arange(65536) / 65535.0) ** 2) * 255 * 256).astype(np.uint16)


@cache
def _tile() -> np.ndarray:
    # Interleaved gradient noise (Jimenez 2014): every threshold about once in each 3 x 3 block.
    y, x = np.mgrid[0:DITHER, 0:DITHER].astype(np.float64)
    noise = np.mod(52.9829189 * np.mod(0.06711056 * x + 0.00583715 * y, 1.0), 1.0)
    # By rank, so that every threshold 0..255 comes equally often and means are kept.
    rank = np.empty(noise.size, np.int64)
    rank[np.argsort(noise, axis=None, kind="stable")] = np.arange(noise.size)
    return (rank * 256 // noise.size).reshape(noise.shape).astype(np.uint16)


@lru_cache(maxsize=4)
def _strip(columns: int) -> np.ndarray:
    strip = np.tile(_tile(), (2, -(-columns // DITHER)))[:, :columns]
    strip.setflags(write=False)
    return strip


def dither_rows(first: int, last: int, columns: int) -> np.ndarray:
    """Thresholds 0..255 for rows of a picture by absolute position, (H, W) uint16; at most ``DITHER`` rows."""
    start = first % DITHER
    return _strip(columns)[start:start + last - first]


def encode_rows(bands: list[np.ndarray], noise: np.ndarray) -> np.ndarray:
    """Three planes (H, W) float32, linear (destroyed), to (H, W, 3) uint8 sRGB; clips to 0..1."""
    out = []
    for plane in bands:
        cv2.max(plane, 0.0, dst=plane)
        cv2.sqrt(plane, dst=plane)
        codes = cv2.LUT(cv2.multiply(plane, 65535.0, dtype=cv2.CV_16U), _TABLE)
        codes = cv2.add(codes, noise)  # saturates: white stays white
        # The high byte. Half a code less, since the conversion rounds.
        out.append(cv2.convertScaleAbs(codes, alpha=1 / 256, beta=-0.498))
    return cv2.merge(out)
