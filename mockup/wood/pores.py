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

LENGTHS = 4  # classes of length


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks of one kind, sorted by row.

    ``row`` of the lattice and ``u``, mm, of the middle of each; ``angle`` tangent of the angle at which it
    runs through the face; ``weight`` its strength; ``chance`` 0..1, to be
    compared with the share kept at its place; ``reach`` 0..1, the share of the
    longest trace at which it ends for other reasons.
    """

    lattice: Lattice
    row: Array
    u: Array
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
        a, b = np.searchsorted(self.row, [max(first, 0), max(last, 0)])
        x = (self.u[a:b] - np.float32(lattice.u0)) / np.float32(lattice.du) - np.float32(0.5)
        i = self.row[a:b].astype(np.int32) - first
        j = np.clip(x.astype(np.int32), 0, lattice.cols - 2)
        slope, weight, reach = self.angle[a:b], self.weight[a:b], self.reach[a:b]
        if keep is not None:
            kept = np.flatnonzero(self.chance[a:b] < keep[i, j])
            x, i, j, slope, weight, reach = x[kept], i[kept], j[kept], slope[kept], weight[kept], reach[kept]
        if dip is not None:
            slope = slope + np.float32(0.6) * np.abs(np.tan(np.radians(dip[i, j])))
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
                  spread=0.8, tilt=1.3, string=pores.string)


def ray_marks(rays: Rays, lattice: Lattice, seed: tuple[int, int]) -> Marks:
    """Ends of rays on a flat-sawn face: short dashes, some faint and some strong."""
    return _marks(stream(seed, "rays"), lattice, rays.density, rays.width, rays.length * 1.6, spread=0.7, tilt=8.0, string=1.0)


def _marks(rng, lattice: Lattice, density: float, diameter: float, longest: float, spread: float, tilt: float,
           string: float) -> Marks:
    """Marks at random, ``string`` of them on the same vessel on average: one vessel opens to the face again and again."""
    width, height = lattice.cols * lattice.du, lattice.rows * lattice.dv
    n = rng.poisson(density * width * height / string)
    v = rng.random(n, dtype=np.float32) * height - lattice.margin
    u = rng.random(n, dtype=np.float32) * width + lattice.u0
    slant = np.tan(np.radians(0.25 + np.abs(rng.standard_normal(n, dtype=np.float32)) * tilt))
    if string > 1:
        count = rng.geometric(1 / string, n)
        of = np.repeat(np.arange(n), count)
        place = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
        gap = rng.uniform(0.35, 1.1, n) * min(longest, 9.0)
        v = v[of] + (place - 0.5 * (count[of] - 1) + rng.uniform(-0.3, 0.3, len(of))) * gap[of]
        u = u[of] + rng.normal(0, 0.35 * diameter, len(of))
        slant, n = slant[of], len(of)
    weight = np.minimum(np.exp(spread * rng.standard_normal(n, dtype=np.float32) - 0.5 * spread ** 2), 2.2)
    chance = rng.random(n, dtype=np.float32)
    # Few traces are long: without this nearly all would end at the longest.
    reach = 0.12 + 0.88 * rng.random(n, dtype=np.float32) ** 1.6
    row = np.floor((v.astype(np.float64) + lattice.margin) / lattice.dv)
    row[(row < 0) | (row >= lattice.rows)] = lattice.rows
    row = row.astype(np.uint16)
    order = np.argsort(row, kind="stable")       # sixteen bits are sorted by counting
    order = order[: np.searchsorted(row[order], lattice.rows)]
    return Marks(lattice, row[order], *(a[order].astype(np.float32, copy=False) for a in (u, slant, weight, chance, reach)), diameter, longest)
