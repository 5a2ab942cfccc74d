"""Sheen: gloss units at 60 degrees, the roughness that gives them, and the words for them."""

from __future__ import annotations

import numpy as np

from ..errors import MockupError

__all__ = ["MAX_GLOSS", "fresnel", "roughness", "sheen_words"]

MAX_GLOSS = 95.0

# GGX alpha against gloss units at 60 degrees: ISO 2813 geometry integrated for
# a film of n = 1.5 without a body, referenced to glass of n = 1.567. The ends
# are extended: a smooth film of n = 1.5 stops at 89 GU.
_GLOSS = np.array([0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 25.0, 30.0, 35.0, 50.0, 60.0, 70.0, 80.0, 86.2, 89.0, 95.0])
_ALPHA = np.array([0.55, 0.40, 0.30, 0.25, 0.188, 0.124, 0.074, 0.061, 0.051, 0.043, 0.028, 0.021, 0.015, 0.0093,
                   0.005, 0.003, 0.002])

# MPI gloss levels G1 to G7 (Master Painters Institute) by their 60 degree
# readings; where two levels overlap the name of the higher one starts at its
# minimum. "Satin" is sold from 6 to 40 GU, so the number always goes with it.
_WORDS = ((5, "dead matt"), (10, "matt"), (20, "soft satin"), (35, "satin"), (70, "semi-gloss"), (85, "gloss"))


def roughness(gloss: float) -> float:
    """GGX alpha of a surface that reads ``gloss`` GU at 60 degrees."""
    if not 0 <= gloss <= MAX_GLOSS:
        raise MockupError(f"Sheen is {gloss:g}.",
                          fix=f"Use gloss units at 60 degrees, 0 (dead matt) to {MAX_GLOSS:g} (mirror gloss).")
    return float(np.exp(np.interp(np.log(max(gloss, 0.5)), np.log(_GLOSS), np.log(_ALPHA))))


def fresnel(cosine: np.ndarray, n: float = 1.5) -> np.ndarray:
    """Unpolarised reflectance of a smooth surface of index n, any shape, from the cosine of incidence."""
    cosine = np.clip(cosine, 0, 1)
    c = np.sqrt(1 - (1 - cosine**2) / n**2)
    s, p = (cosine - n * c) / (cosine + n * c), (n * cosine - c) / (n * cosine + c)
    return (s * s + p * p) / 2


def sheen_words(gloss: float) -> str:
    """A word for gloss units at 60 degrees; say the number with it."""
    for limit, word in _WORDS:
        if gloss < limit:
            return word
    return "high gloss"
