"""``mockup demo``: a sheet and an approval of every built-in scene."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_folder, wrote
from .plain import PlainCommand
from .progress import progress

__all__ = ["demo"]


@click.command(cls=PlainCommand, example="mockup demo --out trial")
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("mockup-demo"),
              help="Folder to write to; left out, mockup-demo here.")
def demo(out: Path) -> None:
    """Draw every built-in scene: its sheet, and the approval of its first variant."""
    checked_folder(out)
    from ..papers.approval import approve
    from ..papers.sheet import write_sheet
    from ..render.kept import Kept
    from ..scene.load import load_scene
    from ..scene.places import builtin_scenes

    today = date.today().isoformat()
    for name, file in builtin_scenes().items():
        scene, kept = load_scene(file), Kept()
        path = out / f"{name}.sheet.png"
        with progress(f"Drawing the sheet of {name}") as report:
            write_sheet(path, scene, today=today, kept=kept, report=report)
        wrote(path)
        with progress(f"Drawing the approval of {name}") as report:
            paths = approve(scene, scene.variants[0].name, out, today=today, anew=True, kept=kept, report=report)
        wrote(*paths)
