"""A world with known truth: spectra of wood and dye, a bench, and a camera that knows nothing of our models.

Wood is a Kubelka-Munk scatterer of many bands behind a surface with other
constants than the program's; dyes are sums of absorption bands; the camera has its own
broad sensitivities, a 3 x 3 matrix fitted to a colour chart, and noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from mockup.colour.spaces import linear_to_lab
from mockup.finish.spectra import observer, to_linear

NM = observer().nm
# Surface of the invented world, not that of the program: (veil, return when dry, return under film).
VEIL, DRY, WET = 0.025, 0.45, 0.62


def _gauss(centre, width):
    return np.exp(-0.5 * ((NM - centre) / width) ** 2)


# K per unit of scattering: lignin's tail into the blue, a flat part, and extractives.
WOODS = {
    "maple": 0.24 * np.exp(-(NM - 400) / 66) + 0.018,
    "alder": 0.36 * np.exp(-(NM - 400) / 80) + 0.025 + 0.05 * _gauss(490, 45),
    "mahogany": 1.1 * np.exp(-(NM - 400) / 100) + 0.03 + 0.36 * _gauss(500, 55),
    "walnut": 1.9 * np.exp(-(NM - 400) / 170) + 0.20,
}
DYES = {
    "amber": 2.6 * _gauss(430, 48) + 0.10 * _gauss(520, 40),
    "tobacco": 4.2 * np.exp(-(NM - 400) / 70) + 0.25 * _gauss(560, 70),
    "red": 3.2 * _gauss(515, 38) + 0.9 * _gauss(420, 40),
    "blue": 3.4 * _gauss(625, 45) + 1.1 * _gauss(575, 30) + 0.12,
    "black": 3.5 + 1.5 * _gauss(600, 60),
}


@dataclass(frozen=True, eq=False)
class Offcut:
    """An invented board: what varies from place to place, (H, W) each, at ``mm`` mm per pixel."""

    k: np.ndarray
    hue: np.ndarray
    shimmer: np.ndarray
    uptake: np.ndarray
    base: np.ndarray
    mm: float

    def spectra(self, dye: np.ndarray | None = None, strength: float | np.ndarray = 1.0, *, film: float | None = None) -> np.ndarray:
        """Reflectance (H, W, N); ``film`` is the absorption of a coat at 400 nm, None without coats."""
        ks = self.base * self.k[..., None] * np.exp(self.hue[..., None] * (NM - 550) / 150)
        if dye is not None:
            ks = ks + np.asarray(strength * self.uptake)[..., None] * dye
        inside = 1 + ks - np.sqrt(ks * ks + 2 * ks)
        back = DRY if film is None else WET
        body = (1 - back) * inside / (1 - back * inside) * self.shimmer[..., None]
        if film is None:
            return body * (1 - VEIL) + VEIL
        return body * np.exp(-2 * film * np.exp(-(NM - 400) / 60))


def offcut(wood: str, *, seed: int, size: tuple[int, int] = (300, 420), mm: float = 0.4, figure: float = 0.05) -> Offcut:
    """A board of some wood: rings, figure with shimmer, short pores, blotches of hue; uptake knows more than darkness tells."""
    rng = np.random.default_rng(seed)

    def noise(sx, sy):
        field = cv2.GaussianBlur(rng.standard_normal(size).astype(np.float32), (0, 0), sigmaX=sx / mm, sigmaY=sy / mm)
        return (field / field.std()).astype(np.float64)

    rings, figure_, pores = noise(14, 0.7), noise(1.6, 6), np.maximum(noise(2.2, 0.35) - 2.0, 0)
    k = np.exp(0.16 * rings + 0.07 * figure_ + 0.35 * pores + 0.08 * noise(30, 30))
    shimmer = np.exp(-figure * figure_ - 0.012 * noise(0.8, 0.4))
    uptake = np.exp(0.20 * figure_ + 0.5 * pores + 0.06 * rings + 0.05 * noise(6, 6))
    return Offcut(k, 0.04 * noise(25, 10), shimmer, uptake / uptake.mean(), WOODS[wood], mm)


def chart(n: int = 48, seed: int = 1) -> np.ndarray:
    """Reflectances (n, N) of an invented colour chart: smooth, of many hues, some dark."""
    rng = np.random.default_rng(seed)
    z = sum(rng.normal(0, 1.6, (n, 1)) * _gauss(c, 45) for c in range(400, 701, 50)) + rng.normal(-0.6, 0.9, (n, 1))
    return 0.03 + 0.9 / (1 + np.exp(-z))


class Camera:
    """Broad sensitivities (the bench light in them), a matrix from a chart, shot and read noise.

    Its error on the chart is ΔE00 1.0, as published for one camera and a
    3 x 3 matrix (0.99) and half of another's (1.95).
    """

    def __init__(self) -> None:
        self.sense = np.stack([_gauss(598, 34) + 0.08 * _gauss(448, 22), _gauss(545, 42), _gauss(452, 24)], axis=1)
        self.sense /= self.sense.sum(axis=0)
        patches = chart()
        self.matrix = np.linalg.lstsq(patches @ self.sense, to_linear(patches), rcond=None)[0]

    def photo(self, spectra: np.ndarray, *, seed: int, noise: float = 0.004, warp: np.ndarray | None = None) -> np.ndarray:
        """Linear sRGB (H, W, 3) float32, 0..1; ``warp`` (3, 3) takes the scene to the photograph."""
        raw = (spectra @ self.sense).astype(np.float32)
        if warp is not None:
            raw = cv2.warpPerspective(raw, warp, raw.shape[1::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        raw = cv2.GaussianBlur(raw, (0, 0), 0.6)
        rng = np.random.default_rng(seed)
        raw = raw + rng.standard_normal(raw.shape) * noise * np.sqrt(np.maximum(raw, 0) + 0.01)
        return np.clip(raw @ self.matrix, 0, 1).astype(np.float32)


def true_lab(spectra: np.ndarray) -> np.ndarray:
    """CIE Lab (..., 3), D65, of spectra (..., N)."""
    return linear_to_lab(to_linear(spectra))


def patches(values: np.ndarray, cell: int) -> np.ndarray:
    """Means (rows, columns, n) over squares of ``cell`` pixels."""
    rows, columns = values.shape[0] // cell, values.shape[1] // cell
    return values[:rows * cell, :columns * cell].reshape(rows, cell, columns, cell, -1).mean(axis=(1, 3))


def moved(size: tuple[int, int], *, turn: float = 1.2, shift: tuple[float, float] = (7.3, -4.6), keystone: float = 2e-5) -> np.ndarray:
    """How a second photograph of (H, W) lies against the first: turned, shifted, a little askew."""
    height, width = size
    matrix = np.vstack([cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1.01), [0, 0, 1]])
    matrix[:2, 2] += shift
    matrix[2, 0] = keystone
    return matrix
