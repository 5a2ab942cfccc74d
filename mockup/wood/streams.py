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

__all__ = ["Lattice", "Noise", "noise_line", "stream"]

Array = np.ndarray


def stream(seed: int, layer: str) -> np.random.Generator:
    """The random stream of one layer; streams of different layers are independent."""
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


def _gather(values: Array, position: Array) -> Array:
    """Cubic B-spline along axis 0 at fractional positions (index 0 = centre of the first)."""
    base = np.floor(position).astype(np.int64)
    weights = _spline(position - base).astype(np.float32)
    last = len(values) - 1
    index = np.clip(base[None] + np.arange(-1, 3)[:, None], 0, last)
    out = values[index[0]] * weights[0][:, None]
    for k in range(1, 4):
        out += values[index[k]] * weights[k][:, None]
    return out


class Noise:
    """Gaussian noise of mean 0 and variance 1 on a lattice.

    ``sx``, ``sy``  standard deviations of its smoothing across and along the
    grain, mm. Held at a spacing of about one of these, and expanded row by row
    with :meth:`rows`, so a whole board costs little memory.
    """

    def __init__(self, lattice: Lattice, rng: np.random.Generator, sx: float, sy: float) -> None:
        self.lattice = lattice
        self.factor = max(1, int(0.8 * sx / lattice.du))
        across = max(sx / (self.factor * lattice.du), 0.5)
        self.step = 0.8 * sy
        along = np.sqrt(max((sy / self.step) ** 2 - 1 / 3, 0))
        kx, ky = _kernel(across), _kernel(along)
        pad = len(kx) // 2
        nx = -(-lattice.cols // self.factor) + 4
        ny = int(np.ceil((lattice.height + 2 * lattice.margin) / self.step)) + 6
        white = rng.standard_normal((ny + len(ky) - 1, nx + 2 * pad), dtype=np.float32)
        smooth = cv2.sepFilter2D(white, -1, kx, ky, borderType=cv2.BORDER_REFLECT)
        smooth = smooth[len(ky) // 2: len(ky) // 2 + ny, pad: pad + nx]
        self.values = smooth * np.float32(_gain(ky) / np.sqrt(np.sum(kx ** 2)))

    def rows(self, v: Array) -> Array:
        """(len(v), cols) float32: the noise on all columns at the given v, mm."""
        out = _gather(self.values, (np.asarray(v) + self.lattice.margin) / self.step + 1.5)
        return widen(out, self.factor, self.lattice.cols)


def widen(values: Array, factor: int, cols: int) -> Array:
    """Expand columns ``factor`` times (cubic); two columns of margin are cut off at the left."""
    if factor > 1:
        values = cv2.resize(values, (values.shape[1] * factor, values.shape[0]),
                            interpolation=cv2.INTER_CUBIC)
    return values[:, 2 * factor: 2 * factor + cols]


def noise_line(rng: np.random.Generator, sigma: float, length: float, step: float) -> Array:
    """(n,) float32 unit-variance noise along a line: smoothing ``sigma`` mm, a value each ``step`` mm."""
    spacing = max(0.8 * sigma, step)
    kernel = _kernel(np.sqrt(max((sigma / spacing) ** 2 - 1 / 3, 0)))
    n = int(np.ceil(length / spacing)) + 6
    white = rng.standard_normal(n + len(kernel) - 1)
    values = (np.convolve(white, kernel, "valid") * _gain(kernel))[:, None]
    position = np.arange(int(np.ceil(length / step))) * (step / spacing) + 1.5
    return _gather(values.astype(np.float32), position)[:, 0]
