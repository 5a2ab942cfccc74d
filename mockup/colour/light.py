"""White points and chromatic adaptation."""

from __future__ import annotations

import numpy as np

__all__ = ["BRADFORD", "D50", "D65", "ILLUMINANT_A", "adaptation", "xy_to_xyz"]


def xy_to_xyz(x: float, y: float) -> np.ndarray:
    """Chromaticity to XYZ (3,) with Y = 1."""
    return np.array([x / y, 1.0, (1 - x - y) / y])


# CIE 15, 2 degree observer.
D65 = xy_to_xyz(0.3127, 0.3290)
D50 = xy_to_xyz(0.3457, 0.3585)
ILLUMINANT_A = xy_to_xyz(0.44758, 0.40745)

# Lam 1985, as used by the ICC profile format.
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def adaptation(source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """Bradford matrix (3, 3) that takes XYZ seen under ``source`` to ``target`` (XYZ whites)."""
    gain = (BRADFORD @ np.asarray(target)) / (BRADFORD @ np.asarray(source))
    return np.linalg.inv(BRADFORD) @ np.diag(gain) @ BRADFORD
