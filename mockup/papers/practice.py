"""Common practice of finishing as data: schedules of films and steps, grits, cautions; and how a shop changes them."""

from __future__ import annotations

import csv
import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..errors import MockupError, Problem
from ..scene.reader import Reader, show
from ..scene.text import read_toml

__all__ = ["FILM_KEYS", "OTHER", "Caution", "FilmPractice", "Grit", "StepPractice", "cami_words", "cautions", "film_practice",
           "films_practice", "grit_words", "grits", "practice_overrides", "protected_woods", "steps_practice"]

FOLDER = Path(__file__).resolve().parent / "data"
METHODS = ("wiped", "brushed", "sprayed")
OTHER = "other"
FILM_KEYS = ("method", "coats_per_day", "recoat_hours", "sand_every", "sand_grit", "cure_days", "level_grits", "full_cure_days",
             "spread", "loss", "mix", "thin", "cautions")


@dataclass(frozen=True, slots=True)
class Grit:
    """One grade of abrasive: mean grain in micrometres, FEPA P and CAMI numbers ("" where that scale has no such grade)."""

    um: float
    fepa: str
    cami: str
    basis: str


@dataclass(frozen=True, kw_only=True, slots=True)
class FilmPractice:
    """How a film is put on; keys as described in ``data/practice.toml``."""

    basis: str
    method: str
    coats_per_day: float
    recoat_hours: tuple[float, float]
    sand_every: int
    sand_grit: int
    cure_days: int
    level_grits: tuple[int, ...]
    full_cure_days: int
    spread: float
    loss: float
    mix: Mapping[str, float]
    thin: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class StepPractice:
    """How a step other than clear coats is done; keys as in ``data/steps.toml``."""

    basis: str
    dry_days: int
    grits: tuple[int, ...]
    spread: float
    loss: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt, and where the words come from."""

    key: str
    title: str
    text: str
    source: str


@functools.cache
def grits() -> tuple[Grit, ...]:
    """Grades of abrasive, coarse to fine."""
    with open(FOLDER / "grits.csv", encoding="utf-8", newline="") as file:
        return tuple(Grit(float(row["um"]), row["fepa"], row["cami"], row["basis"]) for row in csv.DictReader(file))


def grit_words(p: int) -> str:
    """ "P400 (CAMI 320)": the grade by FEPA and by CAMI, the nearest there is where the scales do not meet."""
    return f"P{p} (CAMI {cami_words(p)})"


def cami_words(p: int) -> str:
    """The CAMI number of a FEPA P grade: "320", or "about 220" where no grade is of the same grain."""
    table = grits()
    by_name = {g.fepa: g for g in table if g.fepa}
    size = by_name[f"P{p}"].um if f"P{p}" in by_name else _between(p)
    near = min((g for g in table if g.cami), key=lambda g: abs(g.um / size - 1))
    return near.cami if abs(near.um / size - 1) < 0.005 else f"about {near.cami}"


def _between(p: int) -> float:
    """Grain of a P number that the table lacks, from its neighbours."""
    import numpy as np

    known = sorted((int(g.fepa[1:]), g.um) for g in grits() if g.fepa)
    return float(np.interp(p, [k for k, _ in known], [um for _, um in known]))


@functools.cache
def films_practice() -> Mapping[str, FilmPractice]:
    """Schedules by film name, "other" for those that have none."""
    return MappingProxyType({name: FilmPractice(basis=_basis(data), **{k: v for k, v in _values(name, data, FILM_KEYS).items()})
                             for name, data in read_toml(FOLDER / "practice.toml").items()})


def film_practice(name: str, changed: Mapping[str, Mapping[str, Any]]) -> FilmPractice:
    """The schedule of a film with what a shop changed in it."""
    usual = films_practice()
    found = usual.get(name, usual[OTHER])
    own = changed.get(name, {})
    return replace(found, **own, basis=f"{found.basis}, changed by this shop") if own else found


@functools.cache
def steps_practice() -> Mapping[str, StepPractice]:
    """Other steps by name."""
    return MappingProxyType({
        name: StepPractice(basis=_basis(data), dry_days=data["dry_days"], grits=tuple(data.get("grits", ())), spread=data.get("spread", 0.0),
                           loss=data.get("loss", 0.0), cautions=tuple(data["cautions"]))
        for name, data in read_toml(FOLDER / "steps.toml").items()})


@functools.cache
def cautions() -> Mapping[str, Caution]:
    """Cautions by key."""
    data = read_toml(FOLDER / "cautions.toml")
    return MappingProxyType({key: Caution(key, c["title"], c["text"], c["source"]) for key, c in data.items() if key != "protected"})


def protected_woods(woods: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """(name, what is known) of protected woods among descriptions in words."""
    said = " ".join(woods).lower()
    return tuple((p["name"], p["text"]) for p in read_toml(FOLDER / "cautions.toml")["protected"]
                 if any(word in said for word in p["words"]) and not ("african" in said and p["words"][0] == "mahogany"))


def _basis(data: Mapping[str, Any]) -> str:
    return data["basis"]


def _values(name: str, data: Mapping[str, Any], keys: Sequence[str]) -> dict[str, Any]:
    """Our own data, read with the checks that a shop's file gets."""
    problems: list[Problem] = []
    read = Reader({k: v for k, v in data.items() if k != "basis"}, (name,), problems)
    values = practice_overrides(read, keys)
    if problems:
        raise MockupError.several(problems).within("practice.toml", joint=": ")
    return values


