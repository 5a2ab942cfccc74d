"""What the client's page says of each option, of what is promised, and of what may vary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..finish.words import finish_words
from ..render.colours import PartColour
from ..render.elsewhen import lit_colours
from ..render.kept import Kept
from ..scene.values import Scene
from .choice import Choice, choice_text, seen_by_client
from .describe import (Option, alike_sentences, assumed_bare, basis_sentence, binding_words, capital, groups, largest_seen, listed, sheen_sentence, swatch,
                       unbroken_units, wood_sentence, wood_words)
from .record import short
from .sheet_colour import parting_sentences, range_ends

__all__ = ["Fact", "Offer", "Patch", "Terms", "offer", "terms"]


@dataclass(frozen=True, slots=True)
class Patch:
    """A colour with its label; 8-bit sRGB."""

    label: str
    rgb: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Fact:
    """Parts of one wood and finish, in a client's words. ``patches`` belong to the part ``coloured``."""

    parts: str
    wood: str
    finish: str
    edge: str
    sheen: str
    coloured: str
    patches: tuple[Patch, ...]
    range: str


@dataclass(frozen=True, slots=True)
class Offer:
    """One option in words. ``text`` is the choice of it, to be filled in by hand; ``about`` the same as values."""

    name: str
    title: str
    why: str
    facts: tuple[Fact, ...]
    about: Choice
    text: str


@dataclass(frozen=True, slots=True)
class Terms:
    """What is promised and what may vary, a sentence or two each."""

    promised: tuple[str, ...]
    vary: tuple[str, ...]


def offer(view: Scene, found: Sequence[PartColour]) -> Offer:
    """The words of one option; ``found`` its colours."""
    assert view.variant is not None
    by_part = {c.part: c for c in found}
    facts = []
    for group in groups(view, "front"):
        part = group.part
        bound = dict.fromkeys(w for p in view.parts if p.name in group.names and (w := binding_words(p)))
        colour = by_part[part.name]
        patches, words = _range(colour, assumed_bare(view, part.name))
        facts.append(Fact(listed(group.titles), capital(wood_words(view, part)), capital(unbroken_units(finish_words(part.finish))),
                          capital(unbroken_units("; ".join(bound))), capital(f"{sheen_sentence(part.finish.sheen)} at 60°"), colour.title,
                          patches, words))
    about = Choice(instrument=view.title, revision=view.revision, option=view.variant.title, scene=view.name, variant=view.variant.name,
                   seen=short(seen_by_client(view, found)))
    return Offer(view.variant.name, view.variant.title, view.variant.why, tuple(facts), about, choice_text(about))


def _range(colour: PartColour, assumed: bool) -> tuple[tuple[Patch, ...], str]:
    basis = "" if colour.basis == "bare wood" else f" ({colour.basis})"
    basis += ", if the bare wood has exactly the colour shown" if assumed else ""
    if not (ends := range_ends(colour)):
        return (Patch("As it is", swatch(colour.finished_lab)),), ""
    burst = colour.middle_lab is not None and colour.edge_lab is not None
    labels = ("If light", "Middle" if burst else "Expected", "If dark")
    patches = tuple(Patch(label, swatch(lab)) for label, lab in zip(labels, ends, strict=True))
    if burst and colour.edge_lab is not None:
        return (*patches, Patch("Edge", swatch(colour.edge_lab))), \
            f"Middle and edge as expected, and how light or dark the middle may come out in 95 of 100 cases{basis}."
    return patches, f"Expected, and how light or dark it may come out in 95 of 100 cases{basis}."


def terms(views: Sequence[Scene], found: Sequence[Sequence[PartColour]], notes: Sequence[str], *, kept: Kept) -> Terms:
    """What holds for all options together; ``notes`` are what the pictures say of themselves."""
    options, lit = [], {}
    for view, colours in zip(views, found, strict=True):
        assert view.variant is not None
        name = largest_seen(view, "front")
        colour = next(c for c in colours if c.part == name)
        options.append(Option(view.variant.title, colour.title, colour.finished_lab, next(p.finish.sheen for p in view.parts if p.name == name)))
        lit[view.variant.name] = lit_colours(view, [colour], kept=kept)[name]
    promised = ["The finish as described with the option you choose, step by step, and its sheen.",
                basis_sentence([c for colours in found for c in colours],
                               [c for view, colours in zip(views, found, strict=True) for c in colours if assumed_bare(view, c.part)])]
    if "ΔE00" in promised[-1]:
        promised[-1] += " ΔE00 says how far two colours are apart: about 1 is just seen side by side, 5 is plain to see."
    promised.append("Your answer names exactly what you saw here. If the recipe, a board or a drawing changes afterwards, it no longer "
                    "counts, and you are asked again.")
    woods = list(dict.fromkeys(wood_sentence(view) for view in views))
    vary = [*woods, "Wood varies from piece to piece, and within one piece.", *dict.fromkeys(notes), *alike_sentences(options),
            *parting_sentences(lit, {v.variant.name: v.variant.title for v in views if v.variant}),
            "Finishes darken, yellow or fade with light and years.",
            "Screens differ. Switch off night and reading colours, set the brightness to suit the room, and look in daylight that does not "
            "fall on the screen. Judge the final colour on a sample of the wood."]
    return Terms(tuple(promised), tuple(vary))
