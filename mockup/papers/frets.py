"""Where fret slots lie on a print."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

__all__ = ["Frets", "fret_distance", "fret_lines"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Frets:
    """A fretboard along y: scale length, how many slots, y of the nut's front edge, widths at nut and at the last fret; mm.

    up  True when the frets go up the drawing from the nut, as when the head lies at the bottom.
    """

    scale: float
    count: int
    nut: float
    widths: tuple[float, float]
    up: bool = False


def fret_distance(scale: float, fret: int) -> float:
    """mm from nut to fret in twelve-tone equal temperament, S (1 - 2^(-k/12))."""
    return scale * -math.expm1(-fret * math.log(2) / 12)


def fret_lines(frets: Frets, centre: float) -> list[tuple[int, np.ndarray]]:
    """(fret, its two ends as (2, 2) in drawing mm), the nut as fret 0."""
    last = fret_distance(frets.scale, frets.count)
    found = []
    for k in range(frets.count + 1):
        along = fret_distance(frets.scale, k)
        half = (frets.widths[0] + (frets.widths[1] - frets.widths[0]) * along / last) / 2
        y = frets.nut - along if frets.up else frets.nut + along
        found.append((k, np.array([[centre - half, y], [centre + half, y]])))
    return found
