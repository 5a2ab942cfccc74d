"""From what the camera saw to reflectance: a matrix fitted to the 24-patch target.

A 3 x 3 matrix, or the order-2 root-polynomial of Finlayson, Mackiewicz and
Hurlbert (2015, IEEE Trans. Image Processing 24(5), 1460-1470), whose terms
all scale with exposure. Higher orders overfit 24 patches and are not offered.
Each fit is judged on patches it did not see.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab

__all__ = ["Correction", "fit_correction", "terms"]

Array = np.ndarray

_WIN = 0.90  # the longer fit must bring the error below this share of the matrix's


@dataclass(frozen=True, slots=True)
class Correction:
    """How camera colours become reflectance.

    kind      "matrix" or "root-polynomial".
    weights   (3, n) over ``terms``.
    error     mean ΔE00 of patches left out of the fit, one by one; ``worst`` the largest.
    used      number of patches; the others were clipped.
    """

    kind: str
    weights: Array
    error: float
    worst: float
    used: int

    def apply(self, linear: Array) -> Array:
        """Even camera light (..., 3) to linear sRGB reflectance."""
        return terms(linear, self.kind) @ self.weights.T.astype(np.asarray(linear).dtype)


def terms(linear: Array, kind: str) -> Array:
    """R, G, B and, for the root-polynomial, the roots of RG, GB, RB: (..., 3) or (..., 6)."""
    if kind == "matrix":
        return linear
    r, g, b = (np.maximum(linear[..., k], 0) for k in range(3))
    return np.concatenate([linear, np.stack([np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], -1)], -1)


def fit_correction(seen: Array, known: Array, usable: Array) -> Correction:
    """Fit both kinds to patches (24, 3) of even camera light and known linear sRGB, and keep the better.

    usable  (24,) bool; at least 12 must be.
    """
    fits = []
    for kind in ("matrix", "root-polynomial"):
        x, y = terms(seen[usable], kind), known[usable]
        away = np.stack([_solve(np.delete(x, k, 0), np.delete(y, k, 0)) @ x[k] for k in range(len(x))])
        off = ciede2000(linear_to_lab(np.maximum(away, 1e-4)), linear_to_lab(np.maximum(y, 1e-4)))
        fits.append(Correction(kind, _solve(x, y), float(off.mean()), float(off.max()), len(x)))
    matrix, longer = fits
    return longer if longer.error < _WIN * matrix.error and longer.worst < 1.5 * matrix.worst else matrix


def _solve(x: Array, y: Array) -> Array:
    """Weights (3, n) that take x (N, n) to y (N, 3); a small error in a dark patch counts as the eye counts it."""
    weight = (y.mean(1).clip(0.01) ** (-2 / 3))[:, None]
    return np.linalg.lstsq(x * weight, y * weight, rcond=None)[0].T
