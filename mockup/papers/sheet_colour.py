"""What sheet and approval say of colours beyond their values: how they may come out, and what another light does to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..finish.lights import colours_under, parting
from ..render.boards import load_board
from ..render.colours import PartColour
from ..render.elsewhen import lit_colours
from ..render.kept import Kept
from ..scene.values import Scene
from .describe import NBSP, Group, largest_seen, listed

__all__ = ["parting_notes", "parting_sentences", "range_ends"]

Lab = tuple[float, float, float]


def range_ends(colour: PartColour) -> tuple[Lab, ...]:
    """Lab of a part if it comes out light, as expected, and if dark, of a burst that of its middle; () where nothing is predicted."""
    if colour.error <= 0:
        return ()
    mean = np.array(colour.finished_lab)
    centre = np.array(colour.middle_lab) if colour.middle_lab and colour.edge_lab else mean
    # The ends are told of the mean of the face; a burst's middle moves as far.
    light, dark = ((centre + np.array(end) - mean).tolist() for end in (colour.light_lab, colour.dark_lab))
    return tuple(light), tuple(centre.tolist()), tuple(dark)


def parting_sentences(lit: Mapping[str, Mapping[str, Lab]], titles: Mapping[str, str]) -> list[str]:
    """What to say of colours (by name, then by light) that match under one light and part under another."""
    return [replace(p, first=titles[p.first], second=titles[p.second]).words().replace("ΔE00 ", f"ΔE00{NBSP}") for p in parting(lit)]


def parting_notes(scene: Scene, found: Sequence[PartColour], grouped: Sequence[Group], kept: Kept, side: str = "front") -> list[str]:
    """The same for an approval: parts of the instrument against each other, and the option chosen against the others of its file.

    found  the colours of the scene as its ``variant`` stands.
    """
    by_name = {c.part: c for c in found}
    said = parting_sentences(lit_colours(scene, [by_name[g.part.name] for g in grouped], kept=kept), {g.part.name: listed(g.titles) for g in grouped})
    name, lit = largest_seen(scene, side), {}
    for variant in scene.variants:
        view = scene.with_variant(variant.name)
        part = next((p for p in view.parts if p.name == name), None)
        if part is not None:
            lit[variant.name] = colours_under(part.finish, load_board(view.boards[part.board], kept).axes)
    chosen = scene.variant.name if scene.variant is not None else ""
    titles = {v.name: v.title for v in scene.variants}
    for other in lit:
        if chosen in lit and other != chosen:
            said += parting_sentences({chosen: lit[chosen], other: lit[other]}, titles)
    return said
