"""``mockup approve``: the picture to sign, and its record."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_folder, note, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress

__all__ = ["approve"]


@click.command(cls=PlainCommand, example="mockup approve tern --variant honey --out approvals")
@scene_argument
@click.option("--variant", metavar="NAME", required=True, help="The variant that was chosen.")
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("."), help="Folder to write to; left out, here.")
def approve(scene: str, variant: str, out: Path) -> None:
    """Draw the approval of one variant: recipe, colours to meet, room to sign, and a record to check it by."""
    from ..papers.approval import approve as write_approval
    from ..scene.load import load_scene

    checked_folder(out)
    loaded = load_scene(scene)
    with progress(f"Drawing the approval of {loaded.name}") as report:
        picture, record = write_approval(loaded, variant, out, today=date.today().isoformat(), name=f"{loaded.name}.{variant}",
                                         report=report)
    wrote(picture, record)
    note(f"To check it later: mockup verify {record}")
