"""Reads one table of the file value by value and keeps every problem.

A ``Reader`` never raises: a bad value is noted with its key path and a usable
stand-in is returned, so that one pass finds all mistakes. ``close`` notes the
keys nobody asked for.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from ..colour.spaces import lab_to_linear, linear_to_lab, srgb8_to_lab
from ..errors import Problem, nearest

__all__ = ["NAME_ADVICE", "Reader", "clean", "clean_path", "is_name", "offer", "show"]

Lab = tuple[float, float, float]

NAME_ADVICE = "Use letters, digits, - and _ only, at most 60 of them."
WITH_UNIT = re.compile(r"""\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(.{0,12}?)\s*$""", re.DOTALL)
# What a maker may write after a number, and what turns it into mm.
LENGTHS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "″": 25.4}


def is_name(name: str) -> bool:
    """Whether the name of a part, board or variant is one that file names and paths can carry."""
    return re.fullmatch(r"[A-Za-z0-9_-]{1,60}", name) is not None


def clean(text: str, longest: int = 60) -> str:
    """Text from outside made fit for one line of an error."""
    text = "".join(c if c.isprintable() else "·" for c in text[:longest + 1])
    return text if len(text) <= longest else f"{text[:longest - 1]}…"


def clean_path(path: str) -> str:
    """A key path as errors write it."""
    return ".".join(clean(key) for key in path.split(".")[:20])


def show(value: Any) -> str:
    """A value from the file as a maker would know it again, short."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return f'"{clean(value, 40)}"'
        case int():
            return str(value) if abs(value) < 10**15 else "a huge number"
        case float():
            return f"{value:.6g}"
        case list():
            return "an empty list" if not value else f"a list of {len(value)}"
        case dict():
            return "a table"
        case datetime.datetime():
            return "a date with a time"
        case datetime.date():
            return f"the date {value.isoformat()}"
        case datetime.time():
            return "a time"
    return "nothing" if value is None else str(type(value).__name__)


def offer(name: str, names: Iterable[str]) -> str:
    """``errors.nearest``, told a name short enough to compare quickly."""
    return nearest(str(name)[:120], names)


