"""The finish of one part: steps from the file to frozen steps and to plain values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from ..errors import MockupError
from ..finish.sheen import MAX_GLOSS
from ..finish.steps import (
    Burst, Coat, Film, Finish, GrainFill, Paint, RubbedEdge, SandBack, Stain, StainStep, Step, Tint,
)
from .desk import Desk
from .library import Entry, films, find, read_film, read_stain, stains
from .reader import Reader, offer, show

__all__ = ["plain_finish", "read_finish"]

MOST_STEPS = 24
KINDS = ("stain", "sand_back", "fill", "burst", "rubbed_edge", "coat", "tint", "paint")
BARE = ("bare wood", "the stain as named")
EXAMPLE = 'Write steps as { stain = "amber", strength = 0.7 } or { coat = "oil varnish", coats = 4 }.'


def read_finish(part: Reader, sources: dict[str, Path], desk: Desk) -> Finish:
    """The keys ``finish`` and ``sheen`` of a part; files of stains and films used are added to ``sources``."""
    steps: list[Step] = []
    value = part.raw("finish", [])
    if not isinstance(value, list):
        part.note("finish", f"Finish is {show(value)}.", f"Use a list of steps in [ ]. {EXAMPLE}")
    elif len(value) > MOST_STEPS:
        part.note("finish", f"Finish has {len(value)} steps.", f"Use at most {MOST_STEPS}.")
    else:
        for number, data in enumerate(value, 1):
            read = Reader(data, (*part.path, "finish", str(number)), part.problems)
            if (step := _step(read, sources, desk)) is not None:
                steps.append(step)
    sheen = part.number("sheen", 0, MAX_GLOSS, 20, unit="GU", ends=("dead matt", "mirror gloss"))
    return Finish(steps=tuple(steps), sheen=sheen)


def _step(read: Reader, sources: dict[str, Path], desk: Desk) -> Step | None:
    if read.broken:
        return None
    kinds = [k for k in KINDS if k in read.data]
    if len(kinds) != 1:
        _not_one(read, kinds)
        return None
    step: Step
    match kinds[0]:
        case "stain":
            step = StainStep(stain=_stain(read, "stain", sources, desk), strength=read.number("strength", 0, 1, 1, ends=BARE))
        case "sand_back":
            step = SandBack(amount=read.number("sand_back", 0, 1, None, ends=("nothing", "all that lies shallow")))
        case "fill":
            step = _fill(read)
        case "burst":
            step = _burst(read, sources, desk)
        case "rubbed_edge":
            step = RubbedEdge(width=read.number("rubbed_edge", 0.5, 60, None, unit="mm"),
                              amount=read.number("amount", 0, 1, 0.7, ends=("not at all", "to bare wood")))
        case "tint":
            step = Tint(stain=_stain(read, "tint", sources, desk),
                        strength=read.number("strength", 0, 1, 1, ends=("no colour", "the stain as named")))
        case "coat":
            step = Coat(film=_film(read, sources, desk), coats=int(read.number("coats", 1, 30, 1, whole=True)))
        case _:
            step = Paint(lab=read.colour("paint", None),
                         cover=read.number("cover", 0, 1, 1, ends=("clear", "hides the wood")),
                         words=read.text("words", "paint", longest=60))
    read.close()
    return step


def _not_one(read: Reader, kinds: list[str]) -> None:
    if kinds:
        read.note("", f"One step holds {' and '.join(kinds)}.", "Write each as a step of its own, in { }.")
    elif read.data:
        first = next(iter(read.data))
        read.note("", f"No step is called {show(first)}.", offer(first, KINDS))
    else:
        read.note("", "The step is empty.", EXAMPLE)


def _burst(read: Reader, sources: dict[str, Path], desk: Desk) -> Burst:
    stain = _stain(read, "burst", sources, desk)
    strength = read.number("strength", 0, 1, 1, ends=("no burst", "the stain as named"))
    width = read.number("width", 1, 500, 75, unit="mm")
    edge = read.number("edge", 0, 500, min(8.0, width / 2), unit="mm")
    if edge >= width:
        read.note("edge", f"Edge is {edge:g}, and the burst is {width:g} wide.",
                  f"Use less than {width:g} mm: the colour is full up to edge and gone at width.")
        edge = width / 2
    return Burst(stain=stain, strength=strength, width=width, edge=edge, rubbed=read.flag("rubbed", False))


def _fill(read: Reader) -> GrainFill:
    """``fill = "clear"``, or a colour of the paste."""
    amount = read.number("amount", 0, 1, 1, ends=("open pores", "flush"))
    if read.raw("fill") == "clear":
        return GrainFill(amount=amount)
    if isinstance(read.raw("fill"), str) and not str(read.raw("fill")).startswith("#"):
        read.note("fill", f"Fill is {show(read.raw('fill'))}.", 'Use "clear", or the colour of the paste as Lab, as [25, 6, 8].')
        return GrainFill(amount=amount)
    return GrainFill(lab=read.colour("fill", None), amount=amount)


def _stain(read: Reader, key: str, sources: dict[str, Path], desk: Desk) -> Stain:
    entry = _named(read, key, sources, desk, "stain", stains, read_stain, f'Name a stain of the library, as {key} = "amber".')
    return entry or Stain(name="", words="", absorb=(0.0, 0.0, 0.0))


def _film(read: Reader, sources: dict[str, Path], desk: Desk) -> Film:
    entry = _named(read, "coat", sources, desk, "film", films, read_film, 'Name a film of the library, as coat = "oil varnish".')
    return entry or Film(name="", words="", absorb=(0.0, 0.0, 0.0), wet=0.0)


def _named(read: Reader, key: str, sources: dict[str, Path], desk: Desk, kind: str, library: Callable[[], Mapping[str, Entry]],
           read_file: Callable[[Path], Any], fix: str) -> Any:
    """A stain or film by its name in the library, or by its file in the scene's folder ("my-blue.toml")."""
    name = read.text(key, None, longest=60, fix=fix)
    if not name:
        return None
    try:
        if name.endswith(".toml"):
            file = desk.inside(name)
            value = read_file(file)
            sources[name] = file
        else:
            entry = find(name, library(), kind)
            value = entry.value
            sources[f"{kind}:{value.name}"] = entry.file
    except MockupError as error:
        for problem in error.problems:
            read.note(key, f"{problem.where}: {problem.found}" if problem.where else problem.found, problem.fix)
        return None
    return value


