"""Where on its board a part of a scene is best cut."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from ..board.maps import Knot, map_board
from ..board.place import Pattern, Place, best_places, part_pattern
from ..errors import MockupError, nearest
from ..files.photo import read_photo
from ..outline.coverage import coverage
from ..scene.values import Part, Scene
from .boards import load_board
from .kept import Kept
from .placement import missing_wood

__all__ = ["Found", "part_places"]

FINE = 2.0   # pixels per mm of the part's outline, before it is averaged down
ROUGH = 0.5  # pixels per mm of the search


@dataclass(frozen=True, eq=False)
class Found:
    """The best places of a part, best first, and what a picture of them needs.

    pixels  (H, W, 3) uint16 linear, the board.
    knots   that were kept clear of.
    """

    part: Part
    places: tuple[Place, ...]
    pattern: Pattern
    pixels: np.ndarray
    mm_per_pixel: float
    knots: tuple[Knot, ...]


def part_places(scene: Scene, name: str, *, aim: str = "symmetric", straight: float = 3.0, margin: float = 4.0,
                keep_out: Sequence[tuple[float, float, float]] = (), count: int = 5,
                report: Callable[[float], None] | None = None) -> Found:
    """The best places of one part on its board; arguments as ``board.place.best_places``.

    What a calibrated board's own mask says cannot be used is kept clear of, and
    so are knots. MockupError for an unknown part, or one that fits nowhere.
    """
    parts = {p.name: p for p in scene.parts}
    if name not in parts:
        raise MockupError(f'There is no part "{name}".', fix=nearest(name, parts), where=scene.file.name)
    part = parts[name]
    ref = scene.boards[part.board]
    board = load_board(ref, Kept())
    wood = map_board(board.pixels, ref.mm_per_pixel, usable=_usable(ref.path), grain=ref.grain, keep_out=keep_out, px_per_mm=ROUGH)
    x0, y0, x1, y1 = part.shape.bounds
    size = (max(2, round((x1 - x0) * FINE)), max(2, round((y1 - y0) * FINE)))
    cover = coverage(part.shape, origin=(x0, y0), px_per_mm=FINE, size=size)
    cut = part.placement.cut
    pattern = part_pattern(cover, FINE, cut=cut, joint=None if cut == "single" else part.placement.joint - x0, to_px_per_mm=ROUGH)
    if cut == "single" and x0 < scene.centre < x1:
        # Halves are compared about the instrument's own centre line, not the middle of the part's box.
        pattern = replace(pattern, centre=scene.centre - x0)
    places = best_places(wood, pattern, aim=aim, straight=straight, margin=margin, count=2 * count, report=report)
    fit = [p for p in places if not missing_wood(_placed(part, p), part.shape, board.size_mm, ref.name)]
    if not fit:
        raise MockupError(f'With a slip of {part.placement.slip:g} mm the part "{name}" fits nowhere on its board.',
                          fix="Set slip to 0, or take a larger board.", where=scene.file.name)
    return Found(part, tuple(fit[:count]), pattern, board.pixels, ref.mm_per_pixel, wood.knots)


def _placed(part: Part, place: Place) -> Part:
    return replace(part, placement=replace(part.placement, at=place.at, turn=place.turn))


def _usable(picture: Path) -> np.ndarray | None:
    """Where the mask beside a calibrated board allows a part, (H, W) bool; None without a mask."""
    mask = picture.with_name(picture.stem + ".mask.png")
    if not mask.is_file():
        return None
    levels = read_photo(mask).pixels[..., 0]
    return cv2.erode((levels > 65000).astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
