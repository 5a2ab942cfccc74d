"""The effect of a finish on reflectance, place by place.

The wood is an optically thick scatterer (Kubelka-Munk), its stains absorb in
it, a film wets it and then absorbs on top of it. Nothing here knows light or
sheen: the result is what a 45/0 instrument would read.
"""

from __future__ import annotations

import numpy as np

from ..colour.spaces import lab_to_linear
from .steps import Burst, Coat, Paint, SandBack, Stain, StainStep, Step

__all__ = ["apply_steps", "burst_density", "burst_weight", "ks_from_reflectance", "reflectance_from_ks",
           "sanded", "wet_out"]

Array = np.ndarray

# K/S has a pole at 0 and a zero at 1: saturated woods and blown pixels stay finite.
FLOOR, CEILING = 0.004, 0.97
# The pale wood on which a stain's look is judged when it is sprayed as a film.
PALE = np.array([0.66, 0.55, 0.40])


def ks_from_reflectance(r: Array) -> Array:
    """K/S of an opaque layer of reflectance r, any shape (Kubelka and Munk 1931; Allen 1980 eq. 20)."""
    r = np.clip(r, FLOOR, CEILING)
    return (1 - r) ** 2 / (2 * r)


def reflectance_from_ks(ks: Array) -> Array:
    """Reflectance of an opaque layer of K/S, any shape (Allen 1980 eq. 19)."""
    return 1 + ks - np.sqrt(ks * ks + 2 * ks)


def wet_out(r: Array, k: float) -> Array:
    """Reflectance once a film has closed the index step between wood and air.

    Saunderson 1942 without the surface reflection: light that the wood sends
    out is turned back at the film's surface with probability k and meets the
    wood again. k = 0 leaves dry wood; 0.3 to 0.36 is what clear coats do.
    """
    return (1 - k) * r / (1 - k * r)


def sanded(uptake: Array, amount: float) -> Array:
    """Share of a stain that is left after sanding back, 0..1, from uptake (mean 1).

    A soft threshold: what lies shallow goes, what soaked in stays. A hard one
    turns figure into zebra stripes.
    """
    if amount <= 0:
        return np.ones_like(uptake)
    s = 0.75 * amount
    left = 0.5 * np.logaddexp(0, 2 * (uptake - s) / (1 - s) - 1.2)
    # Blend by amount, so that a light pass takes little everywhere.
    return np.clip(1 - amount + amount * left / np.maximum(uptake, 0.05), 0, 1)


def burst_weight(distance: Array, width: float, edge: float) -> Array:
    """Depth of a burst's colour, 0..1, at ``distance`` mm from the edge (smoothstep from width to edge)."""
    x = np.clip((width - distance) / max(width - edge, 1e-6), 0, 1)
    return x * x * (3 - 2 * x)


def burst_density(stain: Stain) -> Array:
    """Natural-log density per band (3,) of a stain sprayed as a translucent film at strength 1.

    Chosen so that over pale wood the film looks as the stain does in the wood.
    """
    stained = reflectance_from_ks(ks_from_reflectance(PALE) + np.array(stain.absorb))
    return np.log(PALE / stained)


def _stain_ks(bare_ks: Array, doses: list[tuple[Stain, Array]]) -> Array:
    absorb, scatter = bare_ks, np.ones(3)
    for stain, dose in doses:
        absorb = absorb + dose[..., None] * np.array(stain.absorb)
        scatter = scatter + dose[..., None] * np.array(stain.hide)
    return absorb / scatter


def apply_steps(steps: tuple[Step, ...], bare: Array, uptake: Array, burst: tuple[Array, ...] = ()) -> Array:
    """Bare reflectance to finished reflectance.

    steps   first applied first.
    bare    (..., 3) linear sRGB reflectance.
    uptake  (...) how much stain this place takes up, mean 1.
    burst   one weight (...) 0..1 for each Burst step, in order; () leaves bursts out.

    Returns (..., 3) float64, linear sRGB. Stain applied over a film lies in
    the film: it tints as a translucent coat and follows no figure.
    """
    r = np.asarray(bare, np.float64)
    bare_ks = ks_from_reflectance(r)
    doses: list[tuple[Stain, Array]] = []
    sealed, bursts = False, 0
    for step in steps:
        match step:
            case StainStep(stain=stain, strength=strength) if not sealed:
                place = np.maximum(1 + stain.uptake * (uptake - 1), 0)
                doses.append((stain, strength * place))
                r = reflectance_from_ks(_stain_ks(bare_ks, doses))
            case StainStep(stain=stain, strength=strength):
                r = r * np.exp(-strength * burst_density(stain))
            case SandBack(amount=amount) if not sealed and doses:
                doses = [(stain, dose * sanded(uptake, amount)) for stain, dose in doses]
                r = reflectance_from_ks(_stain_ks(bare_ks, doses))
            case SandBack():
                pass
            case Coat(film=film, coats=coats):
                if coats and not sealed:
                    r, sealed = wet_out(r, film.wet), True
                r = r * np.exp(-2 * coats * np.array(film.absorb))
            case Burst(stain=stain, strength=strength):
                if burst:
                    r = r * np.exp(-strength * burst[bursts][..., None] * burst_density(stain))
                bursts += 1
            case Paint(lab=lab, cover=cover):
                paint = np.clip(lab_to_linear(np.array(lab)), 0, 1)
                r = (1 - cover) * r + cover * paint
                sealed = True
            case _:
                raise TypeError(f"not a finish step: {step!r}")
    return r
