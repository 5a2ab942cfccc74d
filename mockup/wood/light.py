"""Raking light on fibres: the moving highlight of figured wood.

After Marschner, Westin, Arbree and Moon, "Measuring and modeling the
appearance of finished wood", ACM Transactions on Graphics 24(3), 2005: the
light scattered by fibres lies on a cone about them; ``psi`` are the
inclinations of incoming and outgoing rays to the plane across the fibre.
"""

from __future__ import annotations

import numpy as np

from mockup.colour.spaces import lab_to_linear

__all__ = ["rake"]

Array = np.ndarray

INDEX = 1.5                # refractive index of the wood's surface layer
DIRECTION = (-0.25, 0.55)  # x and y of the unit vector towards the light


def rake(reflectance: Array, dip: Array, yaw: Array, strength: float, beta: float, lab: tuple) -> Array:
    """Reflectance lit by a low window, (H, W, 3) float32 linear.

    ``dip``       fibre angle out of the plane, degrees (H, W).
    ``yaw``       direction of the fibre in the plane, radians from the y axis.
    ``lab``       mean colour of the wood: the fibres return a share of it.
    ``strength``  0..1, share of light returned by the fibres; ``beta`` width, degrees.
    """
    phi = np.radians(dip)
    lx, ly = DIRECTION[0] / INDEX, DIRECTION[1] / INDEX
    lz = np.sqrt(1 - lx * lx - ly * ly)
    ux, uy, uz = np.sin(yaw) * np.cos(phi), np.cos(yaw) * np.cos(phi), np.sin(phi)
    psi_i = np.arcsin(np.clip(lx * ux + ly * uy + lz * uz, -1, 1))
    psi_r = phi
    width = np.radians(beta)
    lobe = np.exp(-0.5 * ((psi_i + psi_r) / width) ** 2) / np.cos(0.5 * (psi_r - psi_i)) ** 2
    plain = np.arcsin(ly)  # inclination on wood that lies flat
    level = np.exp(-0.5 * (plain / np.hypot(width, np.radians(4))) ** 2)
    # End grain drinks the light, blue first.
    tilt = dip / 15
    sink = np.clip(0.10 * tilt + 0.14 * np.abs(tilt), -0.1, 0.6)[..., None]
    albedo = reflectance * np.exp(-sink * np.float32([0.6, 1.0, 1.6]))
    mean = lab_to_linear(np.asarray(lab, np.float64)).mean().astype(np.float32)
    fibre = strength * albedo ** 0.7 * mean ** np.float32(0.3) * (lobe - level)[..., None]
    return np.clip(albedo + fibre, 0, 1).astype(np.float32)
