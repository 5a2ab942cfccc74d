"""A board as a 16-bit PNG: sRGB codes that read back as the same linear light."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from mockup.colour.spaces import encode_srgb
from mockup.files.png import png_bytes

__all__ = ["board_png"]

Array = np.ndarray


@cache
def _codes() -> Array:
    """16-bit sRGB code of every level of 16-bit light."""
    return np.rint(encode_srgb(np.arange(65536) / 65535) * 65535).astype(np.uint16)


def board_png(pixels: Array, px_per_mm: float) -> bytes:
    """PNG bytes of linear light (H, W, 3) uint16, with the sRGB profile and the resolution.

    Codes are sRGB, so any viewer shows the board as it is; read back through
    the profile, light differs by at most 2 of 65535, as near white two levels
    share a code. The same pixels give the same bytes.
    """
    height, width = pixels.shape[:2]
    return png_bytes((width, height), lambda first, last: cv2.LUT(pixels[first:last], _codes()), bits=16, px_per_mm=px_per_mm)
