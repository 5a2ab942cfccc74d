"""The parts of a scene, back to front, from the file to frozen values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import MockupError
from ..outline.cut import overlap
from ..outline.figures import many, plate
from ..outline.shape import Shape
from .desk import Desk
from .neck import Neck
from .reader import Reader, offer, show
from .recipe import plain_finish, read_finish
from .values import Binding, BoardRef, Contour, Edge, Form, Part, Placement

__all__ = ["Cut", "plain_part", "read_outline_key", "read_part"]

CUTS = ("single", "bookmatch", "slipmatch")
SIDES = ("front", "back", "both")
NO_BOARDS = "Describe it first, under [boards.NAME]."
MOST_LINES = 9
FAR = 10_000.0  # mm; no drawing of an instrument reaches that far

Cut = tuple[str, str, Shape]  # file, id, and the shape as drawn


def read_outline_key(read: Reader, desk: Desk, sources: dict[str, Path], key: str = "outline") -> Cut | None:
    """The key ``outline`` = "file.svg#id"; None when it cannot be read, with the reason noted."""
    text = read.text(key, None, longest=400, fix='Name a drawing and an id in it, as "body.svg#top".')
    if not text:
        return None
    name, hash_, id = text.rpartition("#")
    if not hash_ or not name or not id:
        read.note(key, f"{key.capitalize()} is {show(text)}.", 'Write the file, a # and the id in it, as "body.svg#top".')
        return None
    try:
        shape = desk.shape(name, id)
        sources[name] = desk.inside(name)
    except MockupError as error:
        for problem in error.problems:
            found = f"{problem.where}: {problem.found}" if problem.where else problem.found
            read.note(key, found, problem.fix)
        return None
    return name, id, shape


def read_part(read: Reader, name: str, shape: Shape | None, boards: Mapping[str, BoardRef | None], *,
              centre: float, hand: str, sources: dict[str, Path], desk: Desk, make: str | None = None,
              neck: Neck | None = None, heel: float | None = None, edged: Shape | None = None) -> Part | None:
    """One table of ``[parts]``, its outline already read or made; None when it cannot be used.

    boards  by name; None for one that has problems of its own.
    make    what the program made the outline as, from ``neck``.
    edged   the outline it goes on to under another part.
    heel    y at which the body begins to cover the neck.
    """
    if read.broken:
        return None
    before = len(read.problems)
    title = read.text("title", name.replace("-", " ").replace("_", " ").capitalize())
    wanted = read.text("board", next(iter(boards)) if len(boards) == 1 else None,
                       fix=f"Name one of the boards. {offer('', boards)}" if boards else NO_BOARDS)
    board = boards.get(wanted)
    if wanted and wanted not in boards:
        read.note("board", f'There is no board named "{wanted[:60]}".',
                  offer(wanted, boards) or NO_BOARDS)
    whole = neck.shape() if make in ("head piece", "heel") and neck is not None and shape is not None else None
    if shape is not None and whole is None:
        bands = _strips(read, shape, centre)
        if bands is not None:
            whole, shape = shape, bands
    form = _form(read, desk, sources, centre, hand, make, neck, heel, edged)
    lines = tuple(centre + x for x in read.numbers("glue_lines", -500, 500, (1, 40)) or ())
    if shape is not None:
        span = (whole or shape).bounds
        for n, x in enumerate(lines, 1):
            if not span[0] < x < span[2]:
                read.note("glue_lines", f"The line at {x - centre:g} misses the part.",
                          f"It spans {span[0] - centre:.0f} to {span[2] - centre:.0f} mm from the centre line.", n)
    if shape is not None and hand == "left":
        shape, lines = shape.mirrored(centre), tuple(2 * centre - x for x in lines)
        whole, edged = (s.mirrored(centre) if s is not None else None for s in (whole, edged))
    placement = _placement(read, whole or shape, board, centre, hand)
    finish = read_finish(read, sources, desk)
    edge = Edge(roundover=read.number("roundover", 0, 50, {"neck": 2, "head piece": 2, "heel": 5, "fretboard": 0.8, "head face": 0.8}.get(make or "", 3), unit="mm",
                                      ends=("sharp", "")),
                bevel=read.number("bevel", 0, 60, 0, unit="mm", ends=("none", "")))
    height = read.number("height", 0, 500, {"neck": 49, "head piece": 49, "heel": 49, "fretboard": 55, "head face": 45}.get(make or "", 45), unit="mm")
    thick = read.number("thickness", 0.2, 500, {"neck": 21, "head piece": 21, "heel": 30, "fretboard": 6, "head face": 2}.get(make or "", height or 1), unit="mm")
    if read.has("thickness") and thick > height:
        read.note("thickness", f"The part is {thick:g} mm thick, and its upper face {height:g} mm above the bench.", "Raise height, or make it thinner.")
    body = min(thick, height)
    if form.dome >= body > 0:
        read.note("carve", f"The carving falls by {form.dome:g} mm, on wood {body:g} mm thick.", "Make rise smaller, or the part thicker.")
    for n, contour in enumerate(form.contours, 1):
        if contour.depth >= body > 0:
            read.note("contours", f"The hollow is {contour.depth:g} mm deep, in wood {body:g} mm thick.", "Make it shallower.", n)
    side = read.choice("side", SIDES, "front" if make == "head face" else "both")
    binding = _binding(read)
    read.close()
    if len(read.problems) > before or shape is None or placement is None or board is None:
        return None
    return Part(name=name, title=title, shape=shape, board=wanted, placement=placement, finish=finish, edge=edge,
                binding=binding, height=height, side=side, below=max(height - thick, 0.0), form=form, whole=whole, lines=lines,
                edged=edged, of_neck=make is not None)


def _strips(read: Reader, shape: Shape, centre: float) -> Shape | None:
    """What of a shape lies in the strips asked for, measured from the centre line; None when none are."""
    if not read.has("strips"):
        return None
    x0, y0, x1, y1 = shape.bounds
    for n, (a, b) in enumerate(read.points("strips", 500, 40) or (), 1):
        if a == b:
            read.note("strips", "The strip is 0 mm wide.", "Give it from x to x beside the centre line, as [-4, 4].", n)
    bands = [plate((centre + (a + b) / 2, (y0 + y1) / 2), (abs(b - a), y1 - y0 + 2)) for a, b in read.points("strips", 500, 40) or () if a != b]
    left = overlap(shape, many(bands)) if bands else None
    if bands and left is None:
        read.note("strips", "No strip crosses the part.", f"It spans {x0 - centre:.0f} to {x1 - centre:.0f} mm from the centre line.")
    return left


def _form(read: Reader, desk: Desk | None, sources: dict[str, Path], centre: float, hand: str, make: str | None, neck: Neck | None,
          heel: float | None, edged: Shape | None) -> Form:
    """A carved top, hollows, a fretboard's radius, the round back of a neck."""
    dome = reach = 0.0
    if read.has("carve"):
        table = read.table("carve")
        dome = table.number("rise", 0.5, 40, None, unit="mm")
        reach = table.number("reach", 10, 400, 70, unit="mm")
        table.close()
    contours: list[Contour] = []
    if read.has("contours"):
        tables = read.raw("contours")
        if not isinstance(tables, list) or len(tables) > 12:
            read.note("contours", f"Contours is {show(tables)}.", 'Use a list, as [{ outline = "body.svg#belly", depth = 12, side = "back" }].')
            tables = []
        for n, data in enumerate(tables, 1):
            table = Reader(data, (*read.path, "contours", str(n)), read.problems)
            if table.broken or desk is None:
                continue
            cut = read_outline_key(table, desk, sources)
            depth = table.number("depth", 0.5, 60, None, unit="mm")
            side = table.choice("side", ("front", "back"), "back")
            table.close()
            if cut is not None:
                contours.append(Contour(shape=cut[2].mirrored(centre) if hand == "left" else cut[2], depth=depth, side=side))
    radius, barrel = 0.0, None
    if make == "fretboard" and neck is not None:
        radius = neck.radius
    if make in ("neck", "head piece") and neck is not None:
        top = neck.layout.on_centre(0)
        barrel = (top + 6.0, neck.heel - 46.0 if heel is None else heel)
    if make == "heel" and edged is not None:  # carved round with the neck, from its end to under the body
        barrel = (edged.bounds[1], edged.bounds[3] - 0.5)
    return Form(dome=dome, reach=reach or 60.0, radius=radius, axis=centre, barrel=barrel, contours=tuple(contours))


