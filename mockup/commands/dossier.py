"""``mockup dossier``: everything that is agreed, in one PDF to mail."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_folder, note, opened, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress

__all__ = ["dossier"]


@click.command(cls=PlainCommand, example="mockup dossier tern --variant honey --out approvals")
@scene_argument
@click.option("--variant", metavar="NAME", required=True, help="The variant that was chosen.")
@click.option("--paper", metavar="a4|letter", type=click.Choice(["a4", "letter"]), default="a4", help="Left out, a4.")
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("."),
              help="Folder to write to, where earlier revisions are kept; left out, here.")
def dossier(scene: str, variant: str, paper: str, out: Path) -> None:
    """Put picture, options, recipe, colours, placement, revisions, cautions and signature into one PDF to mail."""
    from ..papers.dossier import write_dossier

    checked_folder(out)
    loaded = opened(scene)
    with progress(f"Drawing the dossier of {loaded.name}"):
        paths = write_dossier(out, loaded, variant, paper=paper, today=date.today().isoformat())
    wrote(*paths)
    note("Keep the revision files in that folder: the next dossier compares with them.")
