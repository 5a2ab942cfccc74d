"""The CIE observer and some lights, every 10 nm, and what they make of a spectrum."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from ..colour.light import adaptation
from ..colour.spaces import WHITE, xyz_to_linear

__all__ = ["LIGHTS", "Observer", "observer", "to_linear"]

Array = np.ndarray

# By the names a maker uses; the columns of ``spectra.csv``.
LIGHTS = {"daylight": "D65", "warm lamp": "A", "LED": "LED-B3"}


@dataclass(frozen=True, eq=False)
class Observer:
    """``nm`` (N,), and per light ``weights`` (N, 3) that take a spectrum to XYZ with Y of white = 1."""

    nm: Array
    weights: dict[str, Array]

    def white(self, light: str) -> Array:
        """XYZ (3,) of a perfect white diffuser."""
        return self.weights[light].sum(axis=0)


@cache
def observer() -> Observer:
    """CIE 1931 2 degree observer under each light of LIGHTS."""
    text = files(__package__).joinpath("spectra.csv").read_text("utf-8")
    rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    values = np.array(rows[1:], np.float64)
    weights = {}
    for name, column in LIGHTS.items():
        w = values[:, 1:4] * values[:, rows[0].index(column), None]
        weights[name] = w / w[:, 1].sum()
    return Observer(values[:, 0], weights)


def to_linear(spectra: Array, light: str = "daylight") -> Array:
    """Reflectance spectra (..., N) to linear sRGB (..., 3) as they look under a light to an eye used to it.

    The light's white is adapted (Bradford) to that of sRGB, so that white
    stays white and only the change of colours is left.
    """
    sight = observer()
    matrix = adaptation(sight.white(light), WHITE)
    return xyz_to_linear(spectra @ sight.weights[light] @ matrix.T)
