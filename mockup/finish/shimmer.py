"""Shimmer and colour apart: how much of a board's local detail is light on tilted fibres.

A photograph shows both. Shimmer changes all bands alike, as a lamp would;
colour of the wood (latewood, streaks, pores) changes the bands as more
absorber does, blue most in pale wood. The way the bands of a board change
with its detail tells one share from the other. Dye covers colour but not
shimmer, so this share decides whether figure stays alive under a dark dye.
"""

from __future__ import annotations

import numpy as np

__all__ = ["LEAST", "LIMIT", "MOST", "gain", "lightness_of_shimmer", "share", "spread"]

Array = np.ndarray

WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
# What is believed of a board that tells nothing: from the prototype's known
# split of figured maple, 0.5 to 0.7; and how far real boards may be from it.
USUAL, LEAST, MOST = 0.6, 0.42, 0.85
# How well the bands of a photograph keep their ratios (camera, white balance,
# scattering of the wood); sets how much the measured share is trusted.
_TRUST = 0.12
# Shimmer swings so many standard deviations at most; what is darker is a pore or a streak.
LIMIT = 3.0


def share(roots: Array, detail: Array) -> float:
    """Share of local lightness detail that is shimmer, LEAST..MOST.

    roots   (N, 3) cube roots of linear reflectance of a sample of the board.
    detail  (N,) w of the same places.

    Kubelka-Munk gives the direction of colour: d ln R = -(1 - R) / (1 + R)
    d ln(K/S); shimmer has the same d ln R in all bands. Blend of the two that
    fits best, drawn toward USUAL where both look alike (dark or grey wood).
    """
    mean = roots.mean(axis=0, dtype=np.float64)
    w = detail.astype(np.float64)
    inside = np.abs(w) < LIMIT * spread(detail)  # figure, not pores
    if inside.sum() < 100:
        return USUAL
    w = w[inside] - w[inside].mean()
    power = float(w @ w)
    if power < 1e-12 * w.size:
        return USUAL
    x = roots[inside] - mean
    response = (x * w[:, None]).sum(axis=0) / power / mean       # d ln R / 3 per unit of w
    response /= WEIGHTS @ (response * mean) / (WEIGHTS @ mean)   # 1 in lightness
    absorber = (1 - mean**3) / (1 + mean**3)
    absorber /= WEIGHTS @ (absorber * mean) / (WEIGHTS @ mean)
    apart = absorber - 1
    measured = 1 - float((response - 1) @ apart) / max(float(apart @ apart), 1e-9)
    trust = float(apart @ apart) / (float(apart @ apart) + _TRUST**2 * 3)
    return float(np.clip(trust * measured + (1 - trust) * USUAL, LEAST, MOST))


def spread(detail: Array) -> float:
    """Robust standard deviation of local detail (N,)."""
    middle = np.median(detail)
    return max(float(1.4826 * np.median(np.abs(detail - middle))), 1e-4)


def lightness_of_shimmer(w: Array, share: float, sd: float) -> Array:
    """The part of local detail w (any shape) that is shimmer: its share, levelling off at LIMIT standard deviations."""
    return share * LIMIT * sd * np.tanh(w / (LIMIT * sd))


def gain(shimmer: Array, lightness: Array) -> Array:
    """Gain of light, any shape, of shimmer and lightness given as cube roots of reflectance."""
    return np.maximum(1 + shimmer / np.maximum(lightness, 0.02), 0.05) ** 3
