"""Grain fill: paste packed into the pores, clear or coloured."""

from __future__ import annotations

import numpy as np

from .kubelka import ks_from_reflectance, reflectance_from_ks

__all__ = ["filled"]


def filled(inside: np.ndarray, pores: np.ndarray, colour: np.ndarray | None, amount: float) -> np.ndarray:
    """Reflectance inside the wood (..., 3) once its pores are filled.

    pores   (...) 0..1, how much of a place is pore.
    colour  (3,) reflectance of a coloured paste; None for a clear one, which
            changes only how the pore's walls are lit: half of its shadow goes.
    amount  0..1.
    """
    share = amount * pores[..., None]
    if colour is None:
        # A pore looks dark because it is a hole: filled with clear, it keeps the colour of
        # its walls, about that of the wood in shadow.
        return inside ** (1 - 0.35 * share)
    ks = (1 - share) * ks_from_reflectance(inside) + share * ks_from_reflectance(colour)
    return reflectance_from_ks(ks)
