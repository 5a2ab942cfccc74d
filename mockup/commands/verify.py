"""``mockup verify``: what, if anything, has changed since an approval."""

from __future__ import annotations

from pathlib import Path

import click

from .plain import PlainCommand
from .progress import progress

__all__ = ["verify"]


@click.command(cls=PlainCommand, example="mockup verify approvals/tern.honey.approval.json")
@click.argument("record", metavar="RECORD", type=click.Path(path_type=Path))
@click.option("--scene", metavar="SCENE", help="Compare with this scene; left out, with the one that the record names.")
def verify(record: Path, scene: str | None) -> int:
    """Draw an approved picture again and say what changed since, if anything; the exit code is 1 if so."""
    from ..papers.verify import verify as compare

    named = None if scene is None else _scene(scene)
    with progress(f"Comparing {record.name}") as report:
        found = compare(record, named, report=report)
    for line in found.lines():
        click.echo(" ".join(line.split()))
    return 0 if found.unchanged else 1


def _scene(name: str) -> Path | str:
    """A built-in name as it is, anything else as a path."""
    from ..scene.places import builtin_scenes

    return name if name in builtin_scenes() else Path(name)
