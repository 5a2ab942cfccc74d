"""Natural faults: mineral streaks, pin knots, a sapwood edge; and bird's eyes, a fault that is prized."""

from __future__ import annotations

import numpy as np

from mockup.wood.log import Log
from mockup.wood.species import Species
from mockup.wood.streams import Lattice, Noise, stream

__all__ = ["FAULTS", "FaultField"]

Array = np.ndarray

FAULTS = ("mineral", "knot", "sapwood")
LONG = 1.5  # fibres part around a knot in an ellipse this much longer along the grain
FACE = 0.62  # the branch itself, units of the size of its knot


class FaultField:
    """The faults of one board."""

    def __init__(self, species: Species, log: Log, seed: tuple[int, int], faults: str | tuple[str, ...]) -> None:
        self.species, self.log, lattice = species, log, log.lattice
        self.lattice = lattice
        rates, area = species.faults, lattice.width * lattice.height / 1e4

        def count(name: str, rate: float) -> int:
            rng = stream(seed, f"fault count {name}")
            if faults == "none":
                return 0
            if faults == "natural":
                return int(rng.poisson(rate * area))
            return max(1, int(rng.poisson(max(rate, 0.3) * area))) if name in faults else 0

        rng = stream(seed, "mineral streaks")
        n = count("mineral", rates.mineral)
        self.streaks = np.column_stack([
            (rng.random(n) - 0.5) * lattice.width, rng.random(n) * lattice.height,
            np.exp(rng.normal(3.2, 0.6, n)), np.exp(rng.normal(-0.5, 0.5, n)), rng.uniform(0.35, 1.1, n)])
        rng = stream(seed, "knots")
        n = count("knot", rates.knot)
        # Radius, mm: most are pins, a few reach 12 mm across.
        self.knots = np.column_stack([
            (rng.random(n) - 0.5) * lattice.width, rng.random(n) * lattice.height,
            np.clip(np.exp(rng.normal(0.15, 0.65, n)), 0.5, 6.0), rng.uniform(0.6, 1.0, n), rng.uniform(0, 6.28, n)])
        self.kinks = _kinks(stream(seed, "kinks"), lattice, species.rings.kinks)
        if faults == "natural" and rates.knot:
            # At some kinks the twig that made them comes through the face.
            rng = stream(seed, "twigs")
            n = len(self.kinks)
            twigs = np.column_stack([self.kinks[:, :2], rng.uniform(0.22, 0.6, n), rng.uniform(0.4, 0.9, n), rng.uniform(0, 6.28, n)])
            self.knots = np.concatenate([self.knots, twigs[rng.random(n) < 0.22]])
        self.sapwood = None
        rng = stream(seed, "sapwood")
        wanted = rng.random() < rates.sapwood if faults == "natural" else faults != "none" and "sapwood" in faults
        if wanted:
            width = min(rates.sapwood_width, 0.3 * lattice.width) * rng.uniform(0.4, 1.0)
            # It lies at the edge away from the pith, and runs a little aslant.
            self.sapwood = -np.sign(log.cx0) or 1.0, lattice.width / 2 - width, rng.normal(0, 0.012)
            self.sap_edge = (Noise(lattice, stream(seed, "sapwood edge"), 6, 50),
                             Noise(lattice, stream(seed, "sapwood fray"), 0.4, 14))
        self.fray = [Noise(lattice, stream(seed, f"streak fray {i}"), *size)
                     for i, size in enumerate(((0.11, 4.0), (0.45, 14.0)))] if len(self.streaks) else []
        self.eyes = _eyes(species, lattice, seed)

    def push(self, first: int, last: int) -> Array | None:
        """Displacement of the rings, mm (rows, cols), or None."""
        v, out = self.lattice.v(first, last), None
        if self.eyes is not None:
            out = self._stamp(v, self.eyes, lambda x, y, eye: 0.35 * eye[3] * np.exp(-1.1 * (x * x + 0.6 * y * y)), 2.6)
        u = self.lattice.u()
        for x0, y0, size, _, turn in self.knots:
            # Rings climb the branch as they reach it, and so close around it.
            a = _near(v - y0, 11 * size), _near(u - x0, 7 * size)
            if a[0] is None or a[1] is None:
                continue
            far = np.hypot((u[a[1]] - x0)[None, :], ((v[a[0]] - y0) / 1.7)[:, None]) / size
            out = np.zeros((len(v), len(u)), np.float32) if out is None else out
            out[a] += (0.9 * size * np.exp(-0.9 * far) * np.clip(3 - 0.5 * far, 0, 1)).astype(np.float32)
        return out

    def layers(self, first: int, last: int) -> list[tuple[Array, tuple[float, float, float]]]:
        """(field, Lab change per unit) of every fault on these rows."""
        out, rates, v = [], self.species.faults, self.lattice.v(first, last)
        if len(self.streaks):
            out.append((self._mineral(first, last), rates.mineral_lab))
        if self.sapwood is not None:
            wide, fine = self.sap_edge
            side, start, slant = self.sapwood
            edge = np.float32(side) * self.lattice.u()[None, :] - np.float32(start) \
                + (slant * (v - self.lattice.height / 2)).astype(np.float32)[:, None] \
                + 3.0 * wide.rows(first, last) + 0.7 * fine.rows(first, last)
            out.append((1 / (1 + np.exp(-np.clip(edge / 0.8, -30, 30))), rates.sapwood_lab))
        if self.eyes is not None:
            out.append((self._stamp(v, self.eyes, _eye, 2.2), self.species.figure.lab))
        return out

    def _mineral(self, first: int, last: int) -> Array:
        """Mineral streaks: single fibres taken up one after another, dark at the heart and frayed at the ends."""
        v, u = self.lattice.v(first, last), self.lattice.u()
        field = np.zeros((len(v), self.lattice.cols), np.float32)
        fine, broad = (noise.rows(first, last) for noise in self.fray)
        for u0, v0, half, wide, dark in self.streaks:
            rows, cols = np.flatnonzero(np.abs(v - v0) < half), np.flatnonzero(np.abs(u - u0) < 9 * wide + 2)
            if not len(rows) or not len(cols):
                continue
            a = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
            s = ((v[rows] - v0) / half).astype(np.float32)[:, None]
            x = (u[None, cols] - np.float32(u0)) / np.float32(wide) - np.float32(1.1 * np.sin(3 * u0)) * s + np.float32(0.6) * broad[a]
            near = (1 - s * s) * np.exp(-0.5 * (x / 1.8) ** 2)
            core = np.clip((1.6 * near + 0.85 * fine[a] + 0.75 * broad[a] - 1.45) / 1.1, 0, 1.1)
            field[a] += np.float32(dark) * (core * np.minimum(4 * near, 1) + 0.16 * near + 0.10 * (1 - s * s) * np.exp(-0.06 * x * x))
        return field

    def around(self, u: Array, x: Array, y: Array) -> Array:
        """Fibres part around a knot as a stream around a post, and dip at kinks."""
        for x0, y0, deep, along, wide, side in self.kinks:
            a = _near(x - x0, 3.2 * wide), _near(y - y0, 7 * along)
            if a[0] is None or a[1] is None:
                continue
            a = a[1], a[0]
            dx, dy = (x[a[1]] - x0)[None, :] / wide, (y[a[0]] - y0)[:, None] / along
            # Steep up to the place, healing over the rings on its outer side.
            fall = np.exp(-0.5 * (dx / np.where(dx * side > 0, 1.0, 0.45)) ** 2)
            dip = np.exp(0.3 - np.sqrt(0.09 + 4 * dy * dy))
            u = u.copy() if not u.flags.writeable else u
            u[a] += (deep * side * fall * dip).astype(np.float32)
        for x0, y0, size, _, _ in self.knots:
            a = _near(y - y0, 11 * size), _near(x - x0, 7 * size)
            if a[0] is None or a[1] is None:
                continue
            dx, dy = (x[a[1]] - x0)[None, :], ((y[a[0]] - y0) / LONG)[:, None]
            far = dx * dx + dy * dy
            fade = np.clip(1.25 - np.sqrt(far) / (5.5 * size), 0, 1)
            pull = fade * dx * np.minimum((FACE * size) ** 2 / np.maximum(far, 1e-6), 0.92)
            u = u.copy() if not u.flags.writeable else u
            u[a] -= pull.astype(np.float32)
        return u

    def paint_knots(self, linear: Array, x: Array, y: Array) -> Array:
        """Draw the knots themselves on rows of the picture."""
        for x0, y0, size, dark, turn in self.knots:
            rows = np.flatnonzero(np.abs(y - y0) < 5 * size)
            cols = np.flatnonzero(np.abs(x - x0) < 4 * size)
            if not len(rows) or not len(cols):
                continue
            a = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
            dx, dy = (x[a[1]] - x0)[None, :] / size, ((y[a[0]] - y0) / 1.25)[:, None] / size
            angle = np.arctan2(dy, dx)
            rho = np.hypot(dx, dy) * (1 + 0.10 * np.sin(angle + 2 * turn) + 0.08 * np.sin(2 * angle + turn)
                                      + 0.035 * np.sin(3 * angle - turn) + 0.02 * np.sin(7 * angle + 3 * turn))
            core = 1 / (1 + np.exp(np.clip((rho - 0.60) / 0.07, -30, 30)))
            # The bark of the branch closes only part of the way round it.
            rim = np.exp(-0.5 * ((rho - 0.64) / 0.08) ** 2) * (0.65 + 0.45 * np.sin(angle + turn))
            rings = core * np.sin(rho * (9 + 3 * size) + 0.8 * np.sin(angle + turn)) * min(1.0, 0.4 * size)
            heart = np.exp(-0.5 * (rho / 0.13) ** 2)
            crack = core * np.exp(-np.abs(np.sin(angle - turn)) * rho * 14) * np.clip(1.2 - 2 * rho, 0, 1)
            halo = np.exp(-0.5 * (rho / 1.4) ** 2 - 0.3 * dx * dx)
            sink = dark * (0.42 * core + 0.75 * rim + 0.7 * heart + 0.5 * crack + 0.10 * rings + 0.22 * halo)
            linear[a] *= np.exp(-np.maximum(sink, 0)[..., None] * np.float32([0.75, 1.0, 1.3]))
        return linear

    def _stamp(self, v: Array, eyes: Array, shape, reach: float) -> Array:
        """Sum of small shapes at the eyes: shape(x, y, eye) in units of its size."""
        field = np.zeros((len(v), self.lattice.cols), np.float32)
        u = self.lattice.u()
        near = eyes[(eyes[:, 1] > v[0] - 12) & (eyes[:, 1] < v[-1] + 12)]
        du, dv = self.lattice.du, self.lattice.dv
        for eye in near:
            u0, v0, wide, size = eye[:4]
            long = 1.3 * size
            i0 = max(0, int((v0 - v[0] - reach * long) / dv))
            i1 = min(len(v), int((v0 - v[0] + reach * long) / dv) + 1)
            j0 = max(0, int((u0 - u[0] - reach * wide) / du))
            j1 = min(len(u), int((u0 - u[0] + reach * wide) / du) + 1)
            if i1 > i0 and j1 > j0:
                x = ((u[j0:j1] - u0) / wide)[None, :]
                y = ((v[i0:i1] - v0) / (size * 1.3))[:, None].astype(np.float32)
                field[i0:i1, j0:j1] += shape(x, y, eye)
        return field


