"""PNG (W3C PNG 3, 2025) written in bands of rows on two cores.

Each band is filtered and packed by itself and flushed, so that the streams
join to one. A library packs; only the frame around it is ours.
"""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import chain

import numpy as np
from isal import isal_zlib

from mockup.files.profile import srgb_profile

__all__ = ["png_bytes"]

_ROWS = 128  # in a band: 2 MB of a 12-megapixel picture
_LEVEL = 1   # smaller than zlib's level 1, in a quarter of its time


def png_bytes(size: tuple[int, int], codes: Callable[[int, int], np.ndarray], *, bits: int, px_per_mm: float) -> bytes:
    """The bytes of an RGB PNG file with the sRGB profile and the resolution.

    size   (width, height).
    codes  codes(first, last) gives rows as (H, W, 3) uint8 or, with ``bits`` 16,
           uint16, sRGB; asked for from two threads at a time, with one row more
           above than is packed.

    Every row is stored as its difference from the row above: grain mostly runs
    up and down. Equal pixels give equal bytes.
    """
    width, height = size

    def band(first: int) -> tuple[bytes, int, int]:
        last = min(first + _ROWS, height)
        rows = codes(max(first - 1, 0), last)
        raw = np.ascontiguousarray(rows.byteswap() if bits == 16 else rows).view(np.uint8).reshape(len(rows), -1)
        lines = np.empty((last - first, raw.shape[1] + 1), np.uint8)
        lines[:, 0] = 2  # PNG 3, 9.2: each byte less the one above
        if first:
            np.subtract(raw[1:], raw[:-1], out=lines[:, 1:])
        else:
            lines[0, 1:] = raw[0]
            np.subtract(raw[1:], raw[:-1], out=lines[1:, 1:])
        packer = isal_zlib.compressobj(_LEVEL, isal_zlib.DEFLATED, -15, 9)
        packed = packer.compress(lines) + packer.flush(zlib.Z_FINISH if last == height else zlib.Z_FULL_FLUSH)
        return packed, isal_zlib.adler32(lines), lines.size

    body, check = [b"\x78\x01"], 1
    with ThreadPoolExecutor(min(os.cpu_count() or 1, 8)) as crew:
        for packed, part, length in crew.map(band, range(0, height, _ROWS)):
            body.append(packed)
            check = _joined(check, part, length)
    body.append(struct.pack(">I", check))
    per_metre = round(px_per_mm * 1000)
    return b"".join(chain(
        (b"\x89PNG\r\n\x1a\n",),
        _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, 2, 0, 0, 0)),
        _chunk(b"iCCP", b"sRGB\0\0" + zlib.compress(srgb_profile(), 9)),
        _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),  # PNG 3, 11.3.4.3: pixels per metre
        *(_chunk(b"IDAT", part) for part in body),
        _chunk(b"IEND", b"")))


def _chunk(key: bytes, data: bytes) -> tuple[bytes, ...]:
    return struct.pack(">I", len(data)), key, data, struct.pack(">I", isal_zlib.crc32(data, isal_zlib.crc32(key)))


def _joined(first: int, second: int, length: int) -> int:
    """Adler-32 (RFC 1950) of two runs of bytes, from that of each; ``length`` of the second."""
    base = 65521
    a, b, c, d = first & 0xFFFF, first >> 16, second & 0xFFFF, second >> 16
    return ((b + d + (a - 1) * length) % base) << 16 | (a + c - 1) % base