def plain_finish(finish: Finish) -> list[dict[str, Any]]:
    """Steps as JSON-ready tables, library values written out."""
    return [_plain_step(step) for step in finish.steps]


def _plain_step(step: Step) -> dict[str, Any]:
    match step:
        case StainStep(stain=stain, strength=strength):
            return {"stain": stain.name, "strength": strength, "values": _plain_stain(stain)}
        case SandBack(amount=amount):
            return {"sand_back": amount}
        case GrainFill(lab=lab, amount=amount):
            return {"fill": "clear" if lab is None else list(lab), "amount": amount}
        case Burst(stain=stain, strength=strength, width=width, edge=edge, rubbed=rubbed):
            return {"burst": stain.name, "strength": strength, "width": width, "edge": edge, "rubbed": rubbed,
                    "values": _plain_stain(stain)}
        case RubbedEdge(width=width, amount=amount):
            return {"rubbed_edge": width, "amount": amount}
        case Tint(stain=stain, strength=strength):
            return {"tint": stain.name, "strength": strength, "values": _plain_stain(stain)}
        case Coat(film=film, coats=coats):
            return {"coat": film.name, "coats": coats,
                    "values": {"words": film.words, "absorb": list(film.absorb), "wet": film.wet, "basis": film.basis,
                               "spread": film.spread}}
        case Paint(lab=lab, cover=cover, words=words):
            return {"paint": list(lab), "cover": cover, "words": words}


def _plain_stain(stain: Stain) -> dict[str, Any]:
    return {"words": stain.words, "absorb": list(stain.absorb), "hide": list(stain.hide),
            "uptake": stain.uptake, "bend": list(stain.bend), "basis": stain.basis, "spread": stain.spread}
