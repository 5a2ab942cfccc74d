"""Clear and tinted coats over the wood (Beer-Lambert)."""

from __future__ import annotations

import numpy as np

from .steps import Film

__all__ = ["coats_pass"]


def coats_pass(film: Film, coats: float) -> np.ndarray:
    """Share of light per band (3,) that ``coats`` of a film let through on the way in and out: exp(-2 n a)."""
    return np.exp(-2 * coats * np.array(film.absorb))
