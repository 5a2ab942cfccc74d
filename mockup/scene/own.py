"""A fitting of the maker's own: a drawing with a metal or colour for each path, or a cut-out photo."""

from __future__ import annotations

from pathlib import Path

from ..errors import MockupError
from .desk import Desk
from .made import Bench
from .material import MATERIALS
from .reader import Reader, offer, show
from .values import CutOut, Edge, Fitting, Material

__all__ = ["read_own"]

FAR = 10_000.0
MOST_PATHS = 80


def read_own(read: Reader, name: str, desk: Desk, bench: Bench, sources: dict[str, Path]) -> tuple[Fitting, ...]:
    """A table of ``[parts]`` with ``drawing`` or ``photo``: its pieces, lowest first; () when it cannot be used.

    Of a drawing all that is seen is taken, or, after a #, one group (in a DXF
    file: one layer). It is placed as it is drawn, or moved by ``at``; its paths lie on
    each other in their order, each of the material that ``materials`` names by
    its id, or of plastic in the colour that fills it. A photo is placed by its middle.
    """
    before = len(read.problems)
    title = read.text("title", name.replace("-", " ").replace("_", " ").capitalize())
    side = read.choice("side", ("front", "back", "both"), "front")
    rise = read.number("rise", 0, 80, 4, unit="mm")
    turn = read.number("turn", -360, 360, 0, unit="degrees")
    at = read.point("at", FAR)
    given = read.number("height", 0, 500, 0, unit="mm") if read.has("height") else None
    found = _photo(read, name, title, side, rise, turn, at, given, desk, bench, sources) if read.has("photo") else \
        _drawing(read, name, title, side, rise, turn, at, given, desk, bench, sources)
    read.close()
    return found if len(read.problems) == before else ()


def _told(read: Reader, key: str, error: MockupError) -> None:
    for problem in error.problems:
        read.note(key, f"{problem.where}: {problem.found}" if problem.where else problem.found, problem.fix)


def _height(bench: Bench, middle: tuple[float, float], side: str, rise: float, given: float | None) -> tuple[float, float]:
    base = given if given is not None else bench.base(middle, side)
    return (base, base - rise) if side == "back" else (base + rise, base - 2.0)


def _drawing(read: Reader, name: str, title: str, side: str, rise: float, turn: float, at, given, desk: Desk, bench: Bench,
             sources: dict[str, Path]) -> tuple[Fitting, ...]:
    file = read.text("drawing", None, longest=400, fix='Name a drawing in the folder of the scene, as "bridge.svg".')
    roundover = read.number("roundover", 0, 20, 0.6, unit="mm")
    table = read.table("materials")
    if not file:
        return ()
    file, _, group = file.partition("#")
    try:
        paths = desk.drawing(file, group)
    except MockupError as error:
        _told(read, "drawing", error)
        return ()
    sources[file] = desk.inside(file)
    if not 0 < len(paths) <= MOST_PATHS:
        read.note("drawing", f"{f'The group {show(group)} of ' if group else ''}{file} has {len(paths)} outlines with an id.", f"Use 1 to {MOST_PATHS}, each with an id.")
        return ()
    named = {id: table.choice(id, tuple(MATERIALS), "nickel") for id in table.data if id in {i for i, _, _ in paths}}
    for id in table.data:
        if id not in named:
            table.note(id, f"There is no outline with the id {show(id)} in {file}.", offer(id, [i for i, _, _ in paths]))
            table.raw(id)
    found = []
    for n, (id, shape, fill) in enumerate(paths):
        if at is not None:
            shape = shape.turned(turn, (0.0, 0.0)).moved(*at)
        elif turn:
            x0, y0, x1, y1 = shape.bounds
            shape = shape.turned(turn, (bench.centre, (y0 + y1) / 2))
        x0, y0, x1, y1 = shape.bounds
        height, below = _height(bench, ((x0 + x1) / 2, (y0 + y1) / 2), side, rise * (n + 1) / len(paths), given)
        if id in named:
            material = MATERIALS[named[id]]
        else:
            colour = Reader({"colour": fill}, read.path, read.problems).colour("colour", None) if fill else (18.0, 0.0, 0.0)
            material = Material(name="plastic", kind="plastic", lab=colour, gloss=MATERIALS["plastic"].gloss)
        if bench.hand == "left":
            shape = shape.mirrored(bench.centre)
        found.append(Fitting(name=name if n == 0 else f"{name}.{n + 1}", part=name, title=title, shape=shape, material=material,
                             edge=Edge(roundover=roundover), height=height, below=below, side=side))
    return tuple(found)


def _photo(read: Reader, name: str, title: str, side: str, rise: float, turn: float, at, given, desk: Desk, bench: Bench,
           sources: dict[str, Path]) -> tuple[Fitting, ...]:
    file = read.text("photo", None, longest=400, fix='Name a picture in the folder of the scene, as "pickup.png".')
    scale = read.number("mm_per_pixel", 0.002, 5, None, unit="mm")
    if at is None and not read.has("at"):
        read.missing("at", "Say where its middle lies, as at = [x, y].")
    if not file or at is None:
        return ()
    try:
        path = desk.inside(file)
        shape = desk.cut_out(path, scale)
    except MockupError as error:
        _told(read, "photo", error)
        return ()
    sources[file] = path
    height, below = _height(bench, at, side, rise, given)
    if bench.hand == "left":  # the place is mirrored; a photo, like lettering, is not
        at, turn = (2 * bench.centre - at[0], at[1]), -turn
    if side == "back":  # it shows the part as it is seen from there
        shape = shape.mirrored(0.0)
    placed = shape.turned(turn, (0.0, 0.0)).moved(*at)
    return (Fitting(name=name, part=name, title=title, shape=placed, material=MATERIALS["plastic"], edge=Edge(roundover=0.0), height=height,
                    below=below, side=side, photo=CutOut(path=path, mm_per_pixel=scale, at=at, turn=turn)),)
