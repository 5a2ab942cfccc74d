"""The surface of wood: Fresnel, Saunderson, and what a film does to it.

Light that has been in the wood must get out again. At a smooth film most of
it is turned back and meets the wood once more, so a coated board is darker
and mostly stronger in colour. Dry, sanded wood lets it out more easily, and
its torn fibres add a little white light of their own, a veil; the film takes
that veil away, which is what makes dark woods bloom.
"""

from __future__ import annotations

import numpy as np

__all__ = ["DRY", "VEIL", "diffuse_fresnel", "dry", "fresnel", "internal", "internal_from_measured",
           "internal_return", "lekner_dorf_wet", "measured_from_internal", "under_film", "wet_out"]

Array = np.ndarray

# Diffuse light turned back inside dry wood. A film of n = 1.5 turns back 0.596
# (``internal_return``); a film of wet strength 0.35 then means 1 - 0.404 / (1 - DRY).
DRY = 0.38
# White light scattered by the fibres of a dry, sanded face; half of a smooth
# face's 4 %, since much of it leaves toward the mirror direction. From memory:
# chosen so that walnut and rosewood keep or gain a little chroma under oil.
VEIL = 0.02
# A hole has no fibres that scatter: below about this reflectance the veil fades.
_VEIL_FADES = 0.004


def fresnel(cosine: Array | float, n: float = 1.5) -> Array:
    """Unpolarised reflectance of a smooth surface of index n, any shape, from the cosine of incidence in air."""
    cosine = np.clip(cosine, 0, 1)
    c = np.sqrt(1 - (1 - cosine**2) / n**2)
    s, p = (cosine - n * c) / (cosine + n * c), (n * cosine - c) / (n * cosine + c)
    return (s * s + p * p) / 2


def diffuse_fresnel(n: float) -> float:
    """Reflectance of a smooth surface of index n > 1 for diffuse light from outside (Lekner and Dorf 1988, closed form)."""
    m = n * n
    return float((3 * m + 2 * n + 1) / (3 * (n + 1) ** 2) - 2 * n**3 * (m + 2 * n - 1) / ((m + 1) ** 2 * (m - 1))
                 + m * (m + 1) / (m - 1) ** 2 * np.log(n)
                 - m * (m - 1) ** 2 / (m + 1) ** 3 * np.log(n * (n + 1) / (n - 1)))


def internal_return(n: float) -> float:
    """Share of diffuse light inside a medium of index n that its smooth surface turns back: 1 - (1 - R) / n²."""
    return 1 - (1 - diffuse_fresnel(n)) / n**2


def lekner_dorf_wet(albedo: Array, n: float) -> Array:
    """Albedo, any shape, of a surface of dry ``albedo`` under a liquid of index n, light near the normal.

    Lekner and Dorf 1988, Applied Optics 27(7), 1278-1280, first effect only:
    A = (1 - Rl) a / (1 - p (1 - a)). The upper bound of what a clear coat does.
    """
    a, front = 1 - np.asarray(albedo, np.float64), ((n - 1) / (n + 1)) ** 2
    return 1 - (1 - front) * a / (1 - internal_return(n) * (1 - a))


def measured_from_internal(internal: Array, k1: float, k2: float) -> Array:
    """Reflectance as measured from that inside the surface, any shape (Saunderson 1942; Allen 1980 eq. 24)."""
    return k1 + (1 - k1) * (1 - k2) * internal / (1 - k2 * internal)


def internal_from_measured(measured: Array, k1: float, k2: float) -> Array:
    """Reflectance inside the surface from that measured, any shape (Saunderson 1942; Allen 1980 eq. 26)."""
    return (measured - k1) / ((1 - k1) * (1 - k2) + k2 * (measured - k1))


def wet_out(r: Array, k: float) -> Array:
    """Body reflectance, any shape, once a film has closed the step between wood and air.

    Saunderson's form for the step from dry to coated: R / (1 - R) becomes
    (1 - k) times as much. k = 0 leaves dry wood; 0.30 to 0.36 is what clear
    coats do.
    """
    return (1 - k) * r / (1 - k * r)


def internal(bare: Array) -> Array:
    """Reflectance inside dry wood, any shape, from what is seen of it: veil off, then Saunderson backwards."""
    room = bare - _VEIL_FADES - VEIL
    body = (room + np.sqrt(room * room + 4 * _VEIL_FADES * bare)) / 2
    return internal_from_measured(body, 0.0, DRY)


def dry(inside: Array) -> Array:
    """What is seen of dry wood, any shape, from the reflectance inside; undoes ``internal``."""
    body = measured_from_internal(inside, 0.0, DRY)
    return body + VEIL * body / (body + _VEIL_FADES)


def under_film(inside: Array, wet: float) -> Array:
    """What is seen of wood under a film of that wet strength, glare excluded, any shape.

    The veil goes with the first film; a film that hardly wets (below 0.25)
    leaves some of it.
    """
    body = wet_out(measured_from_internal(inside, 0.0, DRY), wet)
    left = VEIL * max(0.0, 1 - wet / 0.25)
    return body + left * body / (body + _VEIL_FADES) if left else body
