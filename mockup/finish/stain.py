"""Dye and pigment in the wood, and the same colour carried in a film."""

from __future__ import annotations

import numpy as np

from .bands import THREE, Medium
from .kubelka import ks_from_reflectance, reflectance_from_ks
from .steps import Stain
from .surface import internal, under_film

__all__ = ["PALE", "dose_at", "film_density", "hiding", "stained"]

Array = np.ndarray

# The pale wood on which a stain's look is judged when it is sprayed as a film.
PALE = np.array([0.66, 0.55, 0.40])  # linear sRGB
PALE_WET = 0.33


# A wiped pigment packs into open pores: there it lies so many times as thick. By judgement.
LODGES = 6.0


def dose_at(stain: Stain, strength: float, uptake: Array, pores: Array | float = 0.0) -> Array:
    """Dose (...) of a stain at places of uptake (...), mean 1: even for uptake 0, all that the place drinks for 1.

    pores  (...) 0..1; a pigment, by how much of it scatters, lodges there.
    """
    dose = np.maximum(1 + stain.uptake * (uptake - 1), 0)
    if any(stain.hide):
        pigment = min(1.0, float(np.mean(stain.hide)))
        dose = dose * (1 + (LODGES - 1) * pigment * pores)
    return strength * dose


def stained(bare_ks: Array, doses: list[tuple[Stain, Array]]) -> Array:
    """Reflectance inside the wood (..., 3) from its own K/S (..., 3) and the doses (...) of its stains.

    Single-constant Kubelka-Munk: absorption and scattering of wood and stain
    add, in units of the wood's scattering. A dye only absorbs; a pigment
    scatters too, and so hides.
    """
    absorb, scatter = bare_ks, 1.0
    for stain, dose in doses:
        depth = np.asarray(dose)[..., None]
        if any(b != 1 for b in stain.bend):
            depth = depth ** np.array(stain.bend)
        absorb = absorb + depth * np.array(stain.absorb)
        if any(stain.hide):
            scatter = scatter + dose[..., None] * np.array(stain.hide)
    return reflectance_from_ks(absorb / scatter)


def hiding(doses: list[tuple[Stain, Array]]) -> Array | float:
    """Share (...) of the scattered light that still comes from fibres, 1 under dyes alone: shimmer fades by it."""
    total = sum(dose * float(np.mean(stain.hide)) for stain, dose in doses if any(stain.hide))
    return 1 / (1 + total)


def film_density(stain: Stain, medium: Medium = THREE) -> Array:
    """Natural-log density per band (3,) of a stain sprayed as a translucent film at strength 1.

    Chosen so that over pale coated wood the film looks as the stain does in
    the wood; where a pigment lightens, the density is below 0.
    """
    wood = internal(medium.into(PALE))
    after = under_film(stained(ks_from_reflectance(wood), [(stain, np.ones(()))]), PALE_WET)
    return np.log(under_film(wood, PALE_WET) / after)