def _binding(part: Reader) -> Binding | None:
    if not part.has("binding"):
        return None
    read = part.table("binding")
    if read.broken:
        return None
    width = read.number("width", 0.2, 20, None, unit="mm")
    lab = read.colour("colour", None)
    line = read.number("line", 0, 5, 0, unit="mm", ends=("none", ""))
    purfling = _purfling(read)
    read.close()
    return Binding(width=width, lab=lab, line=line, purfling=purfling)


def _purfling(binding: Reader) -> tuple[tuple[float, tuple[float, float, float]], ...]:
    """Lines side by side, from the binding inward."""
    if not binding.has("purfling"):
        return ()
    tables = binding.raw("purfling")
    if not isinstance(tables, list) or not 1 <= len(tables) <= MOST_LINES:
        binding.note("purfling", f"Purfling is {show(tables)}.",
                     f'Use 1 to {MOST_LINES} lines from the binding inward, as [{{ width = 0.5, colour = "#1a1a1a" }}, {{ width = 0.8, colour = "#f0e8d8" }}].')
        return ()
    if binding.has("line"):
        binding.note("line", "The binding has both line and purfling.", "Give it one of them.")
    found = []
    for n, data in enumerate(tables, 1):
        read = Reader(data, (*binding.path, "purfling", str(n)), binding.problems)
        if read.broken:
            continue
        found.append((read.number("width", 0.1, 5, None, unit="mm"), read.colour("colour", None)))
        read.close()
    return tuple(found)


