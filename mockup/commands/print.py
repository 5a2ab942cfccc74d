"""``mockup print``: an instrument at true size on paper."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_file, note, opened, wrote
from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

__all__ = ["print_"]


@click.command("print", cls=PlainCommand, example="mockup print tern --variant honey --paper a4\n"
                                                  "mockup print tern --paper full --content outline --out tern.pdf")
@scene_argument
@variant_option
@click.option("--paper", metavar="full|a4|letter|a3", default="a4",
              help="One sheet as large as it takes, or sheets to join; WIDTHxHEIGHT in mm for other paper. Left out, a4.")
@click.option("--content", metavar="picture|outline|both", type=click.Choice(["picture", "outline", "both"]), default="both",
              help="The picture, outlines and centre line, or both; left out, both.")
@click.option("--side", metavar="front|back", type=click.Choice(["front", "back"]), default="front", help="The side to see.")
@click.option("--strings", is_flag=True, help="Draw the strings' middle lines over it.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="A pdf; left out, NAME.print.pdf here.")
def print_(scene: str, variant: str | None, paper: str, content: str, side: str, strings: bool, out: Path | None) -> None:
    """Print an instrument at true size, over as many sheets as it takes, to lay on the wood.

    Hardware that shop.toml lists is drawn at its measured size, in the picture too.
    """
    from ..papers.print import write_print
    from ..papers.shop_file import read_shop

    loaded = opened(scene)
    chosen = loaded if variant is None else loaded.with_variant(variant)
    stem = ".".join(word for word in (chosen.name, variant, side if side == "back" else None, "print") if word)
    path = checked_file(out or Path(f"{stem}.pdf"), (".pdf",), chosen.sources.values())
    shop = read_shop(chosen)
    with progress(f"Drawing {stem}") as report:
        pages = write_print(path, chosen, paper=paper, content=content, side=side, today=date.today().isoformat(),
                            shop=shop, strings=strings, report=report)
    wrote(path)
    note(f"{pages} page{'s' * (pages > 1)}. Print at 100 %, and measure the bars.")
