"""Change a value in the text of a scene file, and nothing else: remarks, order and layout stay."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..errors import MockupError

__all__ = ["with_placement"]

# A new line goes under the last of these that the part has.
AFTER = ("title", "outline", "board", "cut", "joint", "at")


def with_placement(text: str, part: str, at: tuple[float, float], turn: float) -> str:
    """The text of a scene with ``at`` (mm on the board) and ``turn`` (degrees) of one part set.

    MockupError when the file has no table for the part, or is written in a
    way in which the change cannot be made without touching more than that.
    """
    wanted = {"at": [float(at[0]), float(at[1])], "turn": float(turn)}
    mark, text = ("\ufeff", text[1:]) if text.startswith("\ufeff") else ("", text)  # some editors put one before the first letter
    before = tomllib.loads(text)
    if not isinstance(before.get("parts"), dict) or not isinstance(before["parts"].get(part), dict):
        raise MockupError(f'The part "{part}" has no table of its own in the file.',
                          fix=f"It comes from other values: set at = [{at[0]:g}, {at[1]:g}] and turn = {turn:g} there by hand.")
    known = set(before["parts"][part])
    before["parts"][part].update(wanted)
    for change in (_with_lines, _with_document):
        try:
            changed = change(text, part, wanted, known)
            if tomllib.loads(changed) == before:
                return mark + changed
        except (TOMLKitError, tomllib.TOMLDecodeError, KeyError, TypeError):
            pass  # the next way, or none
    raise MockupError(f'The table of the part "{part}" could not be changed without touching other values.',
                      fix=f"Set at = [{at[0]:g}, {at[1]:g}] and turn = {turn:g} by hand.")


def _with_lines(text: str, part: str, wanted: dict[str, Any], known: set[str]) -> str:
    """New keys as lines of their own beside those they belong to; tomlkit would put them below the remarks that follow the table."""
    end = "\r\n" if "\r\n" in text else "\n"
    for key, value in wanted.items():
        if key in known:
            text = _with_document(text, part, {key: value}, known)
            continue
        at = _line_after(text, part)
        if at is None:
            raise KeyError(part)
        lead = "" if text[:at].endswith("\n") else end
        text = f"{text[:at]}{lead}{key} = {tomlkit.item(value).as_string()}{end}{text[at:]}"
    return text


def _with_document(text: str, part: str, wanted: dict[str, Any], known: set[str]) -> str:
    document = tomlkit.parse(text)
    for key, value in wanted.items():
        document["parts"][part][key] = value  # type: ignore[index]
    return tomlkit.dumps(document)


def _line_after(text: str, part: str) -> int | None:
    """Where in the text a new line of ``[parts.NAME]`` goes; None when its table is written another way."""
    header = re.search(rf"""^[ \t]*\[[ \t]*parts[ \t]*\.[ \t]*(["']?){re.escape(part)}\1[ \t]*\][ \t]*(#[^\n]*)?(\n|\Z)""", text, re.MULTILINE)
    if header is None:
        return None
    place = header.end()
    table = re.search(r"^[ \t]*\[", text[place:], re.MULTILINE)
    last = place + table.start() if table else len(text)
    for line in re.finditer(r"^[ \t]*([a-z_]+)[ \t]*=[^\n]*(\n|\Z)", text[header.end():last], re.MULTILINE):
        # A list or text over several lines would be torn apart: those keys never have one.
        if line[1] in AFTER and not re.search(r"\[[^\]]*$", line[0].split("#")[0].rstrip()):
            place = header.end() + line.end()
    return place
