"""The log a board is sawn from: its pith line, its rings, its bands of colour.

A flat-sawn board lies about a hand's width from the pith and shows arches; a
quartered board lies beside the pith and shows straight lines. One formula,
the distance to the pith line, does both.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from mockup.wood.species import Species
from mockup.wood.streams import Lattice, Noise, noise_line, stream

__all__ = ["CUTS", "Log", "RingTables"]

Array = np.ndarray

# Distance of the pith beside and below the middle of the board, mm: ranges the seed picks from.
CUTS = {"flat": ((0, 40), (85, 135)),
        "rift": ((130, 190), (110, 150)),
        "quarter": ((240, 330), (8, 45))}

PER_MM = 80  # entries of a ring table per mm of radius


@dataclass(frozen=True, slots=True)
class RingTables:
    """Tables by radius, ``PER_MM`` entries per mm.

    late   density of the wood, 0 earlywood .. 1 latewood, mean removed.
    early  share of the large pores, 0..1.
    bands  bands of colour, unit variance.
    ink    where dark streaks may run, unit variance.
    """

    late: Array
    early: Array
    bands: Array
    ink: Array


class Log:
    """Geometry and rings of one log, and how the board sits in it."""

    def __init__(self, species: Species, lattice: Lattice, cut: str, seed: tuple[int, int]) -> None:
        self.lattice, rings = lattice, species.rings
        place = stream(seed, "log place")
        beside, below = CUTS[cut]
        side = place.choice((-1.0, 1.0))
        self.cx0 = side * place.uniform(*beside)
        self.cz0 = place.uniform(*below)
        lean = place.uniform(0.7, 1.25) * rings.lean * place.choice((-1.0, 1.0))
        self.lean = lean * (1.0 if cut == "flat" else 0.5 if cut == "rift" else 0.15)
        self.drift = place.normal(0, 0.006)
        line = stream(seed, "pith line")
        length = lattice.height + 2 * lattice.margin
        self.sway_x = noise_line(line, 70, length, 2.0) * 1.2
        # A stem bends: the arches bunch up here and stretch out there.
        bend = 3.2 if cut == "flat" else 1.5
        self.sway_z = noise_line(line, 110, length, 2.0) * bend + noise_line(line, 45, length, 2.0) * 0.8
        shape = {"sway": (34, 110), "ripple": (7, 30), "ragged": (2.2, 7), "torn": (0.28, 9), "tuft": (0.9, 22)}
        self.noise = {name: Noise(lattice, stream(seed, f"rings {name}"), *size) for name, size in shape.items()}
        self.amount = {"sway": rings.sway, "ripple": rings.ripple, "ragged": rings.ragged,
                       "torn": rings.torn, "tuft": 0.8 * rings.torn}
        self.reach = float(np.hypot(abs(self.cx0) + lattice.width / 2 + 20,
                                    self.cz0 + 60 + abs(self.lean) * lattice.height) + 40)
        self.tables = _ring_tables(species, self.reach, seed)

    def radius(self, first: int, last: int, lift: Array | None = None, push: Array | None = None) -> Array:
        """(last - first, cols) float32: distance to the pith on lattice rows, mm.

        ``lift``  height of the fibres above the board plane (figure), mm.
        ``push``  displacement of the rings, mm (knots, bird's eyes).
        """
        lattice = self.lattice
        v = lattice.v(first, last)
        at = (v + lattice.margin) / 2.0
        grid = np.arange(len(self.sway_x))
        middle = v - lattice.height / 2
        cx = self.cx0 + self.drift * middle + np.interp(at, grid, self.sway_x)
        cz = self.cz0 + self.lean * middle + np.interp(at, grid, self.sway_z)
        x = lattice.u()[None, :] - cx[:, None].astype(np.float32)
        z = cz[:, None].astype(np.float32)
        if lift is not None:
            z = z + lift
        r = np.sqrt(x * x + z * z, dtype=np.float32)
        for name, noise in self.noise.items():
            if self.amount[name]:
                r = cv2.scaleAdd(noise.rows(first, last), self.amount[name], r)
        if push is not None:
            r += push
        return r

    def index(self, radius: Array) -> Array:
        """Positions in the ring tables, int32."""
        return np.clip(radius * PER_MM, 0, len(self.tables.late) - 1).astype(np.int32)


def _ring_tables(species: Species, reach: float, seed: tuple[int, int]) -> RingTables:
    """Draw the rings out to ``reach`` mm: widths, profile, contrast and colour bands."""
    rings = species.rings
    rng = stream(seed, "ring widths")
    n = int(reach / rings.width * 2) + 60
    # AR(1): a wet year follows a wet decade.
    logs = np.empty(n)
    logs[0] = 0
    steps = rng.standard_normal(n) * rings.spread
    for i in range(1, n):
        logs[i] = 0.55 * logs[i - 1] + steps[i]
    widths = np.maximum(rings.width * np.exp(logs - rings.spread ** 2), 0.25 * rings.width)
    strength = np.clip(1 + rings.uneven * stream(seed, "ring strength").standard_normal(n), 0.15, 2.2)
    edges = np.concatenate([[0], np.cumsum(widths)])
    r = (np.arange(int(reach * PER_MM)) + 0.5) / PER_MM
    ring = np.clip(np.searchsorted(edges, r, side="right") - 1, 0, n - 1)
    t = (r - edges[ring]) / widths[ring]
    w = widths[ring]
    if rings.kind == "diffuse":
        late = 0.25 * t + 0.75 * np.exp(-(1 - t) * w / rings.line)
        early = np.ones_like(t)
    elif rings.kind == "ring":
        edge = np.clip(rings.early / w, 0.08, 0.6)
        step = 1 / (1 + np.exp(-14 * (t - edge) / edge.clip(0.15)))
        late = step * (0.55 + 0.45 * t)
        early = np.clip(1.15 - t / edge, 0, 1) ** 0.7
    elif rings.kind == "semi":
        late = 0.35 * t + 0.65 * np.exp(-(1 - t) * w / rings.line)
        early = 0.25 + 0.75 * (1 - t) ** 1.5
    else:  # softwood
        share = rings.line
        late = np.clip((t - (1 - 2.6 * share)) / (2.6 * share), 0, 1) ** 2.2
        early = np.zeros_like(t)
    rich = np.clip(1 + 0.45 * stream(seed, "ring pores").standard_normal(n), 0.35, 1.6)
    early = early * rich[ring]
    # Contrast belongs to the ring it ends; fading it over the ring would draw a second edge.
    late = (late - late.mean()) * strength[ring]
    smooth = np.exp(-0.5 * (np.arange(-12, 13) / (0.05 * PER_MM)) ** 2)
    late = np.convolve(late, smooth / smooth.sum(), "same")
    bands = np.zeros_like(r)
    source = stream(seed, "colour bands")
    weight = 0.0
    for width, share in species.bands.widths:
        bands += share * noise_line(source, width, reach + 1, 1 / PER_MM)[: len(r)]
        weight += share ** 2
    if weight:
        bands /= np.sqrt(weight)
    source = stream(seed, "ink bands")
    ink = sum(share * noise_line(source, width, reach + 1, 1 / PER_MM)[: len(r)]
              for width, share in ((10, 0.55), (2.4, 0.62), (0.8, 0.45), (0.25, 0.33)))
    return RingTables(*(a.astype(np.float32) for a in (late, early, bands, ink)))
