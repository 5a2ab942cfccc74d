"""What the page knows of a document: plain values, ready for JSON."""

from __future__ import annotations

import copy
import hashlib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..colour.spaces import encode_srgb, lab_to_linear
from ..errors import MockupError, Problem
from ..finish.reach import board_lab
from ..finish.steps import Finish, StainStep
from ..finish.sheen import MAX_GLOSS, sheen_label, sheen_words
from ..finish.words import finish_warnings, finish_words
from ..render.boards import load_board
from ..render.colours import PartColour
from ..render.kept import Kept
from ..render.layers import seen_pieces
from ..render.picture import MARGIN, scene_box
from ..scene.change import with_changes
from ..scene.library import films, stains, texture, textures
from ..scene.lines import line_of
from ..scene.values import Part, Scene
from .document import Document

__all__ = ["MOST_PINNED", "hex_of", "library", "plain_colour", "plain_finish", "plain_problems", "state"]

MOST_PINNED = 8
# Of a part what the page is told in so many words, and of the scene what is not seen in a picture: `rest` tells all else apart.
SHOWN = ("title", "board", "cut", "joint", "at", "turn", "finish", "sheen")
WORDS = ("title", "revision", "client", "date", "notes")
NEAR = 3  # lines of the file around one that is wrong


def hex_of(lab) -> str:
    """A Lab colour as "#rrggbb", clipped to what a screen shows."""
    codes = np.rint(encode_srgb(np.clip(lab_to_linear(np.array(lab, float)), 0, 1)) * 255).astype(int)
    return "#" + "".join(f"{v:02x}" for v in codes.tolist())


def plain_problems(error: MockupError, text: str, name: str) -> list[dict[str, Any]]:
    """Every problem of a scene with the line of the file it stands in, and that line's surroundings."""
    return [_plain_problem(p, text, name) for p in error.problems]


def _plain_problem(problem: Problem, text: str, name: str) -> dict[str, Any]:
    where = problem.where.removeprefix(f"{name}: ").removeprefix(name)
    number = None
    if where.startswith("line "):
        digits = where.split()[1].rstrip(",")
        number = int(digits) if digits.isdigit() else None
    elif where:
        try:
            number = line_of(text, where.split(": ")[0].split("."))
        except Exception:  # a file that is no TOML has no places
            number = None
    lines = text.splitlines()
    near = []
    if number is not None:
        near = [{"number": n, "text": lines[n - 1][:160], "here": n == number}
                for n in range(max(1, number - NEAR), min(len(lines), number + NEAR) + 1)]
    return {"where": where, "found": problem.found, "fix": problem.fix, "line": number, "near": near}


def state(document: Document, kept: Kept, *, home: Path) -> dict[str, Any]:
    """All that the page shows of a document beside pictures; with ``problems`` and without parts when it cannot be drawn."""
    undo, redo = document.steps
    text = document.text
    plain: dict[str, Any] = {
        "version": document.version, "file": document.file.name, "folder": str(home), "builtin": document.builtin, "dirty": document.dirty,
        "strange": document.strange is not None, "found": document.found is not None, "unsafe": document.unsafe,
        "undo": undo, "redo": redo, "problems": [], "mostPinned": MOST_PINNED,
    }
    try:
        scene = document.scene(text=text)
    except MockupError as error:
        return {**plain, "title": document.file.stem, "problems": plain_problems(error, text, document.file.name)}
    raw = tomllib.loads(text.removeprefix("\ufeff"))
    return {
        **plain, "title": scene.title, "client": scene.client, "revision": scene.revision, "centre": scene.centre, "margin": MARGIN,
        "sides": {side: list(scene_box(scene, side)) for side in ("front", "back") if seen_pieces(scene, side)},
        "parts": [_part(p, scene) for p in reversed(scene.parts)],
        "looks": [_look(scene, None, raw), *(_look(scene, v.name, raw) for v in scene.variants)],
        "boards": [{"name": b.name, "wood": b.wood, "actual": b.actual, "size": [round(v, 1) for v in b.size_mm], "grain": b.grain,
                    "file": b.path.name, "library": not b.path.resolve().is_relative_to(scene.folder.resolve())}
                   for b in scene.boards.values()],
        "rest": _told_apart({**raw, "scene": {k: v for k, v in raw["scene"].items() if k not in WORDS}, "variants": None,
                             "parts": {n: {k: v for k, v in p.items() if k not in SHOWN} for n, p in raw["parts"].items()}}),
        "notes": [str(n) for n in scene.notes],
    }


