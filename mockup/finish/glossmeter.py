"""A glossmeter, simulated: what ISO 2813 would read off a microfacet surface.

Collimated light from an extended source falls on the surface at 20, 60 or 85
degrees; what a rectangular receptor around the mirror direction catches is
compared with polished black glass of n = 1.567, which reads 100.
"""

from __future__ import annotations

import numpy as np

from .surface import fresnel

__all__ = ["APERTURES", "STANDARD", "gloss_ceiling", "reading"]

STANDARD = 1.567  # ISO 2813: index of the black glass that reads 100 GU
# Receptor (in the plane of incidence, across it) and source in degrees: ISO 2813 and ASTM D523, from memory.
APERTURES = {20: (1.80, 3.6), 60: (4.4, 11.7), 85: (4.0, 6.0)}
SOURCE = (0.75, 2.5)


def gloss_ceiling(n: float, angle: float = 60) -> float:
    """What a perfectly smooth film of index n over black reads, in gloss units."""
    c = np.cos(np.radians(angle))
    return float(100 * fresnel(c, n) / fresnel(c, STANDARD))


def reading(alpha: float, *, angle: int = 60, n: float = 1.5, body: float = 0.0, fine: int = 1) -> float:
    """Gloss units that a surface of GGX width ``alpha`` reads at 20, 60 or 85 degrees.

    n      index of the film.
    body   diffuse reflectance as seen through the film, which adds about 2.5 GU per unit at 60 degrees.
    fine   more samples: 2 doubles each way.

    The lobe is GGX with height-correlated Smith masking (Heitz 2014),
    sampled evenly over half vectors; no random numbers.
    """
    theta = np.radians(angle)
    rings, spokes = 500 * fine, 120 * fine
    # Half vectors that carry equal shares of D cos: tan² = alpha² u / (1 - u).
    u = (np.arange(rings) + 0.5) / rings
    tan = alpha * np.sqrt(u / (1 - u))
    cos_h = 1 / np.sqrt(1 + tan * tan)
    sin_h = tan * cos_h
    phi = (np.arange(spokes) + 0.5) * (np.pi / spokes)  # the other half is its mirror
    # Turn every ring by a golden share, or rays line up with the receptor's edge.
    phi = phi[None, :] + ((np.arange(rings) * 0.6180339887) % 1)[:, None] * (np.pi / spokes)
    h = np.stack([sin_h[:, None] * np.cos(phi), sin_h[:, None] * np.sin(phi), np.broadcast_to(cos_h[:, None], phi.shape)])
    inside, across = np.radians(APERTURES[angle])
    mirror = np.array([np.sin(theta), 0.0, np.cos(theta)])
    along = np.array([np.cos(theta), 0.0, -np.sin(theta)])

    caught = mirrored = 0.0
    nodes, weights = np.polynomial.legendre.leggauss(5)
    for s, ws in zip(nodes * np.radians(SOURCE[0]) / 2, weights, strict=True):
        for a, wa in zip(nodes * np.radians(SOURCE[1]) / 2, weights, strict=True):
            # Direction to this point of the source.
            i = np.array([-np.sin(theta + s) * np.cos(a), np.sin(a), np.cos(theta + s) * np.cos(a)])
            ih = i[0] * h[0] + i[1] * h[1] + i[2] * h[2]
            o = 2 * ih * h - i[:, None, None]
            ahead = mirror[0] * o[0] + mirror[2] * o[2]
            seen = (np.abs(np.arctan2(along[0] * o[0] + along[2] * o[2], ahead)) <= inside / 2) \
                & (np.abs(np.arctan2(o[1], ahead)) <= across / 2) & (ih > 0) & (o[2] > 0)
            ih, io, ii = ih[seen], o[2][seen], i[2]
            share = fresnel(ih, n) * _smith(ii, io, alpha) * ih / (ii * h[2][seen])
            caught += ws * wa * share.sum() / phi.size
            mirrored += ws * wa * float(fresnel(ii, STANDARD))
    gloss = 100 * caught / mirrored
    if body:
        solid = 4 * np.sin(inside / 2) * (across / 2)
        gloss += 100 * body * np.cos(theta) / np.pi * solid / float(fresnel(np.cos(theta), STANDARD))
    return float(gloss)


def _smith(cos_i: np.ndarray | float, cos_o: np.ndarray, alpha: float) -> np.ndarray:
    # Height-correlated masking and shadowing, Heitz 2014 eq. 99.
    def slope(c: np.ndarray | float) -> np.ndarray:
        return (np.sqrt(1 + alpha**2 * (1 / np.square(c) - 1)) - 1) / 2

    return 1 / (1 + slope(cos_i) + slope(cos_o))
