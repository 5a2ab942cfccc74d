"""Two registered photographs of one board, cut into cells for fitting."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .axes import SHIMMER, WoodAxes, in_axes, wood_axes
from .bands import to_bands
from .kubelka import ks_from_reflectance
from .surface import internal

__all__ = ["Cells", "cut_cells", "places_of"]

Array = np.ndarray

CELL, PATCH = 0.8, 10.0  # mm: what is fitted, and what is judged
SURROUND = 4.0           # mm: as for the boards of a scene, detail stands out from so wide a surrounding
MOST_CELLS = 6000
BORDER = 3.0             # mm on each side of a step of a strip that belong to neither
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True, eq=False)
class Cells:
    """n cells of a board: its axes t, c, w, r; linear colour ``after`` (n, 3); ``strength``; the ``patch`` each lies in.

    first_absorb  (3,) a first guess of the stain's absorption.
    """

    axes: WoodAxes
    t: Array
    c: Array
    w: Array
    r: Array
    after: Array
    strength: Array
    patch: Array
    first_absorb: Array

    @property
    def patches(self) -> int:
        return len(np.unique(self.patch))


def places_of(linear: Array, mm_per_pixel: float) -> tuple[WoodAxes, Array, Array, Array, Array]:
    """Axes of a board and its t, c, w, r (H, W) from linear reflectance (H, W, 3)."""
    roots = np.cbrt(np.clip(linear, 1e-4, 1).astype(np.float64))
    light = roots @ _WEIGHTS
    around = cv2.GaussianBlur(light, (0, 0), SURROUND / mm_per_pixel, borderType=cv2.BORDER_REFLECT)
    detail = light - around
    axes = wood_axes(roots.reshape(-1, 3), detail.reshape(-1))
    t, c, r = in_axes(roots, axes)
    return axes, t - SHIMMER * detail, c, detail, r


def cut_cells(bare: Array, after: Array, inside: Array, mm_per_pixel: float, strengths: tuple[float, ...]) -> Cells:
    """Cells of a bare photograph (H, W, 3) and of another laid over it, where ``inside`` (H, W) is True."""
    n = max(1, round(CELL / mm_per_pixel))
    rows, columns = bare.shape[0] // n, bare.shape[1] // n
    small = [cv2.resize(np.ascontiguousarray(v[:rows * n, :columns * n], np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
             for v in (bare, after, inside.astype(np.float32))]
    mm = mm_per_pixel * n
    axes, t, c, w, r = places_of(small[0], mm)
    y, x = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    use = small[2] > 0.999

    along, length = (x, columns) if columns >= rows else (y, rows)
    step = np.minimum((along * len(strengths)) // length, len(strengths) - 1)
    if len(strengths) > 1:
        edge = np.abs((along + 0.5) * len(strengths) / length - np.round((along + 0.5) * len(strengths) / length)) * length / len(strengths) * mm
        ends = (along + 0.5 < length / len(strengths) / 2) | (along + 0.5 > length - length / len(strengths) / 2)
        use &= (edge > BORDER) | ends
    strength = np.array(strengths)[step]

    cell = max(1, round(PATCH / mm))
    across = columns // cell + 1
    row, column = y // cell, x // cell
    # Patches are numbered so that neighbours fall into different folds.
    patch = (row * across + column) * 4 + (row * 2 + column) % 4
    # Steps of a strip share no patch.
    patch = patch + 4 * across * (rows // cell + 1) * step
    chosen = np.flatnonzero(use.ravel())
    if len(chosen) > MOST_CELLS:
        chosen = chosen[np.linspace(0, len(chosen) - 1, MOST_CELLS).astype(int)]

    def pick(v: Array) -> Array:
        return v.reshape(-1, *v.shape[2:])[chosen].astype(np.float64) if v.dtype != np.int64 else v.ravel()[chosen]

    colour = pick(small[1])
    s = pick(strength.astype(np.float64))
    full = s == s.max()
    before, behind = (ks_from_reflectance(internal(np.clip(to_bands(v[full].mean(axis=0)), 1e-3, 1))) for v in (pick(small[0]), colour))
    guess = np.maximum((behind - before) / s.max(), 2e-3)
    return Cells(axes, pick(t), pick(c), pick(w), pick(r), np.maximum(colour, 1e-4), s, pick(patch), guess)
