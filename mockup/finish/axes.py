"""The colour axes of one board, and what local detail says of a place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .shimmer import share, spread

__all__ = ["LEAST_LIGHT", "SHIMMER", "WIDE_FROM", "WIDE_MOST", "WoodAxes", "in_axes", "local_lightness", "pores_from_detail", "uptake_from_detail", "wood_axes"]

# The shear of t against w in bare layers and tables; no statement about wood.
SHIMMER = 0.6
# Uptake follows the detail as exp(-UPTAKE * relative change of luminance),
# levelling off at exp(±UPTAKE_MOST). From memory: chosen so that figure keeps about as much contrast
# under dye as bare (a stained oak was seen to gain a quarter), and two thirds of it under full black.
UPTAKE, UPTAKE_MOST = 2.6, 1.05
# A place so many standard deviations darker than its surroundings is half a pore. What is wider than a pore
# (streaks, eyes, latewood) is let stand out by WIDE_MOST at most, softly from WIDE_FROM on, where pixels show the difference.
PORE, PORE_SOFT = 3.4, 0.5
# How much darker than its surroundings (share of their cube root) a hole is, from none to all. Found on the boards of
# the library: the darkest thousandth is 0.04 to 0.06 in the closed woods (maple, alder, cherry), 0.1 to 0.2 in the open ones.
PORE_DARK = (0.05, 0.11)
WIDE_FROM, WIDE_MOST = 2.3, 2.8

LEAST_LIGHT = 0.05  # cube root below which a place is taken as no darker
_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True, eq=False)
class WoodAxes:
    """Colour axes of one board, over cube roots of linear reflectance.

    mean      (3,) mean cube root.
    to_axes   (3, 3): (t, c, r) = to_axes @ (cube root - mean), r before it is taken relative to ``local_lightness``.
    basis     (3, 3): its inverse, columns t, c, r.
    low/high  (4,): the range of t, c, w and r that the table covers.
    uptake    mean of the raw uptake over the board, so that uptake has mean 1.
    share     of local detail that is shimmer, measured on the board (``shimmer.share``).
    detail    robust standard deviation of w.
    """

    mean: np.ndarray
    to_axes: np.ndarray
    basis: np.ndarray
    low: np.ndarray
    high: np.ndarray
    uptake: float
    share: float = SHIMMER
    detail: float = 0.02

    @property
    def lightness(self) -> float:
        """Mean t as an absolute cube root of luminance, about 0..1."""
        return float(_WEIGHTS @ self.mean)


def local_lightness(axes: WoodAxes, t: np.ndarray) -> np.ndarray:
    """Lightness of places over that of the board, any shape, from t with its shimmer. r is told relative to it: so little as hue
    changes a dark place, in cube roots, it changes its colour as much as a light one's."""
    return np.maximum(axes.lightness + t, LEAST_LIGHT) / axes.lightness


def in_axes(roots: np.ndarray, axes: WoodAxes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """t (shimmer and all), c and r of cube roots of linear reflectance (..., 3)."""
    t, c, r = np.moveaxis((roots - axes.mean) @ axes.to_axes.T, -1, 0)
    return t, c, r / local_lightness(axes, t)


def wood_axes(roots: np.ndarray, detail: np.ndarray) -> WoodAxes:
    """Axes from a sample of a board: cube roots of linear reflectance (N, 3), and w (N,)."""
    mean = roots.mean(axis=0, dtype=np.float64)
    x = roots.astype(np.float64) - mean
    t = x @ _WEIGHTS
    slope = (x * t[:, None]).mean(axis=0) / max((t * t).mean(), 1e-12)
    if not np.isfinite(slope).all() or abs(slope @ _WEIGHTS - 1) > 1e-3:
        slope = np.ones(3)  # a board of one flat colour
    rest = x - t[:, None] * slope
    # ``rest`` has no lightness: it lies in the plane across the weights.
    _, _, axes = np.linalg.svd(np.cov(rest.T) + 1e-12 * np.eye(3))
    plane = np.linalg.svd(_WEIGHTS[None])[2][1:]
    first = plane.T @ (plane @ axes[0])
    first = plane[0] if np.linalg.norm(first) < 1e-6 else first / np.linalg.norm(first)
    second = np.cross(_WEIGHTS / np.linalg.norm(_WEIGHTS), first)
    basis = np.stack([slope, first, second], axis=1)
    to_axes = np.linalg.inv(basis)
    tcr = x @ to_axes.T
    relative = tcr[:, 2] / (np.maximum(_WEIGHTS @ mean + t, LEAST_LIGHT) / (_WEIGHTS @ mean))
    values = np.stack([tcr[:, 0] - SHIMMER * detail, tcr[:, 1], detail, relative])
    low, high = values.min(axis=1), values.max(axis=1)
    pad = 0.08 * (high - low) + 1e-3
    axes = WoodAxes(mean=mean, to_axes=to_axes, basis=basis, low=low - pad, high=high + pad, uptake=1.0,
                    share=share(roots, detail), detail=spread(detail))
    raw = uptake_from_detail(detail.astype(np.float64), axes)
    return replace(axes, uptake=float(raw.mean()))


def uptake_from_detail(w: np.ndarray, axes: WoodAxes) -> np.ndarray:
    """Uptake, mean 1 over the board, from local detail w (any shape).

    Places darker than their surroundings are open: end grain on the slope of
    a curl, pores, earlywood. They drink more.
    """
    change = 3 * w / axes.lightness  # d ln Y of a cube root
    return np.exp(-UPTAKE_MOST * np.tanh(UPTAKE / UPTAKE_MOST * change)) / axes.uptake


def pores_from_detail(w: np.ndarray, axes: WoodAxes) -> np.ndarray:
    """How much of a place is pore, 0..1, from local detail w (any shape).

    Only what is far darker than the figure, and dark at all: the specks of
    maple or alder are no holes that paste or pigment could lodge in.
    """
    dark = np.clip((-w / axes.lightness - PORE_DARK[0]) / (PORE_DARK[1] - PORE_DARK[0]), 0, 1)
    return dark * dark * (3 - 2 * dark) / (1 + np.exp((w / axes.detail + PORE) / PORE_SOFT))
