"""A TOML file from disk to plain data, with errors that show the line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from ..errors import MockupError
from ..files.whole import read_bytes

__all__ = ["LIMIT", "parse_toml", "read_toml"]

LIMIT = 1_000_000  # bytes; a scene of 200 parts is a tenth of it

MOST_POINTS, DEEPEST = 100, 20
TOO_DEEP = ("Lists or tables are nested too deeply.", "Flatten them.")
ADVICE = ("Write text in quotes, numbers bare and with a point (12.5), lists in [ ], "
          "and one key = value a line.")

# What the parser says that a maker meets, and how it is said here; what it means stands in the line beside it.
PLAIN = (
    (r"Cannot declare \(.*\) twice", "This heading stands twice", "Put what stands under both under one of them."),
    (r"Cannot overwrite a value", "This key is given twice", "Take one of the two out, or put a # before it."),
    (r"Expected newline or end of document after a statement", "More stands here than one value", None),
    (r"Illegal character '\\n'", "The quote is not closed", None),
    (r"Unclosed array", "A [ before this is not closed", None),
    (r"Expected '=' after a key in a key/value pair", "An = is missing after the key", None),
    (r"Invalid value", "This is neither text in quotes nor a number", None),
)


def read_toml(path: Path) -> dict[str, Any]:
    """The file's tables; MockupError, with the file's name, when it cannot be read or is no TOML."""
    try:
        return parse_toml(read_bytes(path, limit=LIMIT))
    except MockupError as error:
        if any(path.name in str(p) for p in error.problems):
            raise
        raise error.within(path.name, joint=": ") from None


def parse_toml(data: bytes) -> dict[str, Any]:
    """Bytes of UTF-8 TOML to tables; MockupError with line and column."""
    if not data.strip():
        raise MockupError("The file is empty.", fix='Start from the one "mockup new" writes.')
    try:
        text = data.decode("utf-8-sig")  # some editors put a mark before the first letter
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise MockupError(f"Line {line} is not UTF-8 text.", fix="Save the file as UTF-8.") from None
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") > MOST_POINTS:  # tomllib's time grows with the square of a key's length
            raise MockupError(f"The line holds more than {MOST_POINTS} points.", fix="Spread it over more lines.",
                              where=f"line {number}")
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise MockupError(TOO_DEEP[0], fix=TOO_DEEP[1]) from None
    except (tomllib.TOMLDecodeError, ValueError, OverflowError) as error:
        raise _syntax(str(error), text) from None
    if _depth(data) > DEEPEST:
        raise MockupError(TOO_DEEP[0], fix=TOO_DEEP[1])
    return data


def _depth(data: Any) -> int:
    """How many tables and lists lie within each other; without recursion, since it guards against that."""
    level, depth = [data], 0
    while level:
        level = [v for node in level if isinstance(node, (dict, list))
                 for v in (node.values() if isinstance(node, dict) else node)]
        depth += 1
    return depth


def _syntax(message: str, text: str) -> MockupError:
    """The parser's message with the line it means."""
    lines = text.splitlines() or [""]
    place = re.search(r"\s*\(at line (\d+), column (\d+)\)", message)
    what = re.sub(r"\s*\(at .*?\)\s*$", "", message)
    if not place:
        return MockupError(f"{what} at the end of the file.", fix="Close what is open: a quote, a ] or a }.")
    line, column = int(place[1]), int(place[2])
    shown = "".join(c if c.isprintable() else " " for c in lines[line - 1][:500]).strip() if line <= len(lines) else ""
    if len(shown) > 70:
        shown = shown[:69] + "…"
    said, advice = next(((plain, fix) for pattern, plain, fix in PLAIN if re.fullmatch(pattern, what)), (what, None))
    found = f'{said}, in "{shown}".' if said != what and shown else f'{what} in "{shown}".' if shown else f"{said}."
    return MockupError(found, fix=advice or ADVICE, where=f"line {line}, column {column}")
