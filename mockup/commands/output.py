"""Where a command writes, checked before any work is done, and how it says what it wrote."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..errors import MockupError

if TYPE_CHECKING:
    from ..scene.values import Scene

__all__ = ["beside", "checked_file", "checked_folder", "note", "opened", "quoted", "table", "wrote"]


def beside(scene: str, name: str) -> Path:
    """A file of that name in the folder of a scene's file, its path as the scene was named on the command line."""
    given = Path(scene)
    return (given if given.is_dir() else given.parent) / name


def checked_file(path: Path, suffixes: Iterable[str], inputs: Iterable[Path] = (), *, reader: str = "The scene") -> Path:
    """``path`` if a file of one of the suffixes can be written there and it is none of the inputs that ``reader`` reads."""
    suffixes = tuple(suffixes)
    if path.suffix.lower() not in suffixes:
        fix = f"Use one of: {', '.join(suffixes)}."
        found = f'"{path.suffix}" cannot be written.' if path.suffix else "The file name has no ending that says what to write."
        raise MockupError(found, fix=fix, where=str(path))
    if path.is_dir():
        raise MockupError("This is a folder.", fix="Name a file in it.", where=str(path))
    real = os.path.realpath(path)
    if any(real == os.path.realpath(p) for p in inputs):
        raise MockupError(f"{reader} reads this file.", fix="Write to another one: inputs are never changed.", where=str(path))
    checked_folder(path.parent)
    return path


def checked_folder(folder: Path) -> Path:
    """``folder`` if files can be written there, or it can be made."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise MockupError("This is a file, not a folder.", fix="Choose another folder.", where=str(there))
    if not os.access(there, os.W_OK | os.X_OK):
        raise MockupError(f'The folder "{there}" cannot be written to.', fix="Choose another folder, or allow writing there.",
                          where=str(folder))
    return folder


def wrote(*paths: Path) -> None:
    """Paths on stdout, one a line, so that another program can take them."""
    for path in paths:
        click.echo(str(path))


def note(text: str) -> None:
    """A remark on stderr."""
    click.echo(text, err=True)


def opened(scene: str) -> Scene:
    """A scene, after remarks on what was done to its drawings: those are for the maker alone, on no paper."""
    from ..scene.load import load_scene

    found = load_scene(scene)
    for text in found.notes:
        note(f"{text}.")
    return found


def quoted(path: Path | str) -> str:
    """A path as it is typed in a command that is suggested."""
    text = str(path)
    return f'"{text}"' if re.search(r"[^\w./\\:~-]", text) else text


def table(rows: Iterable[tuple[str, ...]]) -> None:
    """Rows on stdout, columns as wide as their widest entry, two spaces between."""
    rows = list(rows)
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        click.echo("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
