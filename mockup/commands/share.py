"""``mockup share``: the page to mail to a client."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_file, note, opened, quoted, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress

__all__ = ["share"]


@click.command(cls=PlainCommand, example="mockup share tern\nmockup share tern honey sea-blue --mail maker@example.org --out tern.html")
@scene_argument
@click.argument("variants", metavar="[VARIANT]...", nargs=-1)
@click.option("--mail", metavar="ADDRESS", help="Where the client's answer goes; left out, what the shop's file says.")
@click.option("--limit", metavar="MB", type=float, default=8.0, help="The largest the page may be; left out, 8.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="An html file; left out, NAME.share.html here.")
def share(scene: str, variants: tuple[str, ...], mail: str | None, limit: float, out: Path | None) -> None:
    """Write one page to mail to a client: the options large, front and back, to compare, to choose from and to answer."""
    from ..finish.words import finish_warnings
    from ..papers.share import write_share
    from ..papers.shop_file import read_shop

    loaded = opened(scene)
    path = checked_file(out or Path(f"{loaded.name}.share.html"), (".html", ".htm"), loaded.sources.values())
    address = read_shop(loaded).mail if mail is None else mail
    with progress(f"Drawing the page of {loaded.name}") as report:
        size = write_share(path, loaded, list(variants) or None, today=date.today().isoformat(), mail=address, limit=round(limit * 1e6),
                           report=report)
    wrote(path)
    # What a finisher would object to is for the maker, before the client sees it.
    for name in variants or [v.name for v in loaded.variants]:
        for part in loaded.with_variant(name).parts:
            for warning in finish_warnings(part.finish):
                note(f"{name}, {part.title}: {warning}")
    note(f"{size / 1e6:.1f} MB. When the client's answer comes: mockup approve {quoted(scene)} --choice FILE")
