"""A finish on one board, baked to a table.

The colours of one board lie close to a line in colour space, lightness, with
a little hue beside it. So each pixel of a bare layer is kept in the board's
own axes and a finish becomes a small table over them:

    t  lightness without shimmer      cube root of reflectance, like L*
    c  the board's main hue departure from its mean colour at that lightness
    w  local detail: figure, pores, earlywood, as departure of lightness from
       its surroundings; it decides uptake, and carries the shimmer back
    r  what hue is left, small; it rides along by a gain per band
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .engine import apply_steps, burst_density
from .steps import Burst, Finish, Paint

__all__ = ["NODES", "SHIMMER", "Baked", "BakedBurst", "WoodAxes", "bake", "engine_colour", "uptake_from_detail",
           "wood_axes"]

NODES = 33
# Share of local lightness detail that is shimmer (light on tilted fibres) and
# stays when the wood is dyed; the rest is colour of the wood, and dye covers it.
SHIMMER = 0.6
# Uptake follows the detail as exp(-UPTAKE * relative change of luminance).
UPTAKE, UPTAKE_MIN, UPTAKE_MAX = 2.2, 0.35, 3.0

_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])


@dataclass(frozen=True, eq=False)
class WoodAxes:
    """Colour axes of one board, over cube roots of linear reflectance.

    mean      (3,) mean cube root.
    to_axes   (3, 3): (t, c, r) = to_axes @ (cube root - mean).
    basis     (3, 3): its inverse, columns t, c, r.
    low/high  (4,): the range of t, c, w and r that the table covers.
    uptake    mean of the raw uptake over the board, so that uptake has mean 1.
    """

    mean: np.ndarray
    to_axes: np.ndarray
    basis: np.ndarray
    low: np.ndarray
    high: np.ndarray
    uptake: float

    @property
    def lightness(self) -> float:
        """Mean t as an absolute cube root of luminance, about 0..1."""
        return float(_WEIGHTS @ self.mean)


@dataclass(frozen=True)
class BakedBurst:
    """Density per band (3,) of a burst where it is full, and its two widths in mm."""

    density: tuple[float, float, float]
    width: float
    edge: float


@dataclass(frozen=True, eq=False)
class Baked:
    """What the renderer applies.

    table     (N, N, N, 3) float32 over t, c, w: finished linear reflectance.
    residual  (3,) float32: relative change of each band per unit of r.
    bursts    in order.
    """

    table: np.ndarray
    residual: np.ndarray
    bursts: tuple[BakedBurst, ...]


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
    values = np.stack([tcr[:, 0] - SHIMMER * detail, tcr[:, 1], detail, tcr[:, 2]])
    low, high = values.min(axis=1), values.max(axis=1)
    pad = 0.08 * (high - low) + 1e-3
    axes = WoodAxes(mean=mean, to_axes=to_axes, basis=basis, low=low - pad, high=high + pad, uptake=1.0)
    raw = uptake_from_detail(detail.astype(np.float64), axes)
    return WoodAxes(mean=mean, to_axes=to_axes, basis=basis, low=low - pad, high=high + pad, uptake=float(raw.mean()))


def uptake_from_detail(w: np.ndarray, axes: WoodAxes) -> np.ndarray:
    """Uptake, mean 1 over the board, from local detail w (any shape).

    Places darker than their surroundings are open: end grain on the slope of
    a curl, pores, earlywood. They drink more.
    """
    change = 3 * w / axes.lightness  # d ln Y of a cube root
    return np.clip(np.exp(-UPTAKE * change), UPTAKE_MIN, UPTAKE_MAX) / axes.uptake


def engine_colour(finish: Finish, axes: WoodAxes, t: np.ndarray, c: np.ndarray, w: np.ndarray,
                  r: np.ndarray | float = 0.0) -> np.ndarray:
    """Finished linear reflectance (..., 3) of places (t, c, w, r) of a board, straight from the engine, no bursts."""
    tcr = np.stack(np.broadcast_arrays(t, c, r), axis=-1)
    roots = np.maximum(axes.mean + tcr @ axes.basis.T, 1e-3)
    lightness = np.maximum(axes.lightness + t, 0.02)
    shimmer = np.maximum(1 + SHIMMER * w / lightness, 0.05) ** 3
    albedo = np.clip(roots**3, 0, 1)
    if not finish.steps:
        return albedo * shimmer[..., None]
    # Paint has no fibres: what it hides does not shimmer.
    seen = float(np.prod([1 - s.cover for s in finish.steps if isinstance(s, Paint)]))
    shimmer = 1 + seen * (shimmer - 1)
    return apply_steps(finish.steps, albedo, uptake_from_detail(w, axes)) * shimmer[..., None]


def bake(finish: Finish, axes: WoodAxes) -> Baked:
    """The table of a finish over a board's axes, and what goes with it."""
    n = NODES
    span = [axes.low[i] + (axes.high[i] - axes.low[i]) * np.linspace(0, 1, n) for i in range(3)]
    t, c, w = np.meshgrid(*span, indexing="ij")
    table = engine_colour(finish, axes, t, c, w)

    step = 1e-3
    at = np.zeros(1)
    up, down = (engine_colour(finish, axes, at, at, at, r) for r in (at + step, at - step))
    residual = ((up - down) / (2 * step) / np.maximum((up + down) / 2, 1e-4))[0]

    bursts = []
    for i, s in enumerate(finish.steps):
        if isinstance(s, Burst):
            shows = float(np.prod([1 - p.cover for p in finish.steps[i + 1:] if isinstance(p, Paint)]))
            bursts.append(BakedBurst(tuple(s.strength * shows * burst_density(s.stain)), s.width, s.edge))
    return Baked(table.astype(np.float32), residual.astype(np.float32), tuple(bursts))
