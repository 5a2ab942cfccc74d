"""A board as a 16-bit PNG: sRGB codes that read back as the same linear light."""

from __future__ import annotations

import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from functools import cache

import cv2
import numpy as np

from mockup.colour.spaces import encode_srgb
from mockup.files.profile import srgb_profile

__all__ = ["board_png"]

Array = np.ndarray

_SAMPLE, _WORTH = 32, 0.7
_ROWS = 192  # rows deflated together; each band ends on a whole byte, so that bands join


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
    starts = range(0, height, _ROWS)

    def band(top: int) -> tuple[bytes, bytes]:
        # The row above belongs to the first row's difference.
        rows = pixels[max(top - 1, 0):top + _ROWS]
        raw = cv2.LUT(rows, _codes()).byteswap().view(np.uint8).reshape(len(rows), -1)
        lines = np.empty((min(_ROWS, height - top), raw.shape[1] + 1), np.uint8)
        lines[:, 0] = 2  # PNG 3, 9.2: each byte less the one above
        if top:
            np.subtract(raw[1:], raw[:-1], out=lines[:, 1:])
        else:
            lines[0, 1:] = raw[0]
            np.subtract(raw[1:], raw[:-1], out=lines[1:, 1:])
        plain = lines.tobytes()
        # Low bytes are noise: searching them for repeats gains nothing, and where a sample of rows
        # hardly shrinks, packing takes ten times as long as all else and is left out.
        sample = lines[::_SAMPLE].tobytes()
        worth = len(zlib.compress(sample, 1)) < _WORTH * len(sample)
        packer = zlib.compressobj(1 if worth else 0, zlib.DEFLATED, -15, 9, zlib.Z_HUFFMAN_ONLY)
        packed = packer.compress(plain)
        return packed + packer.flush(zlib.Z_FINISH if top + _ROWS >= height else zlib.Z_FULL_FLUSH), plain

    body, check = [b"\x78\x01"], 1
    with ThreadPoolExecutor(2) as crew:
        for packed, plain in crew.map(band, starts):
            body.append(packed)
            check = zlib.adler32(plain, check)
    body.append(struct.pack(">I", check))
    per_metre = round(px_per_mm * 1000)
    return b"".join((
        b"\x89PNG\r\n\x1a\n",
        _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)),
        _chunk(b"iCCP", b"sRGB\0\0" + zlib.compress(srgb_profile(), 9)),
        _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),
        *(_chunk(b"IDAT", part) for part in body),
        _chunk(b"IEND", b"")))


def _chunk(key: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + key + data + struct.pack(">I", zlib.crc32(data, zlib.crc32(key)))
