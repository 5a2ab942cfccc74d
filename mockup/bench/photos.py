"""A photograph dropped on the page to a board in the scene's folder."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from ..colour.spaces import encode_srgb
from ..errors import MockupError
from ..files.photo import Photo, photo_from_bytes

if TYPE_CHECKING:
    from ..board.calibrate import Calibrated

__all__ = ["MOST_BYTES", "Photos", "shown", "too_large"]

MOST_BYTES = 120_000_000
MOST_PIXELS = 64_000_000
LONG_SIDE = 1600  # pixels of what the page shows of it


def shown(linear: np.ndarray, long_side: int) -> tuple[np.ndarray, float]:
    """A picture (H, W, 3) uint16 linear, small, as uint8 sRGB, and by how much it was made smaller."""
    height, width = linear.shape[:2]
    share = min(1.0, long_side / max(height, width))
    small = cv2.resize(linear, (max(1, round(width * share)), max(1, round(height * share))), interpolation=cv2.INTER_AREA)
    return np.rint(encode_srgb(small / 65535.0) * 255).astype(np.uint8), share


@dataclass
class _Open:
    name: str
    photo: Photo
    id: str      # which photo a page means: another page may have put its own in its place
    share: float
    board: Calibrated | None = None
    second: tuple[str, Photo] | None = None
    dip: np.ndarray | None = None


class Photos:
    """The one photograph that is being made a board, or two of it; a new one takes its place, as they are large."""

    def __init__(self) -> None:
        self._open: _Open | None = None

    def receive(self, data: bytes, name: str) -> tuple[np.ndarray, dict[str, Any]]:
        """What the page shows of a photograph: a small picture of it, (H, W, 3) uint8, and its measures.

        MockupError, before anything is decoded, for too many bytes or pixels and for what is no picture.
        """
        if len(data) > MOST_BYTES:
            raise too_large(name)
        self._open = None
        photo = photo_from_bytes(data, name, max_pixels=MOST_PIXELS)
        return self._shown(name, photo)

    def receive_second(self, data: bytes, name: str, photo: str) -> tuple[np.ndarray, dict[str, Any]]:
        """Take a second photograph of the same board, lit from its other end; as ``receive``, and the first one stays."""
        opened = self._opened(photo)
        if len(data) > MOST_BYTES:
            raise too_large(name)
        opened.second = None
        opened.second = (name, photo_from_bytes(data, name, max_pixels=MOST_PIXELS))
        small, _ = shown(opened.second[1].pixels, LONG_SIDE)
        return small, {"name": name}

    def _shown(self, name: str, photo: Photo) -> tuple[np.ndarray, dict[str, Any]]:
        small, share = shown(photo.pixels, LONG_SIDE)
        opened = self._open = _Open(name, photo, secrets.token_hex(6), share)
        height, width = photo.pixels.shape[:2]
        return small, {"name": name, "photo": opened.id, "width": width, "height": height, "shown": [small.shape[1], small.shape[0]], "notes": list(photo.notes)}

    def measure(self, asked: Mapping[str, Any]) -> tuple[np.ndarray, dict[str, Any]]:
        """Calibrate the board in it: the verdict as a picture, and what was found.

        asked  ``corners`` and ``grey`` as shares of the photo's width and height; ``size`` in mm, ``ruler``; ``target`` the edition of a
               24-patch target that lies in it; ``second`` whether the second photo counts.
        """
        from ..board.calibrate import Wanted, calibrate  # the rooms of boards are loaded by the first photo
        from ..board.door import with_second
        from ..board.report import report_picture

        opened = self._opened(asked.get("photo"))
        height, width = opened.photo.pixels.shape[:2]

        def point(value: Any) -> tuple[float, float]:
            x, y = _numbers(value, 2, "A point")
            if not (0 <= x <= 1 and 0 <= y <= 1):
                raise MockupError("The point lies outside the photo.", fix="Click inside it.")
            return x * width, y * height

        corners = asked.get("corners")
        if corners is not None:
            if not isinstance(corners, list) or len(corners) != 4:
                raise MockupError(f"{len(corners) if isinstance(corners, list) else 'No'} corners were marked.",
                                  fix="Mark all four, clockwise from the top left.")
            corners = tuple(point(c) for c in corners)
        size = asked.get("size")
        wanted = Wanted(corners=corners, size=None if size is None else _size(size), grey=None if asked.get("grey") is None else point(asked["grey"]),
                        ruler=_numbers([asked.get("ruler", 100.0)], 1, "The ruler")[0], target=str(asked["target"])[:20] if asked.get("target") else None, straight=opened.photo.straight)
        opened.board = opened.dip = None
        try:
            board = calibrate(opened.photo.pixels, wanted)
        except MockupError as error:
            raise error.within(opened.name, joint=": ") from None
        if asked.get("second") is True:
            if opened.second is None:
                raise MockupError("There is no second photo on the bench.", fix="Choose it again.")
            board, pair = with_second(board, opened.photo, opened.second[1], opened.second[0], wanted)
            opened.dip = pair.dip
        opened.board = board
        lab = [round(float(v), 1) for v in board.mean_lab]
        h, w = board.pixels.shape[:2]
        return report_picture(board, opened.name), {
            "size": [round(w * board.mm_per_pixel, 1), round(h * board.mm_per_pixel, 1)], "lab": lab, "grain": round(board.grain[0], 1),
            "findings": [{"level": f.level, "topic": f.topic, "found": f.found, "advice": f.advice} for f in board.verdict],
            "done": list(board.done)}

    def keep(self, folder: Path, *, photo: Any = None, name: str, wood: str, actual: bool, may: Callable[[Path], bool]) -> str:
        """Write the measured board and what goes with it into a folder; gives the name of its picture.

        may  whether a file may be written: nothing that is there already is.
        """
        from ..board.dip import dip_file
        from ..board.door import beside, write_board

        opened = self._opened(photo)
        if opened.board is None:
            raise MockupError("The board has not been measured.", fix="Find it in the photo first.")
        kind = " ".join(wood.split())
        if not kind or len(kind) > 80 or not kind.isprintable():
            raise MockupError("The kind of wood is empty or longer than 80 letters.", fix='Say it in a few words, as "flame maple".')
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-")[:40].lower() or "board"
        names = [stem, *(f"{stem}-{n}" for n in range(2, 100))]
        out = next((p for p in (folder / f"{n}.png" for n in names) if all(may(f) for f in (p, *beside(p), dip_file(p)))), None)
        if out is None:
            raise MockupError(f'There are too many boards called "{stem}".', fix="Give this one another name.")
        write_board(opened.board, opened.photo, source=opened.name, out=out, wood=kind, actual=actual, dip=opened.dip)
        if self._open is opened:
            self._open = None
        return out.name

    def leave(self, photo: Any = None) -> None:
        """Let go of the photograph; with ``photo`` only if it is still that one."""
        if photo is None or self._open is not None and self._open.id == photo:
            self._open = None

    def _opened(self, photo: Any = None) -> _Open:
        opened = self._open
        if opened is None:
            raise MockupError("There is no photo on the bench.", fix="Drop one first.")
        if photo is not None and photo != opened.id:
            raise MockupError("Another photo was put on the bench in another tab.", fix="Drop this one again.")
        return opened


def too_large(name: str) -> MockupError:
    """What is said of a file that is not even read to its end."""
    return MockupError(f"The file is larger than {MOST_BYTES // 10**6} MB.", fix="Export the photo as a JPEG, or make it smaller.", where=name)


def _numbers(value: Any, count: int, what: str) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != count or not all(isinstance(v, (int, float)) and not isinstance(v, bool) and abs(v) < 1e6 for v in value):
        raise MockupError(f"{what} is not {'a number' if count == 1 else f'{count} numbers'}.", fix="Type it again.")
    return tuple(float(v) for v in value)


def _size(value: Any) -> tuple[float, float]:
    wide, high = _numbers(value, 2, "The board's size")
    if not (20 <= wide <= 4000 and 20 <= high <= 4000):
        raise MockupError(f"A board of {wide:g} x {high:g} mm is none.", fix="Give its width and height in mm as it lies in the photo.")
    return wide, high
