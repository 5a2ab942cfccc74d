"""The fibre angle measured from two photographs, as a picture that lies beside the board's."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from mockup.errors import MockupError
from mockup.files.whole import read_bytes

__all__ = ["dip_file", "dip_png", "read_dip"]

Array = np.ndarray

_LEVEL, _STEPS = 32768, 256.0  # code of a fibre that lies level, and codes per degree
_LIMIT = 400_000_000


def dip_file(picture: Path) -> Path:
    """Where the fibre angles of a board's picture lie."""
    return picture.with_name(picture.stem + ".dip.png")


def dip_png(dip: Array) -> bytes:
    """PNG bytes of angles (H, W) in degrees: 16-bit grey, 32768 level, 256 codes a degree."""
    codes = np.rint(np.clip(np.asarray(dip, np.float64) * _STEPS + _LEVEL, 0, 65535)).astype(np.uint16)
    done, data = cv2.imencode(".png", codes)
    if not done:
        raise RuntimeError("the angles were not encoded")
    return data.tobytes()


def read_dip(path: Path) -> Array:
    """Angles (H, W) float32, degrees, positive where fibres rise toward +x or +y along the grain; MockupError for another file."""
    data = np.frombuffer(read_bytes(path, limit=_LIMIT), np.uint8)
    codes = cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if len(data) else None
    if codes is None or codes.dtype != np.uint16 or codes.ndim != 2:
        raise MockupError("This is no map of fibre angles.", fix='Make it again with "mockup board PHOTO --second PHOTO".', where=path.name)
    return (codes.astype(np.float32) - _LEVEL) / np.float32(_STEPS)
