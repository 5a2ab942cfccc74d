"""Pores and rays: thousands of short marks along the fibre.

A mark is an impulse on the lattice, spread by a Gaussian across the grain and
by two running means along it (which taper its ends). Marks of like length are
spread together, so the cost does not depend on how many there are.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from mockup.wood.species import Pores, Rays
from mockup.wood.streams import Lattice, stream

__all__ = ["Marks", "pore_marks", "ray_marks"]

Array = np.ndarray

LENGTHS = 5  # classes of length


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks of one kind, sorted by v.

    ``u``, ``v`` middle of each, mm; ``angle`` tangent of the angle at which it
    runs through the face; ``weight`` its strength; ``chance`` 0..1, to be
    compared with the share kept at its place; ``reach`` 0..1, the share of the
    longest trace at which it ends for other reasons.
    """

    lattice: Lattice
    u: Array
    v: Array
    angle: Array
    weight: Array
    chance: Array
    reach: Array
    diameter: float
    longest: float

    def draw(self, first: int, last: int, keep: Array | None, dip: Array | None = None) -> Array:
        """(last - first, cols) float32: summed strength of the marks on rows first .. last - 1.

        Only marks whose middle lies on these rows: draw half the longest mark more at either end.

        ``keep``  (rows, cols), share of the candidates kept at each place; None keeps all.
        ``dip``   (rows, cols), degrees: marks shorten where the fibre dives.
        """
        lattice, rows = self.lattice, last - first
        v = lattice.v(first, last)
        a, b = np.searchsorted(self.v, [v[0], v[-1]])
        x = (self.u[a:b] - np.float32(lattice.u0)) / np.float32(lattice.du) - np.float32(0.5)
        # Counted from the top of the board, so that a mark keeps its row whatever rows are drawn.
        row = np.floor((self.v[a:b].astype(np.float64) + lattice.margin) / lattice.dv).astype(np.int32) - first
        i = np.clip(row, 0, rows - 1)
        j = np.clip(x.astype(np.int32), 0, lattice.cols - 2)
        slope, weight, reach = self.angle[a:b], self.weight[a:b], self.reach[a:b]
        if keep is not None:
            kept = np.flatnonzero(self.chance[a:b] < keep[i, j])
            x, i, j, slope, weight, reach = x[kept], i[kept], j[kept], slope[kept], weight[kept], reach[kept]
        if dip is not None:
            slope = slope + np.abs(np.tan(np.radians(dip[i, j])))
        shortest = min(3 * self.diameter, self.longest)
        length = np.clip(self.diameter / np.maximum(slope, np.float32(1e-4)), shortest, np.maximum(self.longest * reach, shortest))
        ratio = max(self.longest / shortest, 1.001)
        group = np.clip((np.log(length / shortest) / np.log(ratio) * LENGTHS).astype(np.int32), 0, LENGTHS - 1)
        part = np.clip(x - j, 0, 1)
        out = np.zeros((rows, lattice.cols), np.float32)
        for g in range(LENGTHS):
            mine = np.flatnonzero(group == g)
            if not len(mine):
                continue
            half = max(1, int(round(0.5 * shortest * ratio ** ((g + 0.5) / LENGTHS) / lattice.dv)))
            spots = np.zeros((rows, lattice.cols), np.float32)
            row, col, amount = i[mine], j[mine], weight[mine] * half
            np.add.at(spots, (row, col), amount * (1 - part[mine]))
            np.add.at(spots, (row, col + 1), amount * part[mine])
            border = cv2.BORDER_CONSTANT
            # Two running means along the grain taper the ends.
            spots = cv2.blur(spots, (1, half), borderType=border)
            out += cv2.blur(spots, (1, half + 1 - half % 2), borderType=border)
        sigma = max(0.42 * self.diameter, 0.055) / lattice.du
        peak = np.sqrt(2 * np.pi) * 0.42 * self.diameter / lattice.du
        return cv2.GaussianBlur(out, (0, 0), sigma, sigmaY=0.01) * np.float32(peak)


def pore_marks(pores: Pores, lattice: Lattice, seed: tuple[int, int], number: int) -> Marks:
    """Candidates for the pores of one kind over the whole board."""
    return _marks(stream(seed, f"pores {number}"), lattice, pores.density, pores.diameter, pores.length,
                  spread=0.8, tilt=1.3)


def ray_marks(rays: Rays, lattice: Lattice, seed: tuple[int, int]) -> Marks:
    """Ends of rays on a flat-sawn face: short dashes, some faint and some strong."""
    return _marks(stream(seed, "rays"), lattice, rays.density, rays.width, rays.length * 1.6, spread=0.7, tilt=8.0)


def _marks(rng, lattice: Lattice, density: float, diameter: float, longest: float, spread: float, tilt: float) -> Marks:
    width, height = lattice.cols * lattice.du, lattice.rows * lattice.dv
    n = rng.poisson(density * width * height)
    v = np.sort(rng.random(n, dtype=np.float32)) * height - lattice.margin
    u = rng.random(n, dtype=np.float32) * width + lattice.u0
    angle = np.tan(np.radians(0.25 + np.abs(rng.standard_normal(n, dtype=np.float32)) * tilt))
    weight = np.minimum(np.exp(spread * rng.standard_normal(n, dtype=np.float32) - 0.5 * spread ** 2), 2.2)
    chance = rng.random(n, dtype=np.float32)
    # Few traces are long: without this nearly all would end at the longest.
    reach = 0.12 + 0.88 * rng.random(n, dtype=np.float32) ** 1.6
    return Marks(lattice, u, v.astype(np.float32), angle, weight, chance, reach, diameter, longest)
