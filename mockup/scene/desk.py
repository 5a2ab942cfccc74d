"""What lies open while one scene is checked: its folder, and every file read so far, once.

A scene names files by a path in its own folder. Nothing outside that folder
is read, whatever links or dots the path goes through.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable
from dataclasses import replace
from pathlib import Path

from ..errors import MockupError
from ..files.photo import photo_size, read_photo
from ..files.whole import read_bytes
from ..outline.drawing import outline_fill, outline_ids, outline_missing, read_noted
from ..outline.dxf import LARGEST_DXF, dxf_layers, outline_from_dxf
from ..outline.trace import traced
from ..outline.shape import Shape
from .neck import Neck
from .reader import offer
from .values import Fitting

__all__ = ["Desk"]

MOST_CUT_OUT = 24_000_000
MOST_PIXELS = 120_000_000  # what files.photo reads


class Desk:
    """Files of one scene; each is read once, and each failure is remembered."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.units: str | None = None  # of DXF files that do not say
        self.notes: dict[str, None] = {}
        # What is made from a few measures, by those: few variants change any of it.
        self.made: dict[Hashable, tuple[Fitting, ...]] = {}
        self.necks: dict[Hashable, Neck] = {}
        self._shapes: dict[tuple[str, ...], Shape | MockupError] = {}
        self._cut_outs: dict[tuple[Path, float], Shape | MockupError] = {}
        self._sizes: dict[Path, tuple[int, int] | MockupError] = {}

    def inside(self, name: str) -> Path:
        """The file of that name, which must exist inside the scene's folder."""
        if not name or "\0" in name:
            raise MockupError("The file's name is empty.", fix="Name a file in the scene's folder.")
        parts = name.split("/")
        if name.startswith(("/", "~")) or "\\" in name or re.match(r"[A-Za-z]:", name) or ".." in parts:
            raise MockupError(f'"{name[:80]}" leads out of the scene\'s folder.',
                              fix="Put the file in that folder and name it from there, with / between folders.")
        try:
            path = (self.folder / name).resolve()
            inside, there = path.is_relative_to(self.folder), path.is_file()
            found = "is a folder" if path.is_dir() else "does not exist"
        except (OSError, RuntimeError, ValueError):  # a loop of links, or a name no disk takes
            raise MockupError(f'The file "{name[:80]}" cannot be opened.', fix="Check its name and links.") from None
        if not inside:
            raise MockupError(f'"{name[:80]}" is a link out of the scene\'s folder.',
                              fix="Put the file itself in that folder.")
        if not there:
            raise MockupError(f'The file "{name[:80]}" {found}.', fix="Name a file in it." if path.is_dir() else self._beside(name))
        return path

    def _beside(self, name: str) -> str:
        """The nearest file of the same kind in the scene's folder."""
        suffix = Path(name).suffix.lower()
        try:
            names = sorted(p.name for p in self.folder.iterdir() if p.is_file() and p.suffix.lower() == suffix)[:200]
        except OSError:
            names = []
        return offer(name, names) or "Put it in the folder of the scene."

    def shape(self, name: str, id: str) -> Shape:
        """The outline in a drawing of the scene's folder, in mm: by its id in an SVG file, by its layer in a DXF file."""
        key = (name, id, self.units or "")
        if key not in self._shapes:
            try:
                self._shapes[key] = self._dxf(name, id) if name.lower().endswith(".dxf") else self._svg(name, id)
            except MockupError as error:
                self._shapes[key] = error
        return _given(self._shapes[key])

    def _svg(self, name: str, id: str) -> Shape:
        path = self.inside(name)
        ids = outline_ids(path)
        # Of an element that is none, a group of several or a text, the reader says what it is.
        if id not in ids and (labelled := outline_missing(path, id)) is not None:
            raise MockupError(f'There is no outline with the id "{id[:60]}" in {name}.',
                              fix=labelled or offer(id, ids) or "Give a path in the drawing an id.")
        shape, notes = read_noted(path, id)
        self._note(f"{name}#{id}", notes)
        return shape

    def _note(self, where: str, notes: Iterable[str]) -> None:
        self.notes.update(dict.fromkeys(f"{where}: {note}" for note in notes))

    def _dxf(self, name: str, layer: str) -> Shape:
        path = self.inside(name)
        try:
            shape, notes = outline_from_dxf(read_bytes(path, limit=LARGEST_DXF), layer, units=self.units)
        except MockupError as error:
            raise error.within(f"{name}#{layer[:60]}") from None
        self._note(f"{name}#{layer}", notes)
        return shape

    def drawing(self, name: str, group: str = "") -> list[tuple[str, Shape, str | None]]:
        """Every outline seen in a drawing, lowest first: its id (or layer), its shape, and the colour "#rrggbb" that fills it.

        group  the id of a group (or one outline) of an SVG, or a layer of a DXF: only what is in it.
        """
        path = self.inside(name)
        if name.lower().endswith(".dxf"):
            layers = (group,) if group else dxf_layers(read_bytes(path, limit=LARGEST_DXF))
            return [(layer, self.shape(name, layer), None) for layer in layers]
        return [(id, self.shape(name, id), outline_fill(path, id)) for id in outline_ids(path, group)]

    def cut_out(self, path: Path, mm_per_pixel: float) -> Shape:
        """The outline of what is not transparent in a picture, in mm about the picture's middle."""
        key = (path, mm_per_pixel)
        if key not in self._cut_outs:
            try:
                alpha = read_photo(path, max_pixels=MOST_CUT_OUT).alpha
                if alpha is None:
                    raise MockupError(f"{path.name} has no transparent pixels.", fix="Cut the part out of its background, and save it as PNG.")
                self._cut_outs[key] = traced(alpha, mm_per_pixel)
            except MockupError as error:
                self._cut_outs[key] = _named(error, path)
        return _given(self._cut_outs[key])

    def photo(self, path: Path) -> tuple[int, int]:
        """Width and height of a board's picture in pixels, from its header."""
        if path not in self._sizes:
            try:
                width, height = photo_size(path)
                if width * height > MOST_PIXELS:
                    raise MockupError(f"The picture has {width * height / 1e6:.0f} million pixels.",
                                      fix=f"Make it smaller, at most {MOST_PIXELS // 10**6} million.")
                self._sizes[path] = (width, height)
            except MockupError as error:
                self._sizes[path] = _named(error, path)
        return _given(self._sizes[path])


def _named(error: MockupError, path: Path) -> MockupError:
    """An error about a file by the file's name: its path on this machine is no help, and goes nowhere."""
    return MockupError.several([replace(p, where=p.where.replace(str(path), path.name)) for p in error.problems])


def _given(kept):
    if isinstance(kept, MockupError):
        raise kept
    return kept
