"""``mockup new``: a project folder to start from."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import MockupError
from .output import checked_folder, note, quoted, wrote
from .plain import PlainCommand

__all__ = ["new"]


@click.command(cls=PlainCommand, example="mockup new my-guitar")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def new(folder: Path) -> None:
    """Make a project folder: a scene file with a remark on every line you may change, and a drawing."""
    from ..files.whole import write_all
    from ..scene.starter import starter_files

    files = {folder / name: data for name, data in starter_files().items()}
    for path in files:
        if path.exists() or path.is_symlink():
            raise MockupError("This file is there already, and stays as it is.", fix="Choose another folder.", where=str(path))
    checked_folder(folder)
    write_all(files)
    wrote(*files)
    note(f"Edit the first of them, then: mockup sheet {quoted(folder)}")
