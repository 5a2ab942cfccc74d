"""The effect of a finish on reflectance, place by place.

The wood is an optically thick scatterer (Kubelka-Munk) behind a surface
(Saunderson). Stains absorb in it; a film closes the surface and then absorbs
on top of it; paint lies over it. Nothing here knows light or sheen: the
result is what a 45/0 instrument would read. Outside it speaks linear sRGB;
within, it works in wider bands (``bands``).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..colour.spaces import lab_to_linear
from .bands import THREE, Medium
from .coat import coats_pass
from .fill import filled
from .kubelka import film_over, ks_from_reflectance
from .sandback import sanded
from .stain import dose_at, film_density, hiding, stained
from .steps import Burst, Coat, GrainFill, Paint, RubbedEdge, SandBack, Stain, StainStep, Step, Tint
from .surface import dry, internal, under_film

__all__ = ["apply_steps"]

Array = np.ndarray

# Figure gains contrast when a film goes on (curved grain most: white-oak
# iron-sulphate study 2023; Tashiro and Nakamura 2013). The gain of its shimmer
# per unit of wet strength is from memory: a third more under a usual film.
POP = 0.9


@dataclass(frozen=True, eq=False)
class _Wood:
    """What has been done so far to a set of places."""

    ks: Array                                   # the wood's own K/S
    uptake: Array
    shimmer: Array                              # gain of light by the tilt of the fibres
    pores: Array                                # 0..1
    doses: tuple[tuple[Stain, Array], ...] = ()
    fills: tuple[GrainFill, ...] = ()
    wet: float | None = None                    # of the first film; None while the wood is open
    over: Array = field(default_factory=lambda: np.ones(1))  # share of light that all film on top lets through
    paint: Array | None = None                  # reflectance at the last coat of paint, films since then in ``over``
    medium: Medium = THREE

    @property
    def sealed(self) -> bool:
        return self.wet is not None or self.paint is not None

    def seen(self) -> Array:
        """Reflectance (..., 3) as it stands."""
        if self.paint is not None:
            return self.paint * self.over
        inside = stained(self.ks, list(self.doses))
        for fill in self.fills:
            colour = None if fill.lab is None else internal(self.colour(fill.lab))
            inside = filled(inside, self.pores, colour, fill.amount)
        body = dry(inside) if self.wet is None else under_film(inside, self.wet)
        power = (1 + POP * (self.wet or 0.0)) * hiding(list(self.doses))
        return body * (self.shimmer ** power)[..., None] * self.over

    def colour(self, lab: tuple[float, float, float]) -> Array:
        """Reflectance per band of a paint or paste of that colour."""
        return np.clip(self.medium.into(lab_to_linear(np.array(lab))), 0.001, 0.985)

    def bare(self) -> _Wood:
        """The same places rubbed down to the wood."""
        return replace(self, doses=(), fills=(), wet=None, over=np.ones(1), paint=None)


def _done(wood: _Wood, step: Step, weight: Array | float) -> _Wood:
    """The wood after one step; ``weight`` (...) is the depth of a burst."""
    match step:
        case StainStep(stain=stain, strength=strength) if not wood.sealed:
            return replace(wood, doses=(*wood.doses, (stain, dose_at(stain, strength, wood.uptake, wood.pores))))
        case StainStep(stain=stain, strength=strength) | Tint(stain=stain, strength=strength):
            return replace(wood, over=wood.over * np.exp(-strength * film_density(stain, wood.medium)))
        case SandBack(amount=amount) if not wood.sealed:
            return replace(wood, doses=tuple((s, dose * sanded(wood.uptake, amount)) for s, dose in wood.doses))
        case SandBack():
            return wood
        case GrainFill() if wood.paint is None:
            return replace(wood, fills=(*wood.fills, step))
        case GrainFill():
            return wood
        case Coat(film=film, coats=coats):
            wet = film.wet if coats and not wood.sealed else wood.wet
            return replace(wood, wet=wet, over=wood.over * coats_pass(film, coats))
        case Burst(stain=stain, strength=strength, rubbed=True) if not wood.sealed:
            # Depth is what the eye sees: a little dye colours much, so a fade to the eye is a steeper one of dye.
            return replace(wood, doses=(*wood.doses, (stain, np.square(weight) * dose_at(stain, strength, wood.uptake, wood.pores))))
        case Burst(stain=stain, strength=strength):
            depth = np.asarray(weight)[..., None] * strength * film_density(stain, wood.medium)
            return replace(wood, over=wood.over * np.exp(-depth))
        case Paint(lab=lab, cover=cover):
            # Thinned paint wets the wood as a film does.
            below = replace(wood, wet=0.33) if not wood.sealed else wood
            return replace(wood, paint=film_over(below.seen(), wood.colour(lab), cover), over=np.ones(1))
    raise TypeError(f"not a finish step: {step!r}")


def _run(wood: _Wood, steps: tuple[Step, ...], edges: tuple[Array | float, ...]) -> Array:
    for i, step in enumerate(steps):
        here = 0.0
        if isinstance(step, Burst | RubbedEdge):
            here, edges = (edges[0], edges[1:]) if edges else (0.0, ())
        if isinstance(step, RubbedEdge):
            if not np.any(here):
                continue
            through = step.amount * np.asarray(here)[..., None]
            rest = steps[i + 1:]
            return (1 - through) * _run(wood, rest, edges) + through * _run(wood.bare(), rest, edges)
        wood = _done(wood, step, here)
    return wood.seen()


def apply_steps(steps: tuple[Step, ...], bare: Array, uptake: Array, burst: tuple[Array | float, ...] = (), *,
                shimmer: Array | float = 1.0, pores: Array | float = 0.0, medium: Medium = THREE) -> Array:
    """Bare reflectance to finished reflectance.

    steps    first applied first.
    bare     (..., 3) linear sRGB reflectance, without shimmer.
    uptake   (...) how much stain this place takes up, mean 1.
    burst    one weight (...) 0..1 for each Burst and RubbedEdge, in order; () leaves them out.
    shimmer  (...) gain of the light by the tilt of the fibres, about 1. Dye leaves
             it alone, pigment and paint cover it, a film makes it stronger.
    pores    (...) 0..1, how much of a place is pore.
    medium   the bands to work in; the values of the steps must be for them.

    Returns (..., 3) float64, linear sRGB. Stain applied over a film lies in
    the film: it tints as a translucent coat and follows no figure.
    """
    bare = np.asarray(bare, np.float64)
    places = bare.shape[:-1]
    if not steps:
        return bare * np.asarray(shimmer, np.float64)[..., None]
    uptake, shimmer, pores = (np.broadcast_to(np.asarray(v, np.float64), places) for v in (uptake, shimmer, pores))
    ks = ks_from_reflectance(internal(np.maximum(medium.into(bare), 1e-4)))
    return medium.out(_run(_Wood(ks, uptake, shimmer, pores, medium=medium), steps, burst))
