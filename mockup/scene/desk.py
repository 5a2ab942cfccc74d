"""What lies open while one scene is checked: its folder, and every file read so far, once.

A scene names files by a path in its own folder. Nothing outside that folder
is read, whatever links or dots the path goes through.
"""

from __future__ import annotations

import re
from pathlib import Path

from ..errors import MockupError
from ..files.photo import photo_size
from ..outline.drawing import outline_ids, read_outline
from ..outline.shape import Shape
from .reader import offer

__all__ = ["Desk"]

MOST_PIXELS = 120_000_000  # what files.photo reads


class Desk:
    """Files of one scene; each is read once, and each failure is remembered."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self._shapes: dict[tuple[str, str], Shape | MockupError] = {}
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
            raise MockupError(f'The file "{name[:80]}" {found}.', fix=self._beside(name))
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
        """The outline with that id in an SVG file of the scene's folder, in drawing mm."""
        key = (name, id)
        if key not in self._shapes:
            try:
                path = self.inside(name)
                ids = outline_ids(path)
                if id not in ids:
                    raise MockupError(f'There is no outline with the id "{id[:60]}" in {name}.',
                                      fix=offer(id, ids) or "Give a path in the drawing an id.")
                self._shapes[key] = read_outline(path, id)
            except MockupError as error:
                self._shapes[key] = error
        return _given(self._shapes[key])

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
                self._sizes[path] = error
        return _given(self._sizes[path])


def _given(kept):
    if isinstance(kept, MockupError):
        raise kept
    return kept
