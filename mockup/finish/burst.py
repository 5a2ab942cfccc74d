"""Burst and rubbed edge: colour by distance to the edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .steps import Burst, RubbedEdge, Step

__all__ = ["CELL", "Edge", "baked_edges", "burst_weight", "uneven"]

Array = np.ndarray

CELL = 24.0  # mm: a spraying or rubbing hand wanders over about this length


def burst_weight(distance: Array, width: float, edge: float) -> Array:
    """Depth of a burst's colour, 0..1, at ``distance`` mm from the edge (smoothstep from width to edge), any shape."""
    x = np.clip((width - distance) / max(width - edge, 1e-6), 0, 1)
    return x * x * (3 - 2 * x)


def uneven(shape: tuple[int, int], px_per_mm: float, mm: float, seed: int = 20) -> Array:
    """How far a hand strays, (H, W) float32 in mm, to be added to the distance; ``mm`` is its standard deviation.

    Two lengths: the swing of the arm (some cm) and the wrist (a third of it).
    The same for the same seed; it does not depend on px_per_mm but for detail.
    """
    import cv2

    height, width = shape
    rng = np.random.default_rng(seed)
    field = np.zeros(shape, np.float32)
    for cell, share in ((CELL * 2, 0.9), (CELL * 0.7, 0.44)):
        # A fixed grid in mm, cut to what is needed, keeps previews and prints alike.
        rows, columns = (int(n / px_per_mm / cell) + 4 for n in (height, width))
        noise = rng.standard_normal((128, 128)).astype(np.float32)
        noise = np.tile(noise, (rows // 128 + 1, columns // 128 + 1))[:rows, :columns]
        k = 1 / (cell * px_per_mm)
        field += share * cv2.warpAffine(noise, np.array([[k, 0, 1.0], [0, k, 1.0]]), (width, height),
                                        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT)
    return field * np.float32(1.35 * mm)  # cubic interpolation of white noise takes some of its spread


@dataclass(frozen=True)
class Edge:
    """A burst or rubbed edge on one board, ready to draw.

    density  natural-log density per band (3,) where it is full; below 0 where it bares lighter wood.
    width    mm from the edge at which it has faded to nothing.
    edge     mm within which it is full.
    power    of the weight: a stain rubbed in colours early and then less (below 1), a film evenly (1).
    uneven   mm by which the hand strays.
    mixes    True for a rubbed edge: worn and whole places lie side by side, so their light adds.
    """

    density: tuple[float, float, float]
    width: float
    edge: float
    power: float = 1.0
    uneven: float = 0.0
    mixes: bool = False

    def left(self, distance: Array) -> Array:
        """Share of light per band, (..., 3), that it leaves at ``distance`` mm (...) from the edge, inside positive."""
        weight = burst_weight(distance, self.width, self.edge) ** self.power
        density = np.array(self.density, np.float32)
        if self.mixes:
            return 1 + weight[..., None] * (np.exp(-density) - 1)
        return np.exp(-weight[..., None] * density)


def baked_edges(steps: tuple[Step, ...], colour: Callable[[tuple[float, ...]], Array]) -> tuple[Edge, ...]:
    """Each Burst and RubbedEdge of a finish, in order.

    colour  the finished reflectance (3,) of the board's mean for given depths.

    Exact for sprayed bursts on any place. A rubbed edge is exact on the
    board's mean colour, a burst rubbed in so at half and full depth; the
    figure's contrast under them is kept as it is.
    """
    edges = [s for s in steps if isinstance(s, Burst | RubbedEdge)]
    if not edges:
        return ()
    none = np.log(np.maximum(colour((0.0,) * len(edges)), 1e-5))
    out = []
    for i, step in enumerate(edges):
        half, full = (none - np.log(np.maximum(colour(tuple(v if j == i else 0.0 for j in range(len(edges)))), 1e-5))
                      for v in (0.5, 1.0))
        most = int(np.argmax(np.abs(full)))
        power = 1.0
        if abs(full[most]) > 1e-6:
            power = float(np.clip(np.log2(full[most] / half[most]), 0.3, 2)) if half[most] / full[most] > 0 else 1.0
        density = (float(full[0]), float(full[1]), float(full[2]))
        if isinstance(step, RubbedEdge):
            out.append(Edge(density, step.width, 0.15 * step.width, 1.0, 0.22 * step.width, mixes=True))
        else:
            out.append(Edge(density, step.width, step.edge, power, (0.06 if step.rubbed else 0.035) * step.width))
    return tuple(out)