def _part(part: Part, scene: Scene) -> dict[str, Any]:
    placement = part.placement
    # Enough points to draw and to be pointed at; the renderer has the rest.
    box = (part.whole or part.shape).bounds
    rings = [np.round(_thinned(r), 2).tolist() for r in part.shape.rings]
    return {"name": part.name, "title": part.title, "board": part.board, "side": part.side, "rings": rings, "cut": placement.cut,
            "joint": round(placement.joint, 3), "at": [round(v, 2) for v in placement.at], "turn": round(placement.turn, 2),
            "slip": placement.slip, "bounds": list(box), "anchor": [round(placement.joint if placement.cut != "single" else (box[0] + box[2]) / 2, 3),
                                                                    round((box[1] + box[3]) / 2, 3)]}


def _told_apart(values: Any) -> str:
    return hashlib.sha256(repr(values).encode()).hexdigest()[:12]


def _shown(path: str) -> bool:
    head, _, rest = path.partition(".")
    return head == "parts" and rest.partition(".")[2].split(".")[0] in SHOWN


def _thinned(ring: np.ndarray) -> np.ndarray:
    return ring[::max(1, len(ring) // 360)]


def _look(scene: Scene, name: str | None, raw: Mapping[str, Any]) -> dict[str, Any]:
    view = scene if name is None else scene.with_variant(name)
    variant = view.variant
    data = raw if variant is None else with_changes(raw, variant.changes)[0]
    return {"name": name, "title": "As it stands" if variant is None else variant.title, "why": "" if variant is None else variant.why,
            "rest": "" if variant is None else _told_apart({k: v for k, v in variant.changes.items() if not _shown(k)}),
            "parts": {p.name: {"board": p.board, "at": [round(v, 2) for v in p.placement.at], "turn": round(p.placement.turn, 2),
                               **plain_finish(p.finish, data["parts"][p.name].get("finish", []))} for p in view.parts}}


def plain_finish(finish: Finish, steps: list[dict[str, Any]]) -> dict[str, Any]:
    """A finish in words and as the file's own tables."""
    return {"steps": copy.deepcopy(steps), "sheen": finish.sheen, "words": finish_words(finish) or "bare wood", "sheenWords": sheen_label(finish.sheen),
            "warnings": list(finish_warnings(finish))}


def library(scene: Scene | None, kept: Kept, part: str | None) -> dict[str, Any]:
    """Stains as they look on a part's board, clear coats, and the woods to choose from."""
    axes = None
    if scene is not None and scene.parts:
        chosen = next((p for p in scene.parts if p.name == part), scene.parts[-1])
        axes = load_board(scene.boards[chosen.board], kept).axes
    dyes = []
    for name, entry in stains().items():
        lab = None if axes is None else board_lab(Finish(steps=(StainStep(stain=entry.value, strength=1.0),)), axes)
        dyes.append({"name": name, "words": entry.value.words, "colour": None if lab is None else hex_of(lab),
                     "pigment": max(entry.value.hide) > 0})
    woods = []
    for name, file in textures().items():
        wood = texture(file)
        woods.append({"name": name, "wood": wood.wood, "cut": wood.cut})
    return {"stains": dyes, "films": [{"name": n, "words": e.value.words} for n, e in films().items()], "woods": woods,
            "sheens": [sheen_words(g) for g in range(int(MAX_GLOSS) + 1)]}


def plain_colour(found: PartColour, scene: Scene) -> dict[str, Any]:
    """The colour target of a part for the page; "assumed" where nobody measured its bare colour."""
    from ..papers.describe import assumed_bare  # not needed for a first picture

    def one(lab) -> dict[str, Any] | None:
        return None if lab is None else {"lab": [round(v, 1) for v in lab], "colour": hex_of(lab)}

    return {"part": found.part, "quick": False, **one(found.finished_lab), "bare": one(found.bare_lab), "light": one(found.light_lab), "dark": one(found.dark_lab),
            "middle": one(found.middle_lab), "edge": one(found.edge_lab), "error": round(found.error, 1), "spread": round(found.spread, 1),
            "basis": found.basis, "wood": found.wood, "actual": found.actual, "assumed": assumed_bare(scene, found.part)}
