"""``mockup shop``: papers for the bench."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_folder, note, wrote
from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

__all__ = ["shop"]


@click.command(cls=PlainCommand, example="mockup shop tern --variant honey --start 2027-01-11 --out shop")
@scene_argument
@variant_option
@click.option("--paper", metavar="a4|letter", type=click.Choice(["a4", "letter"]), default="a4", help="Left out, a4.")
@click.option("--start", metavar="DATE", help="First day of work, as 2027-01-11; left out, the shop file's, or today.")
@click.option("--full-size", is_flag=True, help="Add a cut map of each part at true size, to lay on the board.")
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("."), help="Folder to write to; left out, here.")
def shop(scene: str, variant: str | None, paper: str, start: str | None, full_size: bool, out: Path) -> None:
    """Write the papers for the bench: blanks, cut maps, parts at hand, finish schedule with calendar, materials, cautions.

    What a picture does not need stands in shop.toml beside the scene: thicknesses, bought parts as measured, days of rest.
    """
    from ..papers.shop import write_shop
    from ..scene.load import load_scene

    checked_folder(out)
    loaded = load_scene(scene)
    chosen = loaded if variant is None else loaded.with_variant(variant)
    with progress(f"Drawing the shop papers of {chosen.name}"):
        made, paths = write_shop(out, chosen, paper=paper, today=date.today().isoformat(), start=start, full_size=full_size)
    wrote(*paths)
    if made.gate.ready:
        note("Ready to cut.")
    else:
        note("Not ready to cut:")
        for text in made.gate.against:
            note(f"  {text}")
