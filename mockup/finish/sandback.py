"""Sand back: take colour off the dense parts and leave it where it soaked in."""

from __future__ import annotations

import numpy as np

__all__ = ["sanded"]


def sanded(uptake: np.ndarray, amount: float) -> np.ndarray:
    """Share of a stain, 0..1, that is left after sanding back where uptake is ``uptake`` (mean 1, any shape).

    amount  0 nothing, 1 all but what soaked in.

    A soft threshold: what lies shallow goes, what soaked in stays. A hard one
    turns figure into zebra stripes.
    """
    if amount <= 0:
        return np.ones_like(uptake)
    s = 0.75 * amount
    left = 0.5 * np.logaddexp(0, 2 * (uptake - s) / (1 - s) - 1.2)
    # Blend in, so that a light pass takes a little everywhere; the first passes take most.
    reached = 1 - (1 - amount) ** 2
    share = 1 - reached + reached * left / np.maximum(uptake, 0.05)
    return np.clip(share, 0, 1)
