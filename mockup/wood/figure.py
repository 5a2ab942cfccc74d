"""Figure: the waves of the fibres that show as flame, quilt, ribbon and bird's eyes.

All figure is band-pass noise rather than a bent sine: noise forks, fades and
changes its spacing by itself, as curl does.
"""

from __future__ import annotations

import cv2
import numpy as np

from mockup.wood.species import Figure
from mockup.wood.streams import Lattice, Noise, stream

__all__ = ["FigureField", "figure_field"]

Array = np.ndarray

STEP_X, STEP_Y = 8, 3  # lattice cells per cell of the figure's coarse grid


class FigureField:
    """A figure on the whole board, expanded strip by strip.

    ``signal`` is the wave on a coarse grid, about unit variance, its dark side
    positive; ``lift`` the height of the fibres, mm, or None.
    """

    def __init__(self, figure: Figure, lattice: Lattice, seed: tuple[int, int]) -> None:
        self.figure, self.lattice = figure, lattice
        self.signal, self.lift = _draw(figure, lattice, seed)
        # Bundles of fibres reflect each for itself: this combs the edges of a stripe.
        comb = {"fine": (0.22, 5.0), "tuft": (0.8, 9.0), "lock": (2.8, 15.0), "bundle": (0.3, 6.0), "sheet": (1.3, 14.0)}
        # Seen from straight above, a stripe is dark on one slope here and on its crest there.
        self.turn = Noise(lattice, stream(seed, "figure turn"), 24, 40) if figure.kind == "flame" else None
        self.comb = {k: Noise(lattice, stream(seed, f"figure {k}"), *s) for k, s in comb.items()}

    def rows(self, first: int, last: int) -> Array:
        """(last - first, cols) float32: the figure, feathered along the fibres."""
        kind = self.figure.kind
        scale = np.float32(min(self.figure.spacing / 7.0, 1.15))
        noise = {k: n.rows(first, last) for k, n in self.comb.items()}
        if kind == "ribbon":
            shift_u = 0.35 * noise["fine"] + 0.55 * noise["tuft"] + 0.8 * noise["lock"]
            shift_v = np.float32(0)
        else:
            shift_u = np.float32(0)
            shift_v = scale * (0.10 * noise["fine"] + 0.22 * noise["tuft"] + 0.30 * noise["lock"])
        out = self._sample(self.signal, first, last, shift_u, shift_v)
        out *= 1 + 0.11 * noise["bundle"] + 0.13 * noise["sheet"]
        return out

    def seen_rows(self, first: int, last: int, wave: Array) -> Array:
        """The wave as flat light shows it: drawn aside by up to a third of a stripe, more here than there."""
        if self.turn is None:
            return wave
        shift = np.clip(self.turn.rows(first, last), -2, 2) * np.float32(0.10 * self.figure.spacing)
        return self._sample(self.signal, first, last, np.float32(0), shift) * np.float32(0.55) + np.float32(0.45) * wave

    def lift_rows(self, first: int, last: int) -> Array | None:
        """(last - first, cols) float32: height of the fibres above the plane, mm."""
        if self.lift is None:
            return None
        return self._sample(self.lift, first, last, np.float32(0), np.float32(0))

    def _sample(self, field: Array, first: int, last: int, shift_u: Array, shift_v: Array) -> Array:
        lattice = self.lattice
        columns = (np.arange(lattice.cols, dtype=np.float32) + 0.5) / STEP_X + 1.5
        lines = ((np.arange(first, last, dtype=np.float32) + 0.5) / STEP_Y + 1.5)
        x = np.broadcast_to(columns[None, :], (last - first, lattice.cols)) + shift_u * np.float32(1 / (STEP_X * lattice.du))
        y = np.broadcast_to(lines[:, None], (last - first, lattice.cols)) + shift_v * np.float32(1 / (STEP_Y * lattice.dv))
        return cv2.remap(field, np.ascontiguousarray(x, np.float32), np.ascontiguousarray(y, np.float32),
                         cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def figure_field(figure: Figure, lattice: Lattice, seed: tuple[int, int]) -> FigureField | None:
    """The figure of a board, or None for a plain one."""
    return None if figure.kind == "none" else FigureField(figure, lattice, seed)


def _band_pass(rng: np.random.Generator, shape: tuple[int, int], step: tuple[float, float], length: float,
               width: float, breadth: float, slant: float = 0.0, across: bool = False) -> Array:
    """Noise whose waves along axis 0 are ``length`` mm long; unit variance.

    ``width``    relative bandwidth; ``breadth`` correlation across the wave, mm;
    ``slant``    slope of the stripes; ``across`` turns it by 90 degrees.
    """
    pad = [int(np.ceil((3 * max(length, 4) + 20) / s)) for s in step]
    big = [cv2.getOptimalDFTSize(n + 2 * p) for n, p in zip(shape, pad)]
    white = rng.standard_normal(big, dtype=np.float32)
    fy = np.fft.fftfreq(big[0], step[0])[:, None]
    fx = np.fft.rfftfreq(big[1], step[1])[None, :]
    if across:
        fy, fx = fx, fy
    fx = fx + slant * fy
    transfer = np.exp(-0.5 * ((np.abs(fy) - 1 / length) / (width / length)) ** 2 - 0.5 * (np.pi * fx * breadth) ** 2)
    # Variance of the result, over the full spectrum (inner columns of the half spectrum count twice).
    power = transfer.astype(np.float64) ** 2
    twice = np.full(power.shape[1], 2.0)
    twice[0] = 1.0
    if big[1] % 2 == 0:
        twice[-1] = 1.0
    variance = (power * twice).sum() / (big[0] * big[1])
    out = np.fft.irfft2(np.fft.rfft2(white) * transfer, s=big).astype(np.float32)
    return out[pad[0]: pad[0] + shape[0], pad[1]: pad[1] + shape[1]] / np.float32(np.sqrt(variance))


class _Coarse:
    """Smooth noise on the figure's coarse grid."""

    def __init__(self, lattice: Lattice, shape: tuple[int, int], step: tuple[float, float], seed: tuple[int, int]) -> None:
        self.shape, self.step, self.seed, self.lattice = shape, step, seed, lattice
        self.grid = Lattice(shape[1] * step[1], shape[0] * step[0], margin=0, du=step[1], dv=step[0])

    def __call__(self, layer: str, sx: float, sy: float) -> Array:
        noise = Noise(self.grid, stream(self.seed, f"figure {layer}"), sx, sy)
        return noise.rows(0, self.shape[0])[:, : self.shape[1]]


def _draw(figure: Figure, lattice: Lattice, seed: tuple[int, int]) -> tuple[Array, Array | None]:
    """The figure on the coarse grid: signal, and lift in mm or None."""
    step = (STEP_Y * lattice.dv, STEP_X * lattice.du)
    shape = (lattice.rows // STEP_Y + 6, lattice.cols // STEP_X + 6)
    smooth = _Coarse(lattice, shape, step, seed)
    rng = stream(seed, "figure waves")
    pick = stream(seed, "figure habit")
    spacing, breadth = figure.spacing * pick.uniform(0.88, 1.15), figure.breadth
    if figure.kind == "flame":
        slant = pick.normal(0, 0.09)
        signal = _flame(rng, shape, step, spacing, breadth, slant, smooth)
        patches = 0.85 * smooth("patch wide", 26, 38) + 0.75 * smooth("patch", 7, 11)
        return signal * np.clip(1 + figure.patchy * patches, 0.12, 2.0), None
    if figure.kind == "quilt":
        return _quilt(rng, shape, step, spacing, smooth, figure.patchy)
    if figure.kind == "ribbon":
        return _ribbon(rng, shape, step, spacing, figure, smooth), None
    # Bird's-eye maple waves faintly between the eyes.
    signal = 0.30 * _band_pass(rng, shape, step, spacing, 0.5, 8) + 0.25 * _band_pass(rng, shape, step, spacing * 2, 0.5, 12)
    return signal, None


def _flame(rng, shape, step, spacing, breadth, slant, smooth) -> Array:
    """Curl: short waves in one patch, long in the next, that fork, end and run into each other.

    The stripes are drawn straight and then bent: whole sheaves of fibres lean
    and stretch together, so the stripes change their distance and angle over
    a hand's width, and step a little from one sheaf to the next.
    """
    close = _band_pass(rng, shape, step, 0.70 * spacing, 0.36, 0.45 * breadth, slant + 0.10)
    middle = _band_pass(rng, shape, step, 1.0 * spacing, 0.40, 0.75 * breadth, slant)
    open_ = _band_pass(rng, shape, step, 1.6 * spacing, 0.40, 0.85 * breadth, slant - 0.12)
    fine = _band_pass(rng, shape, step, 0.40 * spacing, 0.5, 0.30 * breadth, slant)
    where = smooth("flame where", 24, 36)
    a = 1 / (1 + np.exp(-2.2 * (where - 0.7)))
    b = 1 / (1 + np.exp(-2.2 * (-where - 0.5)))
    m = np.clip(1 - a - b, 0, 1)
    norm = np.sqrt(a * a + b * b + m * m)
    main = ((a * close + b * open_ + m * middle) / norm + 0.30 * fine) / np.float32(np.hypot(1, 0.30))
    y, x = np.mgrid[0: shape[0], 0: shape[1]].astype(np.float32)
    y += (spacing / step[0]) * (0.8 * smooth("flame lean", 38, 60) + 0.16 * smooth("flame bend", 16, 24) + 0.04 * smooth("flame sheaf", 2.0, 40))
    return cv2.remap(main.astype(np.float32), x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)


def _ribbon(rng, shape, step, spacing, figure, smooth) -> Array:
    """Interlocked grain: bands that lean one way and the next the other; they wedge out, and break off in cross bars."""
    breadth = figure.breadth
    wide = _band_pass(rng, shape, step, spacing, 0.42, breadth * 4, 0, across=True)
    broad = _band_pass(rng, shape, step, spacing * 2.4, 0.45, breadth * 6, 0, across=True)
    fine = _band_pass(rng, shape, step, spacing * 0.42, 0.6, breadth * 2.2, 0, across=True)
    signal = (wide * np.clip(0.75 + 0.65 * smooth("ribbon fade", 9, 34), 0, 2.2) + 0.7 * broad + 0.35 * fine) / 1.3
    y, x = np.mgrid[0: shape[0], 0: shape[1]].astype(np.float32)
    x += (spacing / step[1]) * (0.55 * smooth("ribbon sway", 14, 70) + 0.16 * smooth("ribbon bend", 5, 22))
    signal = cv2.remap(signal.astype(np.float32), x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101)
    # Where the grain interlocks it also waves: short bars across a band, seen on one side of it only.
    bars = _band_pass(rng, shape, step, 13, 0.75, 4.5, 0.25) + 0.8 * _band_pass(rng, shape, step, 30, 0.7, 8, -0.2)
    lean = np.clip(0.6 + 0.7 * signal, 0, 2)
    return signal * np.clip(0.9 + 0.5 * figure.patchy * bars, 0.1, 2) + 0.55 * figure.patchy * bars * lean * np.clip(smooth("bars where", 22, 40), 0, 2)


def _quilt(rng, shape, step, spacing, smooth, patchy) -> tuple[Array, Array]:
    """Pillows: broad blisters with narrow valleys between them."""
    def blisters(size: float) -> Array:
        return _band_pass(rng, shape, step, size, 0.38, 0.62 * size)

    # Small blisters in one patch and large ones in the next.
    share = 1 / (1 + np.exp(-2.0 * smooth("quilt where", 28, 40)))
    n = (share * blisters(0.72 * spacing) + (1 - share) * blisters(1.25 * spacing)) / np.hypot(share, 1 - share)
    n = n + 0.22 * _band_pass(rng, shape, step, 0.45 * spacing, 0.5, 0.22 * spacing)
    y, x = np.mgrid[0: shape[0], 0: shape[1]].astype(np.float32)
    x += 0.16 * spacing / step[1] * smooth("quilt bend across", 7, 9)
    y += spacing / step[0] * (0.20 * smooth("quilt bend along", 8, 9) + 0.45 * smooth("quilt lean", 30, 45))
    n = cv2.remap(n, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    height = 1 - np.log1p(np.exp(-1.3 * n)) / 1.3
    height = cv2.GaussianBlur(height, (0, 0), 1.1 / step[1], sigmaY=1.1 / step[0])
    # Low wide pillows: what is lost in steepness must not be lost in strength.
    slope = np.gradient(height, step[0], axis=0)
    slope = slope / slope.std()
    hollow = -(height - height.mean()) / height.std()
    signal = 0.85 * slope + 0.45 * hollow
    signal *= np.clip(1 + patchy * smooth("quilt patch", 24, 30), 0.3, 1.7)
    return (signal / signal.std()).astype(np.float32), (0.55 * (height - height.mean())).astype(np.float32)
