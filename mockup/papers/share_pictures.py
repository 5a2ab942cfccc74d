"""Pictures for the client's page: every option, front and back, all on one canvas, within a number of bytes."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np
from PIL import Image

from ..errors import MockupError
from ..files.picture import encode_picture
from ..files.profile import srgb_profile
from ..render.canvas import Canvas
from ..render.kept import Kept
from ..render.layers import seen_pieces
from ..render.picture import MARGIN, picture, scene_box
from ..scene.values import Scene

__all__ = ["DARK", "LIGHT", "Shot", "sides_seen", "shots"]

# Neutral, for colour is judged here: the light grey of the papers, and one as dark as a room at night.
LIGHT, DARK = (88.0, 0.0, 0.0), (22.0, 0.0, 0.0)
FINEST, MOST_PIXELS = 6.0, 6_000_000  # pixels per mm; pixels of a picture, which a phone must hold several of
LEAST_SIDE = 640                      # pixels of the longer side, below which wood is not seen any more
QUALITY, LOWER = 88, 80
GROWTH = 1.7                          # bytes of a picture of wood go with about this power of its scale
RIM = 3.0                             # mm of the instrument's edge that the dark surround brings along
TRIES = 12


@dataclass(frozen=True, slots=True)
class Shot:
    """One side of one option.

    light  a JPEG on the light surround, a whole picture.
    dark   a WebP of the same size that turns it into one on the dark surround when laid over it: clear inside the instrument.
    notes  what the renderer says of the picture.
    """

    side: str
    width: int
    height: int
    light: bytes
    dark: bytes
    notes: tuple[str, ...]


def sides_seen(views: Sequence[Scene]) -> tuple[str, ...]:
    """"front", "back" or both: the sides from which every one of the views shows something."""
    return tuple(side for side in ("front", "back") if all(seen_pieces(view, side) for view in views))


def shots(views: Sequence[Scene], budget: int, *, kept: Kept, report: Callable[[float], None] | None = None) -> list[tuple[Shot, ...]]:
    """The sides of each view, at one scale and one light, all together of at most ``budget`` bytes.

    Pictures of one side share a canvas, so that they lie over each other point
    by point. MockupError when they would have to be too small to judge.
    """
    told, sides = report or (lambda share: None), sides_seen(views)
    if not sides:
        raise MockupError("No part of the scene is seen from either side by every option.", fix='Give a part side = "both".')
    boxes = {side: np.array([scene_box(view, side) for view in views]) for side in sides}
    boxes = {side: (*b[:, :2].min(axis=0).tolist(), *b[:, 2:].max(axis=0).tolist()) for side, b in boxes.items()}
    sizes = np.array([(b[2] - b[0] + 2 * MARGIN, b[3] - b[1] + 2 * MARGIN) for b in boxes.values()])
    scale, quality = _rounded(min(FINEST, (MOST_PIXELS / sizes.prod(axis=1).max()) ** 0.5)), QUALITY
    least = min(scale, LEAST_SIDE / sizes.max())
    count = len(views) * len(sides)
    for _ in range(TRIES):
        made: list[Shot] = []
        with ThreadPoolExecutor(1) as pool:  # one encodes what the other has drawn
            jobs = []
            for side in sides:
                canvas = Canvas.around(boxes[side], scale, MARGIN)
                for view in views:
                    jobs.append(pool.submit(_shot, side, scale, quality, *_drawn(view, side, scale, canvas, kept)))
                    # The first one tells whether all will fit, before time goes into the others.
                    if len(jobs) == 1 and 0.95 * count * _bytes([jobs[0].result()]) > budget:
                        break
                    told(len(jobs) / count)
                if len(jobs) == 1 < count and 0.95 * count * _bytes([jobs[0].result()]) > budget:
                    break
            made = [job.result() for job in jobs]
        if len(made) == count and _bytes(made) <= budget:
            return [tuple(made[n::len(views)]) for n in range(len(views))]
        if scale <= least:
            break
        total = _bytes(made) * count / len(made)
        if quality == QUALITY:
            total, quality = total * 0.8, LOWER  # what the lower quality saves
        scale = max(least, _rounded(min(scale, 0.97 * scale * (budget / total) ** (1 / GROWTH))))
    raise MockupError(f"The pictures of {len(views)} options do not fit.", fix="Name fewer options, or allow a larger page.")


def _bytes(made: Sequence[Shot]) -> int:
    return sum(len(shot.light) + len(shot.dark) for shot in made)


def _rounded(scale: float) -> float:
    return int(scale * 1000) / 1000  # few digits, and never up


def _drawn(view: Scene, side: str, scale: float, canvas: Canvas, kept: Kept) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    # Half way down its shade the ground is of one colour all over, and goes on beyond the picture's edge.
    light, dark = (picture(replace(view, ground=ground), side=side, scale=scale, kept=kept, canvas=canvas, span=(0.5, 0.5))
                   for ground in (LIGHT, DARK))
    return light.pixels, dark.pixels, light.notes


def _shot(side: str, scale: float, quality: int, light: np.ndarray, dark: np.ndarray, notes: tuple[str, ...]) -> Shot:
    """Both pictures as files. Run beside the next one's drawing."""
    height, width = light.shape[:2]
    # What the ground shows through to, and a rim of wood with it: made smaller on a screen, a pixel at the
    # edge is mixed from its neighbours, and none of these may be of the other surround.
    ground = (cv2.absdiff(light, dark).max(axis=2) > 5).astype(np.uint8)
    rim = 2 * round(RIM * scale) + 1
    cover = cv2.dilate(ground, np.ones((1, rim), np.uint8))
    cover = cv2.dilate(cover, np.ones((rim, 1), np.uint8))
    over = np.dstack([dark, cover * np.uint8(255)])
    over[cover == 0] = 0
    file = io.BytesIO()
    Image.fromarray(over).save(file, "WEBP", quality=quality, method=2, icc_profile=srgb_profile())
    return Shot(side, width, height, encode_picture(light, ".jpg", px_per_mm=scale, quality=quality), file.getvalue(), notes)
