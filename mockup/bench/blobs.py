"""Bytes that the page may fetch by a name it was given, and by no other."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from ..errors import MockupError
from .easel import encoded

__all__ = ["Blob", "Blobs", "jpeg", "lying"]

MOST = 96


@dataclass(frozen=True)
class Blob:
    """Bytes and their media type; ``file`` where they lie on disk, if they do."""

    data: bytes
    kind: str
    file: Path | None = None


class Blobs:
    """The newest ones by name. Safe to share between threads."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Blob] = OrderedDict()
        self._lock = threading.Lock()

    def keep(self, blob: Blob) -> str:
        """Hold one; gives the name to fetch it by, which nobody can guess."""
        with self._lock:
            name = secrets.token_urlsafe(12)
            self._held[name] = blob
            while len(self._held) > MOST:
                self._held.popitem(last=False)
            return name

    def get(self, name: str, folder: Path) -> Blob:
        """What is held under a name. A file is read now, and only where it, whatever links lead to it, lies in ``folder``."""
        with self._lock:
            blob = self._held.get(name)
        if blob is None:
            raise MockupError("This is not held any more.", fix="Make it again.")
        if blob.file is None:
            return blob
        path = blob.file.resolve()
        if not path.is_relative_to(folder.resolve()) or not path.is_file():
            raise MockupError(f"{blob.file.name} is not in the folder of papers any more.", fix="Write it again.")
        return replace(blob, data=path.read_bytes())


def lying(picture: np.ndarray) -> np.ndarray:
    """(H, W, 3) turned so that it is wider than high."""
    return np.rot90(picture) if picture.shape[0] > picture.shape[1] else picture


def jpeg(rgb: np.ndarray, long_side: int) -> Blob:
    """(H, W, 3) uint8 sRGB as a JPEG whose long side is at most that many pixels."""
    share = long_side / max(rgb.shape[:2])
    if share < 1:
        rgb = cv2.resize(np.ascontiguousarray(rgb), None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    data, kind = encoded(np.ascontiguousarray(rgb), exact=False)
    return Blob(data, kind)
