"""A look that is only tried: a checked scene with other steps, sheen or place, without reading its file again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from ..errors import MockupError, Problem
from ..render.placement import missing_wood
from ..scene.desk import Desk
from ..scene.reader import Reader
from ..scene.recipe import read_finish
from ..scene.values import Part, Scene

__all__ = ["Try", "everywhere", "look_of", "read_try", "tried", "with_part"]


@dataclass(frozen=True)
class Try:
    """Other values of one part; None leaves what it has. ``steps`` are tables as in the file, ``joint`` is x in the drawing, mm."""

    steps: list[dict[str, Any]] | None = None
    sheen: float | None = None
    at: tuple[float, float] | None = None
    turn: float | None = None
    joint: float | None = None


def read_try(data: Any) -> Try:
    """What the page sent, with its kinds checked; ranges are checked where they are known, by ``tried``."""
    if not isinstance(data, Mapping):
        raise MockupError("A try is a table.")
    steps, at = data.get("steps"), data.get("at")
    if steps is not None and not (isinstance(steps, list) and all(isinstance(s, dict) for s in steps)):
        raise MockupError("Steps are a list of tables.")
    if at is not None:
        if not (isinstance(at, list) and len(at) == 2 and all(_number(v) for v in at)):
            raise MockupError("A place is two numbers.")
        at = (float(at[0]), float(at[1]))
    for key in ("sheen", "turn", "joint"):
        if data.get(key) is not None and not _number(data[key]):
            raise MockupError(f"{key.capitalize()} is a number.")
    return Try(steps, data.get("sheen"), at, data.get("turn"), data.get("joint"))


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e6


def look_of(scene: Scene, look: str | None) -> Scene:
    """The scene with one of its variants in force, or as it stands for None."""
    return scene if look is None else scene.with_variant(look)


def tried(scene: Scene, part: Part, what: Try, *, wood: bool = True) -> Part:
    """A part with a try in force. MockupError for values out of range, and with ``wood`` for a place off the board."""
    problems: list[Problem] = []
    if what.steps is not None or what.sheen is not None:
        data: dict[str, Any] = {"finish": what.steps or [], "sheen": part.finish.sheen if what.sheen is None else what.sheen}
        finish = read_finish(Reader(data, ("parts", part.name), problems), {}, Desk(scene.folder))
        if problems:
            raise MockupError.several(problems)
        part = replace(part, finish=replace(finish, steps=part.finish.steps) if what.steps is None else finish)
    if any(v is not None for v in (what.at, what.turn, what.joint)):
        at = part.placement.at if what.at is None else what.at
        turn = part.placement.turn if what.turn is None else float(what.turn)
        if abs(turn) > 360:
            raise MockupError(f"Turn is {turn:g} degrees.", fix="Use -360 to 360.")
        joint = part.placement.joint if what.joint is None else float(what.joint)
        left, _, right, _ = part.shape.bounds
        if part.placement.cut != "single" and not left < joint < right:
            raise MockupError(f"The joint line at x = {joint:g} misses the {part.title.lower()}, which spans {left:.1f} to {right:.1f}.",
                              fix="Move it inside.")
        part = replace(part, placement=replace(part.placement, at=at, turn=turn, joint=joint))
        if wood and (off := missing_wood(part, part.shape, scene.boards[part.board].size_mm, part.board)):
            raise MockupError.several(off)
    return part


def with_part(scene: Scene, part: Part) -> Scene:
    """A scene, one look of it, with a part in place of the one of that name."""
    return replace(scene, parts=tuple(part if p.name == part.name else p for p in scene.parts))


def everywhere(scene: Scene, name: str, look: str | None, what: Try, kept_by: frozenset[str]) -> Scene:
    """The scene and all its looks with a try in force: in one look, or for None in all but those of ``kept_by``, which say otherwise."""

    def changed(view: Scene) -> Scene:
        part = next(p for p in view.parts if p.name == name)
        return with_part(view, tried(view, part, what, wood=False))

    views: dict[str, Scene] = {}
    shared = MappingProxyType(views)
    for key, view in scene.views.items():
        hit = key == look if look is not None else key not in kept_by
        views[key] = replace(changed(view) if hit else view, views=shared)
    return replace(changed(scene) if look is None else scene, views=shared)
