"""Where the tables of a TOML file stand in its text, line by line.

A parser gives values and forgets their places. What must be said of a line, or
moved with its remarks, is found here; values are never read from it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

__all__ = ["Section", "line_of", "sections"]

_WORD = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
_PATH = rf"[ \t]*({_WORD}(?:[ \t]*\.[ \t]*{_WORD})*)[ \t]*"
_HEADER = re.compile(rf"^[ \t]*\[{_PATH}\][ \t]*(?:#.*)?$")
_KEY = re.compile(rf"^{_PATH}=")
# What matters to nesting: texts, remarks and brackets.
_TOKEN = re.compile(r'"""|\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]')


@dataclass(frozen=True, slots=True)
class Section:
    """A table written under a header of its own, or what stands above the first one (``keys`` empty).

    start, body, stop  lines, counted from 0: of the header, of the first one below it, and of the header that follows.
    keys               of the table; None for an array of tables.
    values             key path below the table to the lines first..last of its value.
    """

    keys: tuple[str, ...] | None
    start: int
    body: int
    stop: int
    values: dict[tuple[str, ...], tuple[int, int]]

    @property
    def filled(self) -> int:
        """The line below the last value, or below the header: where another value goes."""
        return max((last for _, last in self.values.values()), default=self.body)


def sections(text: str) -> list[Section]:
    """The tables of a file that is valid TOML, in the order of its lines."""
    found: list[Section] = []
    keys: tuple[str, ...] | None = ()
    start = body = 0
    values: dict[tuple[str, ...], tuple[int, int]] = {}
    lines = text.splitlines()
    for first, last in _statements(lines):
        line = lines[first]
        if line.lstrip().startswith("["):
            found.append(Section(keys, start, body, first, values))
            header = _HEADER.match(line)
            keys, start, body, values = _split(header[1]) if header else None, first, first + 1, {}
        elif key := _KEY.match(line):
            values[_split(key[1])] = (first, last)
    found.append(Section(keys, start, body, len(lines), values))
    return found


def line_of(text: str, path: Sequence[str]) -> int | None:
    """The line, counted from 1, of the value at a path, or of the nearest table above it; None when nothing of it stands in the text.

    Items of a list count from 1, as in the paths of errors; a list over
    several lines with an item on each gives the item's own.
    """
    best: tuple[int, int] | None = None
    whole = tuple(path)
    for section in sections(text):
        if section.keys is None or section.keys != whole[:len(section.keys)]:
            continue
        if section.keys and (best is None or len(section.keys) > best[0]):
            best = len(section.keys), section.start
        for key, (first, last) in section.values.items():
            full = (*section.keys, *key)
            # A change of a variant is a path in one pair of quotes.
            full = tuple(k for part in full for k in part.split(".")) if len(section.keys) > 2 and section.keys[-1] == "set" else full
            if full == whole[:len(full)] and (best is None or len(full) > best[0]):
                best = len(full), _item(text, first, last, whole[len(full):])
    return None if best is None else best[1] + 1


def _item(text: str, first: int, last: int, rest: tuple[str, ...]) -> int:
    if not rest or not rest[0].isdigit():
        return first
    items = [n for n, line in enumerate(text.splitlines()[first:last], first) if line.lstrip().startswith("{")]
    place = int(rest[0]) - 1
    return items[place] if 0 <= place < len(items) else first


def _statements(lines: Sequence[str]) -> Iterator[tuple[int, int]]:
    """The lines first..last of each statement; remarks and empty lines between them left out."""
    first, depth, quote = None, 0, ""
    for n, line in enumerate(lines):
        if first is None:
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            first = n
        at = 0
        while at < len(line):
            if quote:
                end = line.find(quote, at)
                while quote == '"""' and end > 0 and (len(line[:end]) - len(line[:end].rstrip("\\"))) % 2:
                    end = line.find(quote, end + 1)
                if end < 0:
                    break
                at, quote = end + 3, ""
                continue
            token = _TOKEN.search(line, at)
            if token is None:
                break
            at = token.end()
            if token[0] in ('"""', "'''"):
                quote = token[0]
            else:
                depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(token[0], 0)
        if depth <= 0 and not quote:
            yield first, n + 1
            first, depth = None, 0
    if first is not None:
        yield first, len(lines)


def _split(path: str) -> tuple[str, ...]:
    return tuple(k[1:-1] if k[0] in "\"'" else k for k in re.findall(_WORD, path))
