"""What the shop knows beside a scene: thicknesses, allowances, days, and bought parts with their measures.

Lengths are mm by now, whatever the file was written in.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from .frets import Frets

__all__ = ["FLAT", "Allowance", "Fitting", "Shop", "fitting_curve"]

FLAT = ("length", "width", "diameter")  # dimensions seen from above; depth goes down


@dataclass(frozen=True, kw_only=True, slots=True)
class Allowance:
    """What a blank has more than its part, mm in all each way: along the grain, across it, and in thickness."""

    length: float = 25.0
    width: float = 12.0
    thickness: float = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Fitting:
    """A bought part.

    part       name of the part of wood it is let into or stands on; "" for none.
    at, turn   its middle in the drawing, mm, and degrees clockwise.
    listed, measured  dimensions by name: length, width, diameter, depth; what was not measured is not there.
    tolerance  mm by which a measure may differ from the listed one without a word.
    clearance  mm of air on each side in its pocket; ``route`` the pocket's dimensions where they are given, else it follows
               the listed ones; () of neither for a part that stands on the face.
    let_in     whether it has a pocket.
    """

    name: str
    title: str
    part: str
    side: str
    at: tuple[float, float]
    turn: float
    listed: Mapping[str, float]
    measured: Mapping[str, float]
    tolerance: float
    clearance: float
    route: Mapping[str, float]
    let_in: bool

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of listed dimensions that were not measured."""
        return tuple(name for name in self.listed if name not in self.measured)

    @property
    def sizes(self) -> dict[str, float]:
        """Each dimension as measured, or as listed where it was not."""
        return {**self.listed, **self.measured}


@dataclass(frozen=True, kw_only=True, slots=True)
class Shop:
    """All that the shop's file says, with usual values for the rest.

    file         its name, "" when there is none.
    mail         the maker's address, to which a client's choice goes; "" when not said.
    units        "mm" or "in": which is written first on papers.
    start        ISO 8601, "" when not said.
    rest         weekdays without work, Monday = 0.
    boards, parts  thicknesses of boards and of finished parts, by name.
    board_sizes  length along the grain and width of boards that the scene only has a picture of their kind of.
    films        changed values of finish schedules, by film.
    bought       False when the shop says that no part is bought.
    """

    file: str = ""
    mail: str = ""
    units: str = "mm"
    start: str = ""
    rest: frozenset[int] = frozenset()
    kerf: float = 2.5
    allowance: Allowance = Allowance()
    boards: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    parts: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    board_sizes: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    films: Mapping[str, Mapping[str, Any]] = field(default_factory=lambda: MappingProxyType({}))
    frets: Frets | None = None
    fittings: tuple[Fitting, ...] = ()
    bought: bool = True


def fitting_curve(fitting: Fitting, sizes: Mapping[str, float], *, more: float = 0.0) -> np.ndarray:
    """The outline seen from above, (N, 2) in drawing mm, at the given sizes and ``more`` mm outside on every side."""
    if "diameter" in sizes:
        turn = np.linspace(0, 2 * math.pi, 97)[:-1]
        ring = (sizes["diameter"] / 2 + more) * np.column_stack([np.cos(turn), np.sin(turn)])
    else:
        w, h = sizes["width"] / 2 + more, sizes["length"] / 2 + more
        ring = np.array([[-w, -h], [w, -h], [w, h], [-w, h]])
    c, s = math.cos(math.radians(fitting.turn)), math.sin(math.radians(fitting.turn))
    return ring @ np.array([[c, s], [-s, c]]) + fitting.at
