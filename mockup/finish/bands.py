"""The three bands in which the engine works: wide primaries, so that no real colour of stained wood falls outside.

Products of three bands stand for products of spectra. They do so better the
less the bands overlap (Ward and Eydelberg-Vileshin 2002, "Picture perfect RGB
rendering using spectral prefiltering and sharp color primaries"), and a
strong blue or amber dye would need negative amounts of an sRGB primary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..colour.light import D65, xy_to_xyz
from ..colour.spaces import SRGB_TO_XYZ

__all__ = ["Medium", "THREE", "from_bands", "to_bands"]

Array = np.ndarray


def _matrix() -> Array:
    # Primaries of Rec. ITU-R BT.2020, white D65.
    primaries = np.stack([xy_to_xyz(0.708, 0.292), xy_to_xyz(0.170, 0.797), xy_to_xyz(0.131, 0.046)], axis=1)
    return primaries * np.linalg.solve(primaries, D65)


_TO_BANDS = np.linalg.solve(_matrix(), SRGB_TO_XYZ)
_TO_BANDS /= _TO_BANDS.sum(axis=1, keepdims=True)  # white is white to the last digit
_FROM_BANDS = np.linalg.inv(_TO_BANDS)


def to_bands(linear: Array) -> Array:
    """Linear sRGB (..., 3) to the engine's bands, red, green, blue; white stays white."""
    return np.asarray(linear, np.float64) @ _TO_BANDS.T


def from_bands(bands: Array) -> Array:
    """The engine's bands (..., 3) to linear sRGB; may leave 0..1."""
    return bands @ _FROM_BANDS.T


@dataclass(frozen=True, eq=False)
class Medium:
    """In how many bands the engine works: ``into`` takes linear sRGB (..., 3) to them, ``out`` back.

    Stains and films must carry as many values per band.
    """

    into: Callable[[Array], Array]
    out: Callable[[Array], Array]


THREE = Medium(to_bands, from_bands)
