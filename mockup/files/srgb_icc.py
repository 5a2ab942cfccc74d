"""Makes ``srgb.icc``, the profile in every picture: ``python -m mockup.files.srgb_icc``.

Version 2, since old viewers and printers skip version 4. The primaries are
those of IEC 61966-2-1, adapted to the D50 of the profile connection space
(Bradford); the curve is its piecewise curve at 1024 places. The date is fixed,
so that the bytes never change.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

from mockup.colour.light import adaptation
from mockup.colour.spaces import SRGB_TO_XYZ, WHITE, decode_srgb

__all__ = ["build_srgb_profile"]

_NAME = b"sRGB"
_COPYRIGHT = b"No copyright, use freely"


def build_srgb_profile() -> bytes:
    """The bytes of a matrix and curve profile of sRGB, ICC version 2.1."""
    pcs = np.array([0.9642, 1.0, 0.8249])
    to_pcs = adaptation(WHITE, pcs)
    primaries = to_pcs @ SRGB_TO_XYZ
    curve = np.rint(decode_srgb(np.linspace(0, 1, 1024)) * 65535).astype(">u2")
    trc = b"curv" + bytes(4) + struct.pack(">I", len(curve)) + curve.tobytes()
    tags = [
        (b"desc", b"desc" + bytes(4) + struct.pack(">I", len(_NAME) + 1) + _NAME + b"\0" + bytes(4 + 4 + 2 + 1 + 67)),
        (b"cprt", b"text" + bytes(4) + _COPYRIGHT + b"\0"),
        (b"wtpt", b"XYZ " + bytes(4) + _fixed(pcs)),
        (b"chad", b"sf32" + bytes(4) + _fixed(to_pcs.ravel())),
        *((key, b"XYZ " + bytes(4) + _fixed(primaries[:, i])) for i, key in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))),
        (b"rTRC", trc), (b"gTRC", trc), (b"bTRC", trc),
    ]
    table, body, places = b"", b"", {}
    start = 128 + 4 + 12 * len(tags)
    for key, data in tags:
        if data not in places:  # the three curves share one place
            places[data] = start + len(body)
            body += data + bytes(-len(data) % 4)
        table += key + struct.pack(">II", places[data], len(data))
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s6H4s", size, bytes(4), 0x02100000, b"mntr", b"RGB ", b"XYZ ",
                         2000, 1, 1, 0, 0, 0, b"acsp")
    header += bytes(28) + _fixed(pcs)
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def _fixed(values: np.ndarray) -> bytes:
    """s15Fixed16 numbers."""
    return np.rint(np.asarray(values) * 65536).astype(">i4").tobytes()


if __name__ == "__main__":
    (Path(__file__).parent / "srgb.icc").write_bytes(build_srgb_profile())