def _placement(read: Reader, shape: Shape | None, board: BoardRef | None, centre: float, hand: str) -> Placement | None:
    cut = read.choice("cut", CUTS, "single")
    at = read.point("at", FAR)
    # Left out, the turn lays the wood's grain along the length of the drawing (y).
    along = -((90 - board.grain + 90) % 180 - 90) if board else 0.0
    turn = read.number("turn", -360, 360, along + 0.0, unit="degrees")
    joint = read.number("joint", -FAR, FAR, centre, unit="mm")
    slip = read.number("slip", -500, 500, 0, unit="mm")
    if hand == "left":
        joint = 2 * centre - joint
    if shape is None or board is None:
        return None
    if cut != "single" and not shape.bounds[0] < joint < shape.bounds[2]:
        read.note("joint", f"The joint line at x = {joint:g} misses the part, which spans {shape.bounds[0]:.1f} to "
                           f"{shape.bounds[2]:.1f}.", "Move joint inside, or use cut = \"single\".")
    return Placement(at=at or _middle(shape, board, cut, turn, joint, slip), turn=turn, cut=cut, joint=joint, slip=slip)


def _middle(shape: Shape, board: BoardRef, cut: str, turn: float, joint: float, slip: float) -> tuple[float, float]:
    """The board point under the anchor that puts the piece in the middle of its board.

    Of two matched pieces the wider is centred. On the board both lie right of
    the joint as drawn, the second one further down by ``slip``.
    """
    half = drop = 0.0
    if cut != "single":
        half, drop = max(joint - shape.bounds[0], shape.bounds[2] - joint) / 2, slip / 2
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    x, y = board.size_mm
    return (round(x / 2 - half * cos + drop * sin, 3), round(y / 2 - half * sin - drop * cos, 3))


def plain_part(part: Part, outline: str, written: Mapping[str, Any]) -> dict[str, Any]:
    """A part as a JSON-ready table; of what few parts have, as it was ``written`` and only then."""
    place, binding = part.placement, part.binding
    return {key: written[key] for key in ("make", "scarf", "length", "thickness", "bevel", "carve", "contours", "strips", "glue_lines") if key in written} | {
        "title": part.title, "outline": outline, "board": part.board, "cut": place.cut, "at": list(place.at),
        "turn": place.turn, "joint": place.joint, "slip": place.slip, "height": part.height,
        "roundover": part.edge.roundover, "side": part.side, "sheen": part.finish.sheen,
        "finish": plain_finish(part.finish),
        "binding": None if binding is None else
        {"width": binding.width, "colour": list(binding.lab), "line": binding.line} |
        ({"purfling": [{"width": w, "colour": list(lab)} for w, lab in binding.purfling]} if binding.purfling else {}),
    }