class Reader:
    """One table of the file. ``path`` is its key path, () for the whole file."""

    def __init__(self, data: Any, path: tuple[str, ...], problems: list[Problem]) -> None:
        self.path, self.problems, self.asked = path, problems, set[str]()
        if not isinstance(data, dict):
            self.note("", f"{self._label(path[-1] if path else 'file')} is {show(data)}.", "Use a table of key = value.")
            self.data: dict[str, Any] = {}
            self.broken = True
        else:
            self.data, self.broken = data, False

    # -- problems ---------------------------------------------------------

    @staticmethod
    def _label(key: str) -> str:
        words = key.replace("_", " ")
        return words if not words or words[0].isdigit() else words[0].upper() + words[1:]

    def where(self, *keys: str | int) -> str:
        return ".".join(clean(str(k)) for k in (*self.path, *keys) if k != "")

    def note(self, key: str, found: str, fix: str = "", *more: str | int) -> None:
        self.problems.append(Problem(found, fix, self.where(key, *more)))

    def close(self) -> None:
        """Note every key that nobody asked for, with the nearest that exists."""
        unknown = [key for key in self.data if key not in self.asked]
        for number, key in enumerate(unknown):  # thousands of them need no thousand searches
            self.note(key, f"There is no key {show(key)} here.", offer(key, self.asked) if number < 40 else "")

    def skip(self) -> None:
        """Take every key as asked for: what else is wrong with the table is told elsewhere."""
        self.asked.update(self.data)

    # -- values -----------------------------------------------------------

    def has(self, key: str) -> bool:
        self.asked.add(key)
        return key in self.data

    def raw(self, key: str, default: Any = None) -> Any:
        self.asked.add(key)
        return self.data.get(key, default)

    def missing(self, key: str, fix: str) -> None:
        if not self.broken:
            self.note(key, f"{self._label(key)} is missing.", fix)

    def number(self, key: str, low: float, high: float, default: float | None, *, unit: str = "",
               ends: tuple[str, str] = ("", ""), whole: bool = False) -> float:
        """A number from ``low`` to ``high``; no default means that it must be there."""
        if not self.has(key):
            if default is None:
                self.missing(key, f"Add {key} = {_range(low, high, unit, ends, whole)}.")
            return float(low if default is None else default)
        good = self._number(self.data[key], low, high, self._label(key), (key,), unit, ends, whole)
        return float(low if default is None else default) if good is None else good

    def _number(self, value: Any, low: float, high: float, label: str, keys: tuple[str | int, ...],
                unit: str = "", ends: tuple[str, str] = ("", ""), whole: bool = False) -> float | None:
        use = f"Use {_range(low, high, unit, ends, whole)}."
        if isinstance(value, str) and (bare := _bare_number(value, unit)):
            self.note(str(keys[0]), f"{label} is {show(value)}, in quotes.", bare, *keys[1:])
        elif isinstance(value, bool) or not isinstance(value, (int, float)):
            self.note(str(keys[0]), f"{label} is {show(value)}.", use, *keys[1:])
        elif not low <= value <= high or (whole and value != int(value)):  # nan fails the first test
            self.note(str(keys[0]), f"{label} is {show(value)}.", use, *keys[1:])
        else:
            return int(value) if whole else float(value) + 0.0  # no -0.0 in records
        return None

    def point(self, key: str, limit: float) -> tuple[float, float] | None:
        """Two lengths, x and y; None when absent or bad."""
        if not self.has(key):
            return None
        value = self.data[key]
        if not isinstance(value, list) or len(value) != 2:
            self.note(key, f"{self._label(key)} is {show(value)}.", "Use two lengths in mm, [x, y].")
            return None
        x = self._number(value[0], -limit, limit, "X", (key, 1), "mm")
        y = self._number(value[1], -limit, limit, "Y", (key, 2), "mm")
        return None if x is None or y is None else (x, y)

    def numbers(self, key: str, low: float, high: float, count: tuple[int, int], *, unit: str = "mm", whole: bool = False) -> tuple[float, ...] | None:
        """A list of numbers, from ``count[0]`` to ``count[1]`` of them; one bare number stands for a list of one. None when absent or bad."""
        if not self.has(key):
            return None
        value = self.data[key]
        if not isinstance(value, list):
            value = [value]
        if not count[0] <= len(value) <= count[1]:
            many = f"{count[0]}" if count[0] == count[1] else f"{count[0]} to {count[1]}"
            self.note(key, f"{self._label(key)} is {show(self.data[key])}.", f"Use {many} numbers, as [{', '.join(['…'] * min(count[0], 3))}].")
            return None
        good = [self._number(v, low, high, "Number", (key, n), unit, ("", ""), whole) for n, v in enumerate(value, 1)]
        return None if None in good else tuple(v for v in good if v is not None)

    def points(self, key: str, limit: float, most: int, *, turned: bool = False) -> list[tuple[float, ...]] | None:
        """A list of points [x, y], or of [x, y, degrees]; None when absent or bad."""
        if not self.has(key):
            return None
        value, size = self.data[key], (3 if turned else 2)
        example = "[x, y, degrees]" if turned else "[x, y]"
        if isinstance(value, list) and len(value) == size and not any(isinstance(v, list) for v in value):
            value = [value]
        if not isinstance(value, list) or not value or len(value) > most or not all(isinstance(v, list) and len(v) == size for v in value):
            self.note(key, f"{self._label(key)} is {show(self.data[key])}.", f"Use a list of points, as [{example}, …], at most {most}.")
            return None
        labels = (("X", limit, "mm"), ("Y", limit, "mm"), ("Angle", 360.0, "degrees"))
        good = [tuple(self._number(v, -far, far, label, (key, n), unit) for v, (label, far, unit) in zip(point, labels, strict=False))
                for n, point in enumerate(value, 1)]
        return None if any(None in point for point in good) else good  # type: ignore[return-value]

    def text(self, key: str, default: str | None, *, longest: int = 120, fix: str = "") -> str:
        """One line of text; line breaks become spaces. No default means that it must be there."""
        if not self.has(key):
            if default is None:
                self.missing(key, fix or f'Add {key} = "...".')
            return default or ""
        value = self.data[key]
        if not isinstance(value, str):
            self.note(key, f"{self._label(key)} is {show(value)}.", fix or 'Use text in quotes.')
            return default or ""
        line = unicodedata.normalize("NFC", " ".join(value.split()))
        if default is None and not line:
            self.note(key, f"{self._label(key)} is empty.", fix or "Write some text.")
        elif any(unicodedata.category(c) in ("Cc", "Cs", "Co", "Cn") or c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
                 for c in line):
            self.note(key, f"{self._label(key)} holds characters that cannot be printed.", "Use plain letters.")
        elif len(line) > longest:
            self.note(key, f"{self._label(key)} has {len(line)} characters.", f"Use at most {longest}.")
        else:
            return line or default or ""
        return default or ""

    def choice(self, key: str, options: tuple[str, ...], default: str) -> str:
        """One of a few words."""
        value = self.raw(key, default)
        if isinstance(value, str) and value in options:
            return value
        fix = f"Use {_or(options)}."
        if isinstance(value, str) and (hint := offer(value, options)).startswith("Did"):
            fix = f"{hint} {fix}"
        self.note(key, f"{self._label(key)} is {show(value)}.", fix)
        return default

    def flag(self, key: str, default: bool | None, *, fix: str = "Use true or false.") -> bool:
        if not self.has(key):
            if default is None:
                self.missing(key, fix)
            return bool(default)
        value = self.data[key]
        if not isinstance(value, bool):
            self.note(key, f"{self._label(key)} is {show(value)}.", fix)
            return bool(default)
        return value

    def date(self, key: str) -> str | None:
        """A TOML date as "2026-11-25"; None when absent."""
        value = self.raw(key)
        if isinstance(value, datetime.datetime):
            value = value.date()
        if value is None or isinstance(value, datetime.date):
            return value.isoformat() if value else None
        quoted = isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", value)
        self.note(key, f"{self._label(key)} is {show(value)}.",
                  f"Write it without quotes: {key} = {value}." if quoted
                  else f"Use a date without quotes, as {key} = 2026-11-25.")
        return None

    def colour(self, key: str, default: Lab | None) -> Lab:
        """A Lab triple, or "#rrggbb" turned into one. No default means that it must be there."""
        grey = default or (50.0, 0.0, 0.0)
        advice = 'Use Lab, as [86, 1.5, 12], or "#rrggbb".'
        if not self.has(key):
            if default is None:
                self.missing(key, advice)
            return grey
        value, label = self.data[key], self._label(key)
        if isinstance(value, str) and re.fullmatch(r"#[0-9a-fA-F]{6}", value):
            codes = np.array([int(value[i:i + 2], 16) for i in (1, 3, 5)])
            return _triple(srgb8_to_lab(codes))
        if not isinstance(value, list) or len(value) != 3:
            self.note(key, f"{label} is {show(value)}.", advice)
            return grey
        ends = (("L", 0, 100, ("black", "white")), ("a", -128, 127, ("green", "red")),
                ("b", -128, 127, ("blue", "yellow")))
        lab = [self._number(v, low, high, name, (key, i + 1), "", words)
               for i, (v, (name, low, high, words)) in enumerate(zip(value, ends, strict=True))]
        if None in lab:
            return grey
        linear = lab_to_linear(np.array(lab, float))
        if linear.min() < -0.003 or linear.max() > 1.003:
            mild = _triple(linear_to_lab(np.clip(linear, 0, 1)), 0)
            self.note(key, f"{label} is Lab {_plain(lab)}, which no picture can show.",
                      f"Use a milder colour, as [{', '.join(f'{v:g}' for v in mild)}].")
            return grey
        return (lab[0], lab[1], lab[2])

    def bands(self, key: str, high: float, default: tuple[float, float, float] | None) -> tuple[float, float, float]:
        """Three numbers 0..high for red, green, blue."""
        low = (0.0, 0.0, 0.0)
        if not self.has(key):
            if default is None:
                self.missing(key, "Add three numbers, for red, green and blue.")
            return default or low
        value = self.data[key]
        if not isinstance(value, list) or len(value) != 3:
            self.note(key, f"{self._label(key)} is {show(value)}.", "Use three numbers, for red, green and blue.")
            return low
        good = [self._number(v, 0, high, name, (key, i + 1))
                for i, (v, name) in enumerate(zip(value, ("Red", "Green", "Blue"), strict=True))]
        return low if None in good else (good[0], good[1], good[2])

    # -- inner tables -----------------------------------------------------

    def table(self, key: str) -> Reader:
        """The table under ``key``, empty when absent."""
        return Reader(self.raw(key, {}), (*self.path, key), self.problems)

    def tables(self, key: str, most: int, kind: str) -> Mapping[str, Reader]:
        """Named tables under ``key``, in file order; their names are checked."""
        outer = self.table(key)
        if len(outer.data) > most:
            outer.note("", f"There are {len(outer.data)} {key}.", f"Use at most {most}.")
            return {}
        inner: dict[str, Reader] = {}
        for name, data in outer.data.items():
            if is_name(name):
                inner[name] = Reader(data, (*outer.path, name), self.problems)
            else:
                outer.note("", f"A {kind} is named {show(name)}.", NAME_ADVICE)
        return inner


