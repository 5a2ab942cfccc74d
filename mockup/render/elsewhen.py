"""The colours of a scene under another light, or after some years: estimates, and marked so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..finish.ageing import aged, with_years
from ..finish.lights import BASIS, colours_under, under_light
from ..finish.reach import board_lab
from ..scene.values import Scene
from .boards import load_board
from .colours import PartColour
from .kept import Kept

__all__ = ["Changed", "changed_colours", "lit_colours"]

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Changed:
    """A part's finished colour under another light or after some years, Lab adapted to that light; always an estimate.

    change      CIEDE2000 from new in daylight.
    less, more  the colours if the years do half as much, or half as much again; None when no years pass.
    basis       what it rests on, in words.
    """

    part: str
    light: str
    years: float
    lab: Lab
    change: float
    less: Lab | None
    more: Lab | None
    basis: str


def changed_colours(scene: Scene, found: Sequence[PartColour], *, light: str = "daylight", years: float = 0.0, dark: bool = False,
                    kept: Kept | None = None) -> tuple[Changed, ...]:
    """What ``found``, the colours of a scene, become.

    light  a name of ``finish.spectra.LIGHTS``.
    dark   kept in its case, not in a room's light.

    The change of the board's mean colour is carried over to the mean of the
    part. MockupError for an unknown light and years out of range.
    """
    kept = Kept() if kept is None else kept
    parts = {p.name: p for p in scene.parts}
    out = []
    for colour in found:
        part = parts[colour.part]
        axes, wood = load_board(scene.boards[part.board], kept).axes, scene.boards[part.board].wood
        home, here = np.array(board_lab(part.finish, axes)), np.array(colour.finished_lab)

        def moved(finish, axes=axes, home=home, here=here) -> np.ndarray:
            seen = linear_to_lab(under_light(finish, axes, light).reshape(-1, 3).mean(axis=0))
            return here + seen - home

        basis, less, more = [], None, None
        old = with_years(part.finish, wood, years, dark=dark)
        if years > 0:
            less, more = (_rounded(moved(with_years(part.finish, wood, years, dark=dark, amount=a))) for a in (0.5, 1.5))
            basis += aged(part.finish, axes, wood, years, dark=dark).sources
        if light != "daylight":
            basis.append(BASIS)
        lab = moved(old)
        out.append(Changed(colour.part, light, years, _rounded(lab), round(float(ciede2000(here, lab)), 2), less, more, "; ".join(basis)))
    return tuple(out)


def lit_colours(scene: Scene, found: Sequence[PartColour], *, kept: Kept | None = None) -> dict[str, dict[str, Lab]]:
    """By the names of parts, what each of ``found`` is under every light of ``finish.spectra.LIGHTS``, Lab adapted to it: an estimate."""
    kept = Kept() if kept is None else kept
    parts = {p.name: p for p in scene.parts}
    out = {}
    for colour in found:
        seen = colours_under(parts[colour.part].finish, load_board(scene.boards[parts[colour.part].board], kept).axes)
        home = np.array(seen["daylight"])
        out[colour.part] = {light: _rounded(colour.finished_lab + np.array(lab) - home) for light, lab in seen.items()}
    return out


def _rounded(lab: np.ndarray) -> Lab:
    a, b, c = (round(float(v), 2) + 0.0 for v in lab)
    return min(max(a, 0.0), 100.0), b, c
