"""The parts of a scene, back to front, from the file to frozen values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import MockupError
from ..outline.shape import Shape
from .desk import Desk
from .reader import Reader, offer, show
from .recipe import plain_finish, read_finish
from .values import Binding, BoardRef, Edge, Part, Placement

__all__ = ["Cut", "plain_part", "read_outline_key", "read_part"]

CUTS = ("single", "bookmatch", "slipmatch")
SIDES = ("front", "back", "both")
NO_BOARDS = "Describe it first, under [boards.NAME]."
FAR = 10_000.0  # mm; no drawing of an instrument reaches that far

Cut = tuple[str, str, Shape]  # file, id, and the shape as drawn


def read_outline_key(read: Reader, desk: Desk, sources: dict[str, Path]) -> Cut | None:
    """The key ``outline`` = "file.svg#id"; None when it cannot be read, with the reason noted."""
    text = read.text("outline", None, longest=400, fix='Name a drawing and an id in it, as "body.svg#top".')
    if not text:
        return None
    name, hash_, id = text.rpartition("#")
    if not hash_ or not name or not id:
        read.note("outline", f"Outline is {show(text)}.", 'Write the file, a # and the id in it, as "body.svg#top".')
        return None
    try:
        shape = desk.shape(name, id)
        sources[name] = desk.inside(name)
    except MockupError as error:
        for problem in error.problems:
            found = f"{problem.where}: {problem.found}" if problem.where else problem.found
            read.note("outline", found, problem.fix)
        return None
    return name, id, shape


def read_part(read: Reader, name: str, shape: Shape | None, boards: Mapping[str, BoardRef | None], *,
              centre: float, hand: str, sources: dict[str, Path], desk: Desk) -> Part | None:
    """One table of ``[parts]``, its outline already read; None when it cannot be used.

    boards  by name; None for one that has problems of its own.
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
    if shape is not None and hand == "left":
        shape = shape.mirrored(centre)
    placement = _placement(read, shape, board, centre, hand)
    finish = read_finish(read, sources, desk)
    edge = Edge(roundover=read.number("roundover", 0, 50, 3, unit="mm", ends=("sharp", "")))
    height = read.number("height", 0, 500, 45, unit="mm")
    side = read.choice("side", SIDES, "both")
    binding = _binding(read)
    read.close()
    if len(read.problems) > before or shape is None or placement is None or board is None:
        return None
    return Part(name=name, title=title, shape=shape, board=wanted, placement=placement, finish=finish, edge=edge,
                binding=binding, height=height, side=side)


def _binding(part: Reader) -> Binding | None:
    if not part.has("binding"):
        return None
    read = part.table("binding")
    if read.broken:
        return None
    width = read.number("width", 0.2, 20, None, unit="mm")
    lab = read.colour("colour", None)
    line = read.number("line", 0, 5, 0, unit="mm", ends=("none", ""))
    read.close()
    return Binding(width=width, lab=lab, line=line)


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


def plain_part(part: Part, outline: str) -> dict[str, Any]:
    """A part as a JSON-ready table."""
    place, binding = part.placement, part.binding
    return {
        "title": part.title, "outline": outline, "board": part.board, "cut": place.cut, "at": list(place.at),
        "turn": place.turn, "joint": place.joint, "slip": place.slip, "height": part.height,
        "roundover": part.edge.roundover, "side": part.side, "sheen": part.finish.sheen,
        "finish": plain_finish(part.finish),
        "binding": None if binding is None else
        {"width": binding.width, "colour": list(binding.lab), "line": binding.line},
    }
