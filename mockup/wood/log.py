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

PER_MM = 100  # entries of a ring table per mm of radius
# How steeply rings leave the face: slope of the radius along the face, in steps of a constant ratio.
STEEPEST, FLATTEST, SLOPES = 1.0, 0.02, 24
USUAL = 0.4   # the slope at which ring lines have their given thickness


@dataclass(frozen=True, slots=True)
class RingTables:
    """Tables by radius, ``PER_MM`` entries per mm.

    late   density of the wood, 0 earlywood .. 1 latewood, mean removed; a row for each of ``SLOPES``, or one for all.
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
        shape = {"sway": (34, 110), "ripple": (7, 30), "ragged": (2.6, 6.5), "own": (1.3, 9), "torn": (0.28, 9), "tuft": (0.9, 22)}
        self.noise = {name: Noise(lattice, stream(seed, f"rings {name}"), *size) for name, size in shape.items()}
        self.amount = {"sway": rings.sway, "ripple": rings.ripple, "ragged": rings.ragged,
                       "own": rings.own, "torn": rings.torn, "tuft": 0.8 * rings.torn}
        self.reach = float(np.hypot(abs(self.cx0) + lattice.width / 2 + 20,
                                    self.cz0 + 60 + abs(self.lean) * lattice.height) + 40)
        self.tables = _ring_tables(species, self.reach, seed)
        self.sloped = len(self.tables.late) > 1

    def radius(self, first: int, last: int, lift: Array | None = None, push: Array | None = None) -> tuple[Array, Array | None]:
        """Distance to the pith on lattice rows, mm, and its slope along the face, both (last - first, cols) float32.

        The slope is None for a wood whose rings look the same at any.

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
        for name in ("sway", "ripple", "ragged", "own"):
            if self.amount[name]:
                rows = self.noise[name].rows(first, last)
                if name == "ragged":
                    # The edge of a ring dips in scallops with sharp cusps between them, not in waves.
                    rows = (np.abs(rows) - np.float32(0.8)) * np.float32(1.66)
                r = cv2.scaleAdd(rows, self.amount[name], r)
        if push is not None:
            r += push
        slope = _slope(r, lattice) if self.sloped else None
        for name in ("torn", "tuft"):
            if self.amount[name]:
                r = cv2.scaleAdd(self.noise[name].rows(first, last), self.amount[name], r)
        return r, slope

    def index(self, radius: Array) -> Array:
        """Positions in the ring tables, int32."""
        return np.clip(radius * PER_MM, 0, len(self.tables.bands) - 1).astype(np.int32)

    def late(self, index: Array, slope: Array | None) -> Array:
        """Latewood at these places: its line is about as thick on the face whether the cut is steep or flat."""
        if slope is None:
            return self.tables.late[0][index]
        step = SLOPES / np.log(STEEPEST / FLATTEST)
        row = np.clip((cv2.log(slope) - np.float32(np.log(FLATTEST))) * np.float32(step), 0, SLOPES - 1).astype(np.int32)
        return np.take(self.tables.late.ravel(), row * np.int32(len(self.tables.bands)) + index)


def _slope(radius: Array, lattice: Lattice) -> Array:
    """Magnitude of the gradient of a smooth field, per mm."""
    across = cv2.Sobel(radius, -1, 1, 0, ksize=5, scale=1 / (128 * lattice.du))
    along = cv2.Sobel(radius, -1, 0, 1, ksize=5, scale=1 / (128 * lattice.dv))
    return cv2.blur(cv2.magnitude(across, along), (7, 5)) + np.float32(1e-4)


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
    sloped = rings.kind in ("diffuse", "semi")
    late = np.empty((SLOPES if sloped else 1, len(r)))
    habit = stream(seed, "ring habit")
    thick = np.exp(0.45 * habit.standard_normal(n))[ring]      # no two lines are of a thickness
    ramp = np.clip(0.28 + 0.16 * habit.standard_normal(n), 0.02, 0.7)[ring]
    false = np.where(habit.random(n) < 0.22, habit.uniform(0.25, 0.8, n), -9)[ring]   # a dry summer draws a second, weak line
    contrast = strength[ring]
    for k in range(len(late)):
        slope = FLATTEST * (STEEPEST / FLATTEST) ** ((k + 0.5) / SLOPES) if sloped else 1.0
        if sloped:
            # Where the cut is flat a line of given thickness would smear over centimetres. The wall that
            # ends a ring is a few cells thick, so what is seen as a line there is thinner wood.
            line = rings.line * thick * (slope / USUAL) ** 0.8
            body = ramp * t ** 1.5 + (0.9 - ramp) * np.exp(-(1 - t) * w / line)
            body += 0.25 * np.exp(-np.abs(t - false) * w / (0.6 * line))
        elif rings.kind == "ring":
            edge = np.clip(rings.early / w, 0.08, 0.6)
            step = 1 / (1 + np.exp(-14 * (t - edge) / edge.clip(0.15)))
            body = step * (0.55 + 0.45 * t)
        else:  # softwood
            share = rings.line
            body = np.clip((t - (1 - 2.6 * share)) / (2.6 * share), 0, 1) ** 2.2
        # Contrast belongs to the ring it ends; fading it over the ring would draw a second edge.
        body = (body - body.mean()) * contrast
        sigma = min(0.05, 0.11 * slope) * PER_MM
        taps = int(np.ceil(3 * sigma)) + 1
        smooth = np.exp(-0.5 * (np.arange(-taps, taps + 1) / sigma) ** 2)
        late[k] = np.convolve(body, smooth / smooth.sum(), "same")
    if rings.kind == "diffuse":
        early = 1.05 - t ** 1.6
    elif rings.kind == "ring":
        early = np.clip(1.15 - t / np.clip(rings.early / w, 0.08, 0.6), 0, 1) ** 0.7
    elif rings.kind == "semi":
        early = 0.25 + 0.75 * (1 - t) ** 1.5
    else:
        early = np.zeros_like(t)
    rich = np.clip(1 + 0.45 * stream(seed, "ring pores").standard_normal(n), 0.35, 1.6)
    early = early * rich[ring]
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
