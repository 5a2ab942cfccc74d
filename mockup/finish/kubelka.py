"""Kubelka-Munk: reflectance of layers that absorb and scatter."""

from __future__ import annotations

import numpy as np

__all__ = ["film_over", "finite_film", "ks_from_reflectance", "reflectance_from_ks"]

Array = np.ndarray

# K/S has a pole at 0 and a zero at 1: saturated woods and blown pixels stay finite.
FLOOR, CEILING = 0.001, 0.985


def ks_from_reflectance(r: Array) -> Array:
    """K/S of an opaque layer of reflectance r, any shape (Kubelka and Munk 1931; Allen 1980 eq. 20)."""
    r = np.clip(r, FLOOR, CEILING)
    return (1 - r) ** 2 / (2 * r)


def reflectance_from_ks(ks: Array) -> Array:
    """Reflectance of an opaque layer of K/S, any shape (Allen 1980 eq. 19)."""
    # The plain form 1 + q - sqrt(q² + 2q) loses all digits for large q.
    return 1 / (1 + ks + np.sqrt(ks * ks + 2 * ks))


def finite_film(k: float, s: float, x: float, ground: float) -> tuple[float, float, float]:
    """Reflectance over ``ground``, transmittance, and reflectance over black of a film (Kubelka 1948).

    k, s  absorption and scattering per unit thickness, s > 0; x thickness.
    """
    a = 1 + k / s
    b = np.sqrt(a * a - 1)
    coth = 1 / np.tanh(b * s * x)
    over = (1 - ground * (a - b * coth)) / (a - ground + b * coth)
    through = b / (a * np.sinh(b * s * x) + b * np.cosh(b * s * x))
    return float(over), float(through), float(1 / (a + b * coth))


def film_over(ground: Array, colour: Array, cover: float) -> Array:
    """Reflectance of ``ground`` (..., 3) under a paint of opaque reflectance ``colour`` (3,).

    cover  0..1: over black the film reaches this share of its full colour,
           which fixes its thickness (contrast ratio of a drawdown card).
    """
    if cover < 1e-6:  # nothing, and below it the formula divides by nothing
        return ground
    full = np.clip(colour, FLOOR, CEILING)
    if cover > 1 - 1e-9:
        return np.broadcast_to(full, ground.shape).copy()
    a = (1 / full + full) / 2
    bcoth = 1 / (cover * full) - a
    return (1 - ground * (a - bcoth)) / (a - ground + bcoth)
