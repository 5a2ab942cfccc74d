"""``mockup sheet``: variants side by side."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_file, opened, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress

__all__ = ["sheet"]


@click.command(cls=PlainCommand, example="mockup sheet tern\nmockup sheet tern --variants honey,sea-blue --out tern.pdf --paper letter")
@scene_argument
@click.option("--variants", metavar="A,B,C", help="Which to show, in this order; left out, all of the scene.")
@click.option("--paper", metavar="a4|letter|a3", type=click.Choice(["a4", "letter", "a3"]),
              help="Lay it out for this paper; a pdf is for A4 when left out.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path),
              help="png, jpg or pdf by its ending; left out, NAME.sheet.png here.")
def sheet(scene: str, variants: str | None, paper: str | None, out: Path | None) -> None:
    """Put two to eight variants of a scene side by side, at the same light and scale."""
    from ..files.picture import SUFFIXES
    from ..papers.sheet import write_sheet

    loaded = opened(scene)
    path = checked_file(out or Path(f"{loaded.name}.sheet.png"), (".pdf", *SUFFIXES), loaded.sources.values())
    names = [name.strip() for name in variants.split(",")] if variants is not None else None
    with progress(f"Drawing the sheet of {loaded.name}") as report:
        write_sheet(path, loaded, names, today=date.today().isoformat(), paper=paper, report=report)
    wrote(path)