def _near(distance: Array, reach: float) -> slice | None:
    """The places within reach, or None."""
    found = np.flatnonzero(np.abs(distance) < reach)
    return slice(found[0], found[-1] + 1) if len(found) else None


def _kinks(rng: np.random.Generator, lattice: Lattice, rate: float) -> Array:
    """Kinks: u, v, depth, half length, half width (mm), side towards which they heal."""
    n = rng.poisson(rate * lattice.width * lattice.height / 1e4)
    wide = np.exp(rng.normal(1.8, 0.45, n))
    along = np.clip(np.exp(rng.normal(1.6, 0.5, n)), 2.5, 16)
    # Never so steep that the fibres would break.
    deep = np.minimum(wide * rng.uniform(0.08, 0.32, n), rng.uniform(0.12, 0.3, n) * along)
    return np.column_stack([(rng.random(n) - 0.5) * lattice.width, rng.random(n) * lattice.height,
                            deep, along, wide, rng.choice((-1.0, 1.0), n)])


def _eyes(species: Species, lattice: Lattice, seed: tuple[int, int]) -> Array | None:
    """Bird's eyes: u, v, half width, half length, strength, turn, wobble."""
    figure = species.figure
    if figure.kind != "birdseye":
        return None
    rng = stream(seed, "eyes")
    area = lattice.cols * lattice.du * lattice.rows * lattice.dv
    n = rng.poisson(figure.density * area * 2)
    u = (rng.random(n) - 0.5) * lattice.cols * lattice.du
    v = rng.random(n) * lattice.rows * lattice.dv - lattice.margin
    # Eyes come in flocks.
    flock = Noise(lattice, stream(seed, "flocks"), 16, 30)
    order = np.argsort(v)
    u, v = u[order], v[order]
    column = np.clip(((u - lattice.u0) / lattice.du).astype(int), 0, lattice.cols - 1)
    density = flock.at(v)[np.arange(n), column]
    kept = rng.random(n) < 1 / (1 + np.exp(-1.2 * density))
    u, v = u[kept], v[kept]
    n = len(u)
    size = np.clip(np.exp(rng.normal(0.05, 0.42, n)), 0.4, 2.4)
    return np.column_stack([u, v, size * rng.uniform(0.75, 1.25, n), size, rng.uniform(0.15, 1.3, n),
                            rng.uniform(0, 6.28, n), rng.uniform(0, 6.28, n)]).astype(np.float32)


def _eye(x: Array, y: Array, eye: Array) -> Array:
    """One eye in units of the figure's dark band: a dark cup with a paler ring and a dot."""
    strength, turn, wobble = eye[4:7]
    angle = np.arctan2(y, x)
    rho = np.hypot(x, y) * (1 + 0.13 * np.sin(2 * angle + turn) + 0.08 * np.sin(3 * angle + wobble))
    cup = np.exp(-0.5 * ((rho - 0.75) / 0.24) ** 2) * (0.75 + 0.45 * np.cos(angle - turn))
    dot = np.exp(-0.5 * (rho / 0.3) ** 2)
    pale = np.exp(-0.5 * ((rho - 1.35) / 0.35) ** 2)
    return np.float32(strength) * (2.4 * cup + 2.2 * dot - 0.55 * pale)
