"""The log a board is sawn from: its pith line, its rings, its bands of colour.

A flat-sawn board lies about a hand's width from the pith and shows arches; a
quartered board lies beside the pith and shows straight lines. One formula,
the distance to the pith line, does both.
"""

from __future__ import annotations

import cv2
import numpy as np

from mockup.wood.rings import FLATTEST, PER_MM, SLOPES, STEEPEST, ring_tables
from mockup.wood.species import Species
from mockup.wood.streams import Lattice, Noise, noise_line, stream

__all__ = ["CUTS", "Log"]

Array = np.ndarray

# Distance of the pith beside and below the middle of the board, mm: ranges the seed picks from.
CUTS = {"flat": ((0, 40), (85, 135)),
        "rift": ((130, 190), (110, 150)),
        "quarter": ((240, 330), (8, 45))}


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
        self.drift = place.normal(0, 0.014)
        line = stream(seed, "pith line")
        length = lattice.height + 2 * lattice.margin
        self.sway_x = noise_line(line, 70, length, 2.0) * 2.4
        # A stem bends: the arches bunch up here and stretch out there.
        bend = 4.0 if cut == "flat" else 1.5
        self.sway_z = noise_line(line, 110, length, 2.0) * bend + noise_line(line, 45, length, 2.0) * 1.0
        shape = {"sway": (34, 110), "ripple": (7, 30), "ragged": (2.3, 75), "own": (1.8, 9), "torn": (0.15, 7), "tuft": (0.6, 20)}
        self.noise = {name: Noise(lattice, stream(seed, f"rings {name}"), *size) for name, size in shape.items()}
        self.amount = {"sway": rings.sway, "ripple": rings.ripple, "ragged": rings.ragged,
                       "own": rings.own, "torn": rings.torn, "tuft": 0.8 * rings.torn}
        self.reach = float(np.hypot(abs(self.cx0) + lattice.width / 2 + 20,
                                    self.cz0 + 60 + abs(self.lean) * lattice.height) + 40)
        self.tables = ring_tables(species, self.reach, seed)
        # Every year has a voice of its own along the grain: here its end is a line, there it is lost.
        self.voice = Noise(lattice, stream(seed, "ring voice"), 0.3, 17)
        self.sloped = len(self.tables.crisp) > 1

    def radius(self, first: int, last: int, lift: Array | None = None, push: Array | None = None) -> tuple[Array, Array | None]:
        """Distance to the pith on lattice rows, mm, and its slope along the face, both (last - first, cols) float32.

        The slope is None for a wood whose rings look the same at any.

        ``lift``  height of the fibres above the board plane (figure), mm.
        ``push``  displacement of the rings, mm (knots, bird's eyes, ripple).
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
                r = cv2.scaleAdd(self.noise[name].rows(first, last), self.amount[name], r)
        if push is not None:
            r += push
        slope = _slope(r, lattice) if self.sloped else None
        for name in ("torn", "tuft"):
            if self.amount[name]:
                r = cv2.scaleAdd(self.noise[name].rows(first, last), self.amount[name], r)
        return r, slope

    def index(self, radius: Array) -> Array:
        """Positions in the ring tables, int32."""
        return np.clip(radius * PER_MM, 0, len(self.tables.year) - 1).astype(np.int32)

    def late(self, index: Array, slope: Array | None, voice: Array | None = None) -> Array:
        """Latewood at these places: its line is about as thick on the face whether the cut is steep or flat.

        ``voice``  (rows, cols) of :attr:`voice`: each year reads a column of its own for how it comes and goes.
        """
        tables = self.tables
        blur, place = np.take(tables.blur, index), index
        if slope is not None:
            step = SLOPES / np.log(STEEPEST / FLATTEST)
            row = np.clip((cv2.log(slope) - np.float32(np.log(FLATTEST))) * np.float32(step), 0, SLOPES - 1).astype(np.int32)
            place = row * np.int32(len(tables.year)) + index
        crisp, soft = np.take(tables.crisp.ravel(), place), np.take(tables.soft.ravel(), place)
        if voice is None:
            return crisp + (soft - crisp) * blur
        rows, cols = voice.shape
        column = np.take((tables.year * 131 + 37) % (cols - 41), index)
        column += (np.arange(rows, dtype=np.int32) * np.int32(cols))[:, None]
        flat = voice.ravel()
        blur = np.clip(cv2.scaleAdd(np.take(flat, column), 0.33, blur), 0, 1)
        strong = np.clip(1 + np.float32(0.42) * np.take(flat, column + np.int32(41)), 0.1, 2.2)
        return (crisp + (soft - crisp) * blur) * strong


def _slope(radius: Array, lattice: Lattice) -> Array:
    """Magnitude of the gradient of a smooth field, per mm."""
    across = cv2.Sobel(radius, -1, 1, 0, ksize=5, scale=1 / (128 * lattice.du))
    along = cv2.Sobel(radius, -1, 0, 1, ksize=5, scale=1 / (128 * lattice.dv))
    return cv2.blur(cv2.magnitude(across, along), (7, 5)) + np.float32(1e-4)