def practice_overrides(read: Reader, keys: Sequence[str]) -> dict[str, Any]:
    """Values of a film's schedule that a table holds, each checked; nothing for those it does not."""
    found: dict[str, Any] = {}
    for key in keys:
        if read.has(key):
            found[key] = _value(read, key)
    read.close()
    return {k: v for k, v in found.items() if v is not None}


def _value(read: Reader, key: str) -> Any:
    match key:
        case "method":
            return read.choice(key, METHODS, "wiped")
        case "coats_per_day":
            return read.number(key, 0.1, 20, 1, unit="coats")
        case "sand_every":
            return int(read.number(key, 0, 30, 0, whole=True, unit="coats"))
        case "sand_grit":
            return int(read.number(key, 60, 2500, 320, whole=True))
        case "cure_days" | "full_cure_days":
            return int(read.number(key, 0, 365, 14, whole=True, unit="days"))
        case "spread":
            return read.number(key, 1, 100, 10, unit="m² a litre")
        case "loss":
            return read.number(key, 0, 0.95, 0.2)
        case "thin":
            return read.text(key, "", longest=120)
        case "recoat_hours" | "level_grits":
            return _numbers(read, key, (0.1, 500) if key == "recoat_hours" else (60, 5000))
        case "mix":
            table = read.table("mix")
            return MappingProxyType({k: table.number(k, 0.01, 1000, 1, unit="parts") for k in table.data})
        case "cautions":
            value = read.raw(key)
            if isinstance(value, list) and all(isinstance(v, str) and v in cautions() for v in value):
                return tuple(value)
            read.note(key, f"Cautions is {show(value)}.", f"Use a list of {', '.join(cautions())}.")
    return None


def _numbers(read: Reader, key: str, limits: tuple[float, float]) -> tuple | None:
    value = read.raw(key)
    pair = key == "recoat_hours"
    good = isinstance(value, list) and (len(value) == 2 if pair else len(value) <= 12) and \
        all(isinstance(v, (int, float)) and not isinstance(v, bool) and limits[0] <= v <= limits[1] for v in value)
    if not good or (value and list(value) != sorted(value)):
        read.note(key, f"{key.replace('_', ' ').capitalize()} is {show(value)}.",
                  "Use two numbers of hours, [least, most]." if pair else "Use FEPA P numbers, coarse to fine, as [400, 800, 1500].")
        return None
    return tuple(float(v) if pair else int(v) for v in value)
