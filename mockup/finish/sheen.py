"""Sheen: gloss units at 60 degrees, the roughness that gives them, and the words for them."""

from __future__ import annotations

import numpy as np

from ..errors import MockupError
from .surface import fresnel

__all__ = ["MAX_GLOSS", "fresnel", "mpi_level", "roughness", "sheen_label", "sheen_words"]

MAX_GLOSS = 95.0

# GGX alpha that reads these gloss units at 60 degrees on ``glossmeter.reading``
# (ISO 2813 geometry, film of n = 1.5, no body). A smooth film of n = 1.5 stops
# at 89 GU; above that only a film of higher index gets, and alpha hardly matters.
_GLOSS = np.array([0.5, 1, 2, 3, 5, 7, 10, 14, 20, 25, 30, 35, 42, 50, 60, 70, 75, 80, 83, 85, 87, 88.5, 95])
_ALPHA = np.array([0.561, 0.417, 0.303, 0.247, 0.188, 0.155, 0.124, 0.0978, 0.0738, 0.0605, 0.0508, 0.0432, 0.0349,
                   0.0278, 0.0208, 0.0149, 0.0121, 0.00929, 0.0074, 0.00597, 0.00421, 0.00228, 0.0012])

# MPI gloss levels G1 to G7 (Master Painters Institute) by their 60 degree
# readings; where two levels overlap the name of the higher one starts at its
# minimum. "Satin" is sold from 6 to 40 GU, so the number always goes with it.
_WORDS = ((5, "dead matt"), (10, "matt"), (20, "soft satin"), (35, "satin"), (70, "semi-gloss"), (85, "gloss"))


def roughness(gloss: float) -> float:
    """GGX alpha of a surface that reads ``gloss`` GU at 60 degrees."""
    if not 0 <= gloss <= MAX_GLOSS:
        raise MockupError(f"Sheen is {gloss:g}.",
                          fix=f"Use gloss units at 60 degrees, 0 (dead matt) to {MAX_GLOSS:g} (mirror gloss).")
    # Straight in log alpha: over log gloss where matt, over gloss where it nears the ceiling.
    over = np.log(_GLOSS) if gloss < 50 else _GLOSS
    at = np.log(max(gloss, 0.5)) if gloss < 50 else gloss
    return float(np.exp(np.interp(at, over, np.log(_ALPHA))))


def mpi_level(gloss: float, at_85: float | None = None) -> str:
    """MPI gloss level, "G1" to "G7", of a reading at 60 degrees and, where known, the sheen at 85.

    Levels as printed: G1 at most 5 (85: 10), G2 at most 10 (85: 10 to 35), G3
    10 to 25 (85: 10 to 35), G4 20 to 35 (85: at least 35), G5 35 to 70, G6 70
    to 85, G7 above. Between 20 and 25 the 85 degree reading decides.
    """
    if gloss <= 5:
        return "G1"
    if gloss <= 10:
        return "G2"
    if gloss < 20 or (gloss <= 25 and at_85 is not None and at_85 < 35):
        return "G3"
    return "G4" if gloss < 35 else "G5" if gloss < 70 else "G6" if gloss <= 85 else "G7"


def sheen_words(gloss: float) -> str:
    """A word for gloss units at 60 degrees; say the number with it, as ``sheen_label`` does."""
    for limit, word in _WORDS:
        if gloss < limit:
            return word
    return "high gloss"


def sheen_label(gloss: float) -> str:
    """Word and number: "satin, 25 GU at 60°"."""
    return f"{sheen_words(gloss)}, {gloss:g} GU at 60°"
