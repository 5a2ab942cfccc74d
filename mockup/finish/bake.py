"""A finish on one board, baked to a table.

The colours of one board lie close to a line in colour space, lightness, with
a little hue beside it. So each pixel of a bare layer is kept in the board's
own axes and a finish becomes a small table over them:

    t  lightness, cube root of reflectance like L*, less SHIMMER times w: a
       shear that keeps the table tight; ``engine_colour`` undoes it
    c  the board's main hue departure from its mean colour at that lightness
    w  local detail: figure, pores, earlywood, as departure of lightness from
       its surroundings; it decides uptake, and carries the shimmer
    r  what hue is left, small, relative to the place's lightness; it rides along by a gain per band
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .axes import SHIMMER, WoodAxes, local_lightness, pores_from_detail, uptake_from_detail, wood_axes
from .bands import THREE, Medium
from .burst import Edge, baked_edges
from .engine import apply_steps
from .shimmer import gain, lightness_of_shimmer
from .steps import Finish

__all__ = ["NODES", "SHIMMER", "Baked", "WoodAxes", "bake", "engine_colour", "wood_axes"]

NODES = 33


@dataclass(frozen=True, eq=False)
class Baked:
    """What the renderer applies.

    table     (N, N, N, 3) float32 over t, c, w: finished linear reflectance.
    residual  (3,) float32: relative change of each band per unit of r.
    bursts    bursts and rubbed edges in order.
    """

    table: np.ndarray
    residual: np.ndarray
    bursts: tuple[Edge, ...]


def engine_colour(finish: Finish, axes: WoodAxes, t: np.ndarray, c: np.ndarray, w: np.ndarray,
                  r: np.ndarray | float = 0.0, burst: tuple[np.ndarray | float, ...] = (), *,
                  medium: Medium = THREE) -> np.ndarray:
    """Finished linear reflectance (..., 3) of places (t, c, w, r) of a board, straight from the engine.

    burst   depth (...) 0..1 of each Burst and RubbedEdge, in order; () leaves them out.
    medium  the bands to work in, three unless the finish's values are for others.
    """
    t, c, w, r = np.broadcast_arrays(t, c, w, r)
    shimmer = lightness_of_shimmer(w, axes.share, axes.detail)
    tcr = np.stack([t + SHIMMER * w - shimmer, c, r * local_lightness(axes, t + SHIMMER * w)], axis=-1)
    roots = np.maximum(axes.mean + tcr @ axes.basis.T, 1e-3)
    lightness = axes.lightness + tcr[..., 0]
    albedo = np.minimum(roots**3, 1)
    return apply_steps(finish.steps, albedo, uptake_from_detail(w, axes), burst,
                       shimmer=gain(shimmer, lightness), pores=pores_from_detail(w, axes), medium=medium)


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
    bursts = baked_edges(finish.steps, lambda burst: engine_colour(finish, axes, at, at, at, burst=burst)[0])
    return Baked(table.astype(np.float32), residual.astype(np.float32), bursts)
