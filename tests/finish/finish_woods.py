"""Woods for the tests of finishes: invented ones by their Lab, and those of the library as the renderer holds them."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from mockup.colour.spaces import lab_to_linear
from mockup.files.photo import read_photo
from mockup.finish.axes import in_axes
from mockup.finish.bake import SHIMMER, WoodAxes, wood_axes
from mockup.render.boards import ROOTS, LoadedBoard, prepare_board
from mockup.scene.library import Texture, texture, textures

# Working values of bare woods, from memory (they lie inside the ranges recalled for their kinds).
BARE = {"maple": (82.5, 4.0, 18.5), "ash": (79.0, 4.2, 19.0), "alder": (69.0, 9.8, 22.5), "mahogany": (57.0, 13.0, 22.0),
        "walnut": (49.0, 7.2, 15.5), "rosewood": (40.0, 11.0, 13.0), "ebony": (25.0, 1.6, 2.4)}
WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


def linear(lab) -> np.ndarray:
    return lab_to_linear(np.array(lab, np.float64))


def invented_sample(name: str, *, shimmer: float, colour: float, seed: int = 5, n: int = 20_000):
    """Cube roots (N, 3) and detail (N,) of a wood whose figure is so much shimmer and so much colour (sd of ln Y)."""
    rng = np.random.default_rng(seed)
    bare = linear(BARE[name])
    ks = (1 - bare) ** 2 / (2 * bare)
    lit, dark = rng.normal(0, 1, n), rng.normal(0, 1, n)
    per_ln = -WEIGHTS @ (bare * (1 - bare) / (1 + bare)) / (WEIGHTS @ bare)  # d ln Y / d ln K
    ks = ks * np.exp(dark[:, None] * colour / per_ln)
    r = 1 + ks - np.sqrt(ks * ks + 2 * ks)
    roots = np.cbrt(r * np.exp(lit[:, None] * shimmer))
    t = roots @ WEIGHTS
    return roots, t - t.mean()


def axes_of(name: str, *, shimmer: float = 0.06, colour: float = 0.05, seed: int = 5) -> WoodAxes:
    return wood_axes(*invented_sample(name, shimmer=shimmer, colour=colour, seed=seed))


def library_woods() -> list[str]:
    return sorted(textures())


@cache
def board(name: str) -> tuple[LoadedBoard, Texture]:
    """The middle of a wood of the library, some 150 x 120 mm, prepared as a board."""
    wood = texture(textures()[name])
    pixels = read_photo(wood.picture).pixels
    height, width = pixels.shape[:2]
    y, x = max(0, (height - 900) // 2), max(0, (width - 720) // 2)
    return prepare_board(np.ascontiguousarray(pixels[y:y + 900, x:x + 720]), wood.mm_per_pixel, key=name), wood


def places(loaded: LoadedBoard, size: int = 420) -> tuple[np.ndarray, ...]:
    """t, c, w, r (size, size) of a square from the middle of a board, as a bare layer holds them."""
    height, width = loaded.pixels.shape[:2]
    size = min(size, height, width)
    y, x = (height - size) // 2, (width - size) // 2
    roots = ROOTS[loaded.pixels[y:y + size, x:x + size]].astype(np.float64)
    around = cv2.resize(loaded.surround, (width, height), interpolation=cv2.INTER_LINEAR)[y:y + size, x:x + size]
    t, c, r = in_axes(roots, loaded.axes)
    w = t - around
    return t - SHIMMER * w, c, w, r


def figure_sd(lightness: np.ndarray, mm_per_pixel: float) -> float:
    """Standard deviation of L* (H, W) at the scale of figure, about 2 to 15 mm."""
    fine, coarse = (cv2.GaussianBlur(lightness, (0, 0), mm / 2.355 / mm_per_pixel) for mm in (2, 15))
    return float((fine - coarse).std())
