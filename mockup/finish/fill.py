"""Grain fill: paste packed into the pores, clear or coloured."""

from __future__ import annotations

import numpy as np

from .steps import Coat, Finish, GrainFill, Paint

__all__ = ["filled", "pore_depth"]


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
    # Paste lies beside the wood, not mixed with it: the light of both adds up by area.
    return (1 - share) * inside + share * colour


# Coats after which a pore of usual size has sunk to a third: film levels slowly over open grain. By judgement.
LEVELS_IN = 7.0


def pore_depth(finish: Finish) -> float:
    """How much of the pores' relief is left in the last surface, 1 open grain, 0 a level film.

    Filler takes its amount of it, every coat a little; oil that is wiped off
    and stays in the wood levels nothing. For the relief of a picture.
    """
    depth = 1.0
    for step in finish.steps:
        match step:
            case GrainFill(amount=amount):
                depth *= 1 - 0.9 * amount  # filler shrinks a little
            case Coat(film=film, coats=coats) if film.name != "oil":
                depth *= float(np.exp(-coats / LEVELS_IN))
            case Paint(cover=cover):
                depth *= float(np.exp(-2 * cover / LEVELS_IN))
    return depth
