"""A board as the renderer uses it: its pixels, its colour axes, and its lightness without detail."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ..errors import MockupError
from ..files.photo import read_photo
from ..finish.axes import WIDE_FROM, WIDE_MOST
from ..finish.bake import WoodAxes, wood_axes
from ..finish.shimmer import spread
from ..scene.values import BoardRef
from .kept import Kept

__all__ = ["ROOTS", "LoadedBoard", "load_board", "prepare_board", "rough_board"]

# Cube root of 16-bit linear reflectance.
ROOTS = np.cbrt(np.arange(65536) / 65535.0).astype(np.float32)
# Detail is what stands out from a surrounding of this many mm (sigma): figure
# up to about 20 mm goes into it, heartwood and shade of the board do not.
SURROUND = 4.0
_COARSE = 2.0  # pixels per mm of the map of surroundings: a pore is narrower than its pixel, a streak is not


@dataclass(frozen=True, eq=False)
class LoadedBoard:
    """``pixels`` (H, W, 3) uint16 linear; ``surround`` (h, w) float32, lightness t without detail."""

    key: str
    pixels: np.ndarray
    mm_per_pixel: float
    axes: WoodAxes
    surround: np.ndarray
    notes: tuple[str, ...] = ()

    @property
    def size_mm(self) -> tuple[float, float]:
        return self.pixels.shape[1] * self.mm_per_pixel, self.pixels.shape[0] * self.mm_per_pixel


def prepare_board(pixels: np.ndarray, mm_per_pixel: float, *, key: str, notes: tuple[str, ...] = ()) -> LoadedBoard:
    """A board from (H, W, 3) uint16 linear pixels; its axes come from a sample of them."""
    height, width = pixels.shape[:2]
    size = (max(2, round(width * mm_per_pixel * _COARSE)), max(2, round(height * mm_per_pixel * _COARSE)))
    coarse = cv2.LUT(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), ROOTS)

    # Axes from a sparse sample, detail included: at most some 40 000 pixels.
    step = max(1, int((height * width / 40_000) ** 0.5))
    rows, columns = np.arange(step // 2, height, step), np.arange(step // 2, width, step)
    sample = ROOTS[pixels[rows[:, None], columns[None, :]]]
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)
    light = coarse @ weights
    blurred = cv2.GaussianBlur(light, (0, 0), SURROUND * _COARSE, borderType=cv2.BORDER_REFLECT)
    grid = _grid(rows, columns, (height, width), size)
    around = cv2.remap(blurred, *grid, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # A dark streak or a bird's eye would pass for a crowd of pores: what of it is
    # darker than figure is left to the surroundings, so that only narrow things stand out so far.
    sd = spread(sample @ weights - around)
    blurred += _beyond(light - blurred, sd)
    around = cv2.remap(blurred, *grid, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    detail = sample @ weights - around
    axes = wood_axes(sample.reshape(-1, 3), detail.reshape(-1))
    return LoadedBoard(key, pixels, mm_per_pixel, axes, (blurred - axes.lightness).astype(np.float32), notes)


def _beyond(wide: np.ndarray, sd: float) -> np.ndarray:
    """What of ``wide`` (any shape) lies darker than WIDE_MOST standard deviations, with a soft knee from WIDE_FROM on."""
    room = (WIDE_MOST - WIDE_FROM) * sd
    over = np.minimum(wide + np.float32(WIDE_FROM * sd), 0)
    return over - np.float32(room) * np.tanh(over / np.float32(room))


def _grid(rows: np.ndarray, columns: np.ndarray, full: tuple[int, int], small: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    x = ((columns + 0.5) * small[0] / full[1] - 0.5).astype(np.float32)
    y = ((rows + 0.5) * small[1] / full[0] - 0.5).astype(np.float32)
    return np.ascontiguousarray(np.broadcast_to(x, (rows.size, columns.size))), \
        np.ascontiguousarray(np.broadcast_to(y[:, None], (rows.size, columns.size)))


def load_board(board: BoardRef, kept: Kept) -> LoadedBoard:
    """Read and prepare a board once per content of its file."""

    def make() -> LoadedBoard:
        photo = read_photo(board.path)
        if photo.alpha is not None:
            raise MockupError("The picture of the board has transparent pixels.",
                              fix="Flatten it: a board is wood from edge to edge.", where=f"boards.{board.name}")
        return prepare_board(photo.pixels, board.mm_per_pixel, key=f"{photo.sha256}@{board.mm_per_pixel!r}", notes=photo.notes)

    return kept.get(_key(board), make, lambda b: b.pixels.nbytes + b.surround.nbytes)


def _key(board: BoardRef) -> tuple:
    stat = board.path.stat()
    return "board", str(board.path), stat.st_mtime_ns, stat.st_size, board.mm_per_pixel


def rough_board(board: BoardRef, px_per_mm: float, kept: Kept) -> BoardRef:
    """A board averaged to little more than what a picture of ``px_per_mm`` shows, for one that follows a hand; ``board`` where it is no finer.

    Its pixels are put into ``kept``, under the board that is returned.
    """
    factor = int(1 / (board.mm_per_pixel * px_per_mm))
    if factor < 2:
        return board
    rough = replace(board, mm_per_pixel=board.mm_per_pixel * factor)

    def make() -> LoadedBoard:
        fine = load_board(board, kept)
        height, width = (n // factor for n in fine.pixels.shape[:2])
        pixels = cv2.resize(fine.pixels[:height * factor, :width * factor], (width, height), interpolation=cv2.INTER_AREA)
        return replace(fine, key=f"{fine.key}/{factor}", pixels=pixels, mm_per_pixel=rough.mm_per_pixel)

    kept.get(_key(rough), make, lambda b: b.pixels.nbytes)
    return rough
