"""The libraries of stains, films and woods: small commented TOML files.

A stain or film lies in ``library/`` beside this module, a wood in the
textures folder (a picture and its TOML). Names may be written with spaces,
hyphens or underscores, in either case.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Generic, TypeVar

from ..errors import MockupError, Problem
from ..finish.steps import Film, Stain
from .places import textures_folder
from .reader import Reader, offer
from .text import read_toml

__all__ = ["Entry", "Texture", "film_text", "films", "find", "read_film", "read_stain", "stain_text", "stains", "texture", "textures"]

FOLDER = Path(__file__).resolve().parent / "library"
PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Entry(Generic[T]):
    """A library value and the file it was read from."""

    value: T
    file: Path


@dataclass(frozen=True, kw_only=True, slots=True)
class Texture:
    """A wood of the library; its numbers mean what they mean in ``BoardRef``."""

    name: str
    picture: Path
    mm_per_pixel: float
    wood: str
    species: str
    cut: str
    grain: float
    made: str


@functools.cache
def stains() -> Mapping[str, Entry[Stain]]:
    """Stains by name."""
    return _library(FOLDER / "stains", _stain)


@functools.cache
def films() -> Mapping[str, Entry[Film]]:
    """Clear coats by name."""
    return _library(FOLDER / "films", _film)


def textures() -> Mapping[str, Path]:
    """The woods' TOML files by name; ``texture`` reads one."""
    return {file.stem: file for file in sorted(textures_folder().glob("*.toml"))}


@functools.lru_cache(maxsize=64)
def texture(file: Path) -> Texture:
    """A wood from its TOML and the picture beside it."""
    problems: list[Problem] = []
    read = Reader(read_toml(file), (), problems)
    pictures = [p for p in (file.with_suffix(s) for s in PICTURES) if p.is_file()]
    if not pictures:
        read.note("", "The picture of this wood is missing.", f"Put it beside the file, as {file.stem}.jpg.")
    value = Texture(
        name=file.stem, picture=pictures[0] if pictures else file,
        mm_per_pixel=read.number("mm_per_pixel", 0.002, 5, None, unit="mm"),
        wood=read.text("wood", None), species=read.text("species", ""), cut=read.text("cut", ""),
        grain=read.number("grain", -180, 180, 90, unit="degrees"), made=read.text("made", "", longest=600))
    if problems:
        raise MockupError.several(problems).within(file.name, joint=": ")
    return value


def find(name: str, entries: Mapping[str, T], kind: str) -> T:
    """The entry of that name; MockupError with the nearest name when there is none."""
    known = _loosely(tuple(entries))
    if (plain := _plain(name)) in known:
        return entries[known[plain]]
    raise MockupError(f'There is no {kind} named "{name[:60]}".',
                      fix=offer(name.lower(), entries) or f"There are no {kind}s in the library.")


@functools.lru_cache(maxsize=8)
def _loosely(names: tuple[str, ...]) -> dict[str, str]:
    return {_plain(name): name for name in names}


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


def read_stain(file: Path) -> Stain:
    """A stain from its TOML, one of the library or one that was fitted."""
    return _read(file, _stain)


def read_film(file: Path) -> Film:
    """A film from its TOML."""
    return _read(file, _film)


def _read(file: Path, make: Callable[[Reader], T]) -> T:
    problems: list[Problem] = []
    read = Reader(read_toml(file), (), problems)
    value = make(read)
    read.close()
    if problems:
        raise MockupError.several(problems).within(file.name, joint=": ")
    return value


def _library(folder: Path, make: Callable[[Reader], T]) -> Mapping[str, Entry[T]]:
    entries: dict[str, Entry[T]] = {}
    for file in sorted(folder.glob("*.toml")):
        value = _read(file, make)
        entries[value.name] = Entry(value, file)  # type: ignore[attr-defined]
    return MappingProxyType(entries)


def stain_text(stain: Stain, *comments: str) -> str:
    """The TOML of a stain, as ``read_stain`` reads it; ``comments`` go above it, one a line."""
    return _toml(comments, name=stain.name, words=stain.words, absorb=stain.absorb, hide=stain.hide, uptake=stain.uptake,
                 bend=stain.bend, basis=stain.basis, spread=stain.spread)


def film_text(film: Film, *comments: str) -> str:
    """The TOML of a film, as ``read_film`` reads it."""
    return _toml(comments, name=film.name, words=film.words, absorb=film.absorb, wet=film.wet, basis=film.basis, spread=film.spread)


_MEANING = {"absorb": "red, green, blue", "hide": "what a pigment scatters; 0 for a dye", "uptake": "1 follows figure and pores, 0 lies even",
            "bend": "power of the dose, per band", "wet": "how far the first coat wets the wood, 0..0.5",
            "spread": "ΔE00 within which 95 % of what it predicts should lie"}


def _toml(comments: tuple[str, ...], **values: object) -> str:
    lines = [f"# {' '.join(c.split())}" for c in comments]
    for key, value in values.items():
        written = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else \
            f"[{', '.join(f'{v:g}' for v in value)}]" if isinstance(value, tuple) else f"{value:g}"
        lines.append(f"{key} = {written}" + (f"   # {_MEANING[key]}" if key in _MEANING else ""))
    return "\n".join(lines) + "\n"


def _stain(read: Reader) -> Stain:
    return Stain(name=read.text("name", None, longest=40), words=read.text("words", None, longest=60),
                 absorb=read.bands("absorb", 200, None), hide=read.bands("hide", 50, (0.0, 0.0, 0.0)),
                 uptake=read.number("uptake", 0, 3, 1.0), bend=read.bands("bend", 2, (1.0, 1.0, 1.0)), basis=read.text("basis", None, longest=200),
                 spread=read.number("spread", 0, 50, 7.0))


def _film(read: Reader) -> Film:
    return Film(name=read.text("name", None, longest=40), words=read.text("words", None, longest=60),
                absorb=read.bands("absorb", 1, None), wet=read.number("wet", 0, 0.5, None),
                basis=read.text("basis", None, longest=200), spread=read.number("spread", 0, 50, 4.0))
