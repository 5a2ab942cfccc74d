"""Random streams and noise on a grid fixed in millimetres.

Every layer of a wood (rings, fibres, pores, figure ...) draws from a stream of
its own, so that changing one layer never reshuffles another. All noise lives
on the *lattice*, whose spacing in mm does not depend on the resolution of the
picture: the same seed is the same board at 2, 4 and 8 px/mm.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Lattice", "Noise", "board_seed", "noise_line", "stream"]

Array = np.ndarray

EDGE = 3  # cells of noise beyond the lattice, for interpolation


def board_seed(seed: int, species: str) -> tuple[int, int]:
    """The seed of one board: boards of two species are never cut alike."""
    return seed, zlib.crc32(species.encode())


def stream(seed: tuple[int, int], layer: str) -> np.random.Generator:
    """The random stream of one layer of a board; streams of different layers are independent."""
    key = zlib.crc32(layer.encode())
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=(key,))))


@dataclass(frozen=True, slots=True)
class Lattice:
    """The straight-grained working grid: u across the grain, v along it, mm.

    ``width`` and ``height`` are those of the board; the lattice reaches
    ``margin`` further on every side, for wandering fibres. u = 0 is the middle
    of the board, v = 0 its top edge.
    """

    width: float
    height: float
    margin: float = 8.0
    du: float = 0.125
    dv: float = 0.15

    @property
    def cols(self) -> int:
        return int(np.ceil((self.width + 2 * self.margin) / self.du))

    @property
    def rows(self) -> int:
        return int(np.ceil((self.height + 2 * self.margin) / self.dv))

    @property
    def u0(self) -> float:
        """u of the left edge of the first column."""
        return -0.5 * self.cols * self.du

    def u(self) -> Array:
        """(cols,) float32, u of the column centres."""
        return (self.u0 + (np.arange(self.cols) + 0.5) * self.du).astype(np.float32)

    def v(self, first: int, last: int) -> Array:
        """(last - first,) float64, v of the row centres first .. last - 1."""
        return -self.margin + (np.arange(first, last) + 0.5) * self.dv


def _kernel(sigma: float) -> Array:
    """Sampled Gaussian, sum 1."""
    if sigma <= 0.05:
        return np.ones(1)
    reach = int(np.ceil(3.5 * sigma))
    k = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return k / k.sum()


def _spline(t: Array) -> Array:
    """(4, n) weights of the uniform cubic B-spline at phase t in 0..1."""
    return np.stack([(1 - t) ** 3, 3 * t ** 3 - 6 * t ** 2 + 4,
                     -3 * t ** 3 + 3 * t ** 2 + 3 * t + 1, t ** 3]) / 6


def _gain(kernel: Array) -> float:
    """One over the standard deviation of splined, blurred white noise."""
    power = np.mean([np.sum(np.convolve(_spline(np.array([t]))[:, 0], kernel) ** 2)
                     for t in (0.0, 0.25, 0.5, 0.75)])
    return float(1 / np.sqrt(power))


def _cubic(t: Array) -> Array:
    """(4, n) weights of cubic interpolation at phase t (Keys 1981, a = -0.75, as cv2.resize)."""
    a = -0.75
    near = lambda d: ((a + 2) * d - (a + 3)) * d * d + 1
    far = lambda d: ((a * d - 5 * a) * d + 8 * a) * d - 4 * a
    return np.stack([far(1 + t), near(t), near(1 - t), far(2 - t)])


def _gather(values: Array, position: Array, weights_of=_cubic) -> Array:
    """Interpolate along axis 0 at fractional positions (index 0 = centre of the first)."""
    base = np.floor(position).astype(np.int64)
    weights = weights_of(position - base).astype(np.float32)
    last = len(values) - 1
    index = np.clip(base[None] + np.arange(-1, 3)[:, None], 0, last)
    out = values[index[0]] * weights[0][:, None]
    for k in range(1, 4):
        out += values[index[k]] * weights[k][:, None]
    return out


class Noise:
    """Gaussian noise of mean 0 and variance 1 on a lattice.

    ``sx``, ``sy``  standard deviations of its smoothing across and along the
    grain, mm. Held at a spacing of about 0.8 of these, and expanded strip by
    strip, so a whole board costs little memory.
    """

    def __init__(self, lattice: Lattice, rng: np.random.Generator, sx: float, sy: float) -> None:
        self.lattice = lattice
        self.factor = max(1, int(0.8 * sx / lattice.du))
        self.factor_v = max(1, int(0.8 * sy / lattice.dv))
        across = max(sx / (self.factor * lattice.du), 0.5)
        along = max(sy / (self.factor_v * lattice.dv), 0.5)
        kx, ky = _kernel(across), _kernel(along)
        pad = len(kx) // 2
        nx = -(-lattice.cols // self.factor) + 2 * EDGE
        ny = -(-lattice.rows // self.factor_v) + 2 * EDGE
        white = rng.standard_normal((ny + len(ky) - 1, nx + 2 * pad), dtype=np.float32)
        smooth = cv2.sepFilter2D(white, -1, kx, ky, borderType=cv2.BORDER_REFLECT)
        smooth = smooth[len(ky) // 2: len(ky) // 2 + ny, pad: pad + nx]
        self.values = smooth * np.float32(1 / np.sqrt(np.sum(ky ** 2) * np.sum(kx ** 2)))

    def rows(self, first: int, last: int) -> Array:
        """(last - first, cols) float32: the noise on lattice rows first .. last - 1."""
        lattice, fu, fv = self.lattice, self.factor, self.factor_v
        if fv <= 48:
            # Whole cells, so that a strip is cut from the same picture wherever it begins.
            a, b = first // fv - 2, -(-last // fv) + 2
            index = np.clip(np.arange(a, b) + EDGE, 0, len(self.values) - 1)
            part = self.values[index[0]: index[-1] + 1] if index[-1] - index[0] == len(index) - 1 else self.values[index]
            if fu > 1 or fv > 1:
                part = cv2.resize(part, (part.shape[1] * fu, part.shape[0] * fv), interpolation=cv2.INTER_CUBIC)
            return part[first - a * fv: last - a * fv, EDGE * fu: EDGE * fu + lattice.cols]
        return self.at(lattice.v(first, last))

    def at(self, v: Array) -> Array:
        """(len(v), cols) float32: the noise at any v, mm; for noise that is smooth along the grain."""
        position = (np.asarray(v) + self.lattice.margin) / (self.factor_v * self.lattice.dv) - 0.5 + EDGE
        out = _gather(self.values, position)
        if self.factor > 1:
            out = cv2.resize(out, (out.shape[1] * self.factor, out.shape[0]), interpolation=cv2.INTER_CUBIC)
        return out[:, EDGE * self.factor: EDGE * self.factor + self.lattice.cols]


def noise_line(rng: np.random.Generator, sigma: float, length: float, step: float) -> Array:
    """(n,) float32 unit-variance noise along a line: smoothing ``sigma`` mm, a value each ``step`` mm."""
    spacing = max(0.8 * sigma, step)
    kernel = _kernel(np.sqrt(max((sigma / spacing) ** 2 - 1 / 3, 0)))
    n = int(np.ceil(length / spacing)) + 6
    white = rng.standard_normal(n + len(kernel) - 1)
    values = (np.convolve(white, kernel, "valid") * _gain(kernel))[:, None]
    position = np.arange(int(np.ceil(length / step))) * (step / spacing) + 1.5
    return _gather(values.astype(np.float32), position, _spline)[:, 0]
