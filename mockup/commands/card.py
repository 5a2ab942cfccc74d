"""``mockup card``: the reference sheet to lay beside a board."""

from __future__ import annotations

from pathlib import Path

import click

from .output import checked_file, note, wrote
from .plain import PlainCommand

__all__ = ["card"]


@click.command(cls=PlainCommand, example="mockup card --paper a4\nmockup card --paper letter --out card.pdf")
@click.option("--paper", metavar="a4|letter", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="What you print on.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="A pdf; left out, card.PAPER.pdf here.")
def card(paper: str, out: Path | None) -> None:
    """Write the reference sheet: strips to lay beside a board, so that its photo can be measured."""
    from ..board.door import write_card

    path = checked_file(out or Path(f"card.{paper}.pdf"), (".pdf",))
    write_card(paper, path)
    wrote(path)
    note("Print it at 100 %, and measure its ruler: mockup board takes what it reads as --ruler.")
