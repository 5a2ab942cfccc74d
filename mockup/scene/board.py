"""The boards of a scene: a wood of the library, or the maker's own photograph.

What a scene does not say of a photograph is read from the TOML beside it, if there is one.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from ..errors import MockupError, Problem
from .desk import Desk
from .library import find, texture, textures
from .reader import Reader
from .text import read_toml
from .values import BoardRef

__all__ = ["read_board"]

PHOTO_KEYS = ("mm_per_pixel", "wood", "actual", "grain")
LONGEST = 6000.0  # mm; a board longer than that has a wrong scale


def read_board(read: Reader, name: str, desk: Desk, sources: dict[str, Path]) -> BoardRef | None:
    """One table of ``[boards]``; None when it cannot be used, with the reason noted."""
    if read.broken:
        return None
    before = len(read.problems)
    has_texture, has_photo = read.has("texture"), read.has("photo")
    if has_texture == has_photo:
        read.note("", "The board has both texture and photo." if has_photo else "The board has no picture.",
                  'Give it one of them: texture = "flame-maple-1" from the library, or photo = "my-board.jpg".')
        return None
    board = _from_texture(read, name, desk, sources) if has_texture else _from_photo(read, name, desk, sources)
    read.close()
    return board if len(read.problems) == before else None


def _from_texture(read: Reader, name: str, desk: Desk, sources: dict[str, Path]) -> BoardRef | None:
    for key in PHOTO_KEYS:
        if read.has(key):
            read.note(key, f"{key} goes with a photo.", "Take it out: a texture brings its own.")
    wanted = read.text("texture", None, longest=60, fix='Name a wood of the library, as "flame-maple-1".')
    if not wanted:
        return None
    try:
        file = find(wanted, textures(), "texture")
        wood = texture(file)
        width, height = desk.photo(wood.picture)
    except MockupError as error:
        _pass_on(read, "texture", error)
        return None
    sources[f"texture:{file.name}"] = file
    sources[f"texture:{wood.picture.name}"] = wood.picture
    return BoardRef(name=name, path=wood.picture, mm_per_pixel=wood.mm_per_pixel, wood=wood.wood, actual=False,
                    grain=wood.grain, size_mm=(width * wood.mm_per_pixel, height * wood.mm_per_pixel))


def _from_photo(read: Reader, name: str, desk: Desk, sources: dict[str, Path]) -> BoardRef | None:
    wanted = read.text("photo", None, longest=400, fix='Name a picture in the folder of the scene, as "my-board.jpg".')
    record = _record(read, wanted, desk, sources) if wanted and not all(read.has(key) for key in PHOTO_KEYS[:3]) else None
    known = record or {}
    scale = read.number("mm_per_pixel", 0.002, 5, known.get("mm_per_pixel"), unit="mm")
    wood = read.text("wood", known.get("wood"), longest=80, fix='Say what wood it is, as wood = "flame maple".')
    actual = read.flag("actual", known.get("actual"), fix="Use actual = true when this very board will be used, or false "
                                                        "when it stands for its kind.")
    grain_given = read.has("grain") or "grain" in known
    grain = read.number("grain", -180, 180, known.get("grain", 0), unit="degrees", ends=("", ""))
    if not wanted:
        return None
    try:
        path = desk.inside(wanted)
        width, height = desk.photo(path)
    except MockupError as error:
        _pass_on(read, "photo", error)
        return None
    size = (width * scale, height * scale)
    if max(size) > LONGEST:
        read.note("mm_per_pixel", f"At {scale:g} mm a pixel the board is {max(size):.0f} mm long.",
                  f"Check the scale: a board is at most {LONGEST:.0f} mm.")
    sources[wanted] = path
    # A photograph that no command has looked at shows what a camera made of the wood.
    unmeasured = known["unmeasured"] if record else _unmeasured(wanted, desk)
    # Boards are cut along the grain, so the long side of the picture says which way it runs.
    return BoardRef(name=name, path=path, mm_per_pixel=scale, wood=wood, actual=actual, size_mm=size,
                    grain=grain if grain_given else (90.0 if height > width else 0.0), unmeasured=unmeasured)


def _record(read: Reader, wanted: str, desk: Desk, sources: dict[str, Path]) -> dict[str, Any] | None:
    """What the file beside a picture says of it, as "mockup board" and "mockup wood make" write one; None without such a file."""
    name, file, table = _beside(wanted, desk)
    if table is None:
        return None
    problems: list[Problem] = []
    beside = Reader(table, (), problems)
    found = {"mm_per_pixel": beside.number("mm_per_pixel", 0.002, 5, None, unit="mm"), "wood": beside.text("wood", None, longest=80),
             "actual": beside.flag("actual", None)}
    if beside.has("grain"):
        found["grain"] = beside.number("grain", -180, 180, None, unit="degrees", ends=("", ""))
    if problems:
        _pass_on(read, "photo", MockupError.several(problems).within(name, joint=": "))
        return None
    sources[name] = file
    found["unmeasured"] = _of_no_measure(table)
    return found


def _beside(wanted: str, desk: Desk) -> tuple[str, Path | None, dict[str, Any] | None]:
    """The name, path and table of the file beside a picture; no table where it is not there or is another's, perhaps this very scene."""
    name = str(PurePosixPath(wanted).with_suffix(".toml")) if PurePosixPath(wanted).suffix else ""
    try:
        file = desk.inside(name)
        table = read_toml(file)
    except MockupError:
        return name, None, None
    return name, file, table if "mm_per_pixel" in table else None


def _of_no_measure(table: Mapping[str, Any]) -> bool:
    quality = table.get("quality")  # a drawn board has none: its colour is that of its kind
    return isinstance(quality, dict) and quality.get("colour_basis") == "nothing"


def _unmeasured(wanted: str, desk: Desk) -> bool:
    """Whether nothing tells the colour of a board whose scene says all else itself."""
    table = _beside(wanted, desk)[2]
    return table is None or _of_no_measure(table)


def _pass_on(read: Reader, key: str, error: MockupError) -> None:
    for problem in error.problems:
        found = f"{problem.where}: {problem.found}" if problem.where else problem.found
        read.note(key, found, problem.fix)
