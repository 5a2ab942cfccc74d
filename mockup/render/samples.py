"""Pieces of the library's woods with a stain on them, as a finisher makes sample boards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..colour.spaces import encode_srgb
from ..files.photo import read_photo
from ..finish.axes import SHIMMER, WoodAxes, in_axes
from ..finish.reach import Places
from ..finish.steps import Film, Stain
from ..finish.strip import stain_strip
from ..scene.library import Texture, texture, textures
from .boards import ROOTS, prepare_board

__all__ = ["Sample", "one_of_each", "sample", "sample_picture"]

AROUND = 25.0  # mm


@dataclass(frozen=True, eq=False)
class Sample:
    """A piece of a board, its grain along x: t, c, w, r (H, W) each at ``px_per_mm``, and the board's axes."""

    wood: str
    axes: WoodAxes
    places: Places
    px_per_mm: float


def one_of_each() -> tuple[Texture, ...]:
    """The first board of each kind of wood in the library, by name."""
    found: dict[str, Texture] = {}
    for file in textures().values():
        board = texture(file)
        found.setdefault(board.species or board.wood, board)
    return tuple(found.values())


def sample(board: Texture, size_mm: tuple[float, float], px_per_mm: float) -> Sample:
    """A piece ``size_mm`` (along the grain, across it) from the middle of a board of the library."""
    pixels = read_photo(board.picture).pixels
    if abs(board.grain) > 45:
        pixels = np.rot90(pixels)
    # So much of the board around the piece tells its axes; the rest would only take time.
    (top, bottom), (left, right) = (_middle(n, mm / board.mm_per_pixel + 2 * AROUND / board.mm_per_pixel)
                                    for n, mm in zip(pixels.shape, size_mm[::-1], strict=False))
    loaded = prepare_board(np.ascontiguousarray(pixels[top:bottom, left:right]), board.mm_per_pixel, key=board.name)
    height, width = loaded.pixels.shape[:2]
    (top, bottom), (left, right) = (_middle(n, mm / board.mm_per_pixel) for n, mm in zip((height, width), size_mm[::-1], strict=True))
    size = tuple(max(2, round(mm * px_per_mm)) for mm in size_mm)
    piece = cv2.resize(loaded.pixels[top:bottom, left:right], size, interpolation=cv2.INTER_AREA)
    around = cv2.resize(loaded.surround, (width, height), interpolation=cv2.INTER_LINEAR)[top:bottom, left:right]
    axes = loaded.axes
    t, c, r = in_axes(ROOTS[piece].astype(np.float64), axes)
    detail = t - cv2.resize(around, size, interpolation=cv2.INTER_AREA)
    return Sample(board.wood, axes, (t - SHIMMER * detail, c, detail, r), px_per_mm)


def _middle(length: int, wanted: float) -> tuple[int, int]:
    """Where the middle ``wanted`` of ``length`` begins and ends."""
    n = min(length, max(2, round(wanted)))
    first = (length - n) // 2
    return first, first + n


def sample_picture(piece: Sample, stain: Stain | None, *, film: Film | None, coats: int, strengths: Sequence[float]) -> np.ndarray:
    """The piece stained in equal steps along the grain, (H, W, 3) uint8 sRGB; None shows it unstained under the film.

    film  over all of it, so many coats; None leaves it dry.
    """
    if stain is None:
        stain, strengths = Stain(name="", words="", absorb=(0.0, 0.0, 0.0)), (0.0,)
    linear = stain_strip(stain, piece.axes, piece.places, film=film, coats=coats, strengths=tuple(strengths))
    return np.floor(encode_srgb(np.clip(linear, 0, 1)) * 255 + 0.5).astype(np.uint8)
