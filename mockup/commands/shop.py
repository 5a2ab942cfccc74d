"""``mockup shop``: papers for the bench."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..errors import MockupError
from .output import beside, checked_folder, note, opened, wrote
from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

if TYPE_CHECKING:
    from ..scene.values import Scene

__all__ = ["shop"]


@click.command(cls=PlainCommand, example="mockup shop my-guitar --new\n"
                                         "mockup shop tern --variant honey --start 2027-01-11 --out shop")
@scene_argument
@variant_option
@click.option("--paper", metavar="a4|letter", type=click.Choice(["a4", "letter"]), default="a4", help="Left out, a4.")
@click.option("--start", metavar="DATE", help="First day of work, as 2027-01-11; left out, the shop file's, or today.")
@click.option("--full-size", is_flag=True, help="Add a cut map of each part at true size, to lay on the board.")
@click.option("--new", is_flag=True, help="Write a shop.toml beside the scene to fill in, and nothing else.")
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("."), help="Folder to write to; left out, here.")
def shop(scene: str, variant: str | None, paper: str, start: str | None, full_size: bool, new: bool, out: Path) -> None:
    """Write the papers for the bench: blanks, cut maps, parts at hand, finish schedule with calendar, materials, cautions.

    What a picture does not need stands in shop.toml beside the scene: thicknesses, bought parts as measured, days of rest.
    """
    from ..papers.shop import write_shop

    loaded = opened(scene)
    if new:
        _begin(loaded, beside(scene, "shop.toml"))
        return
    checked_folder(out)
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


def _begin(scene: Scene, path: Path) -> None:
    """Write the shop's file of a scene that has none, to ``path`` beside it."""
    from ..files.whole import write_whole
    from ..papers.shop_file import shop_path
    from ..papers.shop_start import shop_start
    from ..scene.places import builtin_scenes

    if (there := shop_path(scene)) is not None:
        raise MockupError("The scene has a shop file already.", fix="Fill that in.", where=there.name)
    if builtin_scenes().get(scene.name) == scene.file:
        raise MockupError(f'"{scene.name}" is a built-in scene, which stays as it is.', fix="Begin your own with mockup new.")
    checked_folder(path.parent)
    write_whole(path, shop_start(scene).encode("utf-8"))
    wrote(path)
    note("Measure each bought part, and write down what you find.")