def _triple(lab: np.ndarray, digits: int = 3) -> Lab:
    values = [round(float(v), digits) + 0.0 for v in lab]
    return (values[0], values[1], values[2])


def _plain(lab: Iterable[float | None]) -> str:
    return " ".join(f"{v:g}" for v in lab if v is not None)


def _or(options: tuple[str, ...]) -> str:
    quoted = [f'"{o}"' for o in options]
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else quoted[0]


def _range(low: float, high: float, unit: str, ends: tuple[str, str], whole: bool) -> str:
    """"0 (bare wood) to 1 (the stain as named)", "0.2 to 15 mm", "a whole number 1 to 30"."""
    first, last = (f"{v:g} ({e})" if e else f"{v:g}" for v, e in zip((low, high), ends, strict=True))
    return f"{'a whole number ' if whole else ''}{first} to {last}{' ' + unit if unit else ''}"


def _bare_number(text: str, unit: str) -> str:
    """How to write "12 mm" or "0,5": the advice, or '' when the text holds no number."""
    found = WITH_UNIT.match(text[:60])
    if not found:
        return ""
    value, word = float(found[1].replace(",", ".")), found[2].lower()
    if unit == "mm" and word in LENGTHS:
        return f"Write {round(value * LENGTHS[word], 4):g}, without quotes; lengths are in mm."
    if word == "%":
        return f"Write {round(value / 100, 6):g}, without quotes."
    if word and word not in (unit.lower(), "°", "deg", "degree", "degrees", "gu"):
        return ""
    return f"Write {value:g}, without quotes{f'; it is in {unit}' if unit else ''}."
