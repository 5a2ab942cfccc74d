"""``mockup bench``: try finishes by eye, on a page of this machine."""

from __future__ import annotations

from pathlib import Path

import click

from .output import note
from .plain import PlainCommand

__all__ = ["bench"]


@click.command(cls=PlainCommand, example="mockup bench tern\nmockup bench my-guitar --no-open --port 9000")
@click.argument("scene", metavar="[SCENE]", required=False)
@click.option("--port", metavar="N", type=click.IntRange(1024, 65535), help="Of this machine; where it is in use the next free one is taken and said.")
@click.option("--no-open", is_flag=True, help="Print the address, and open no browser.")
def bench(scene: str | None, port: int | None, no_open: bool) -> None:
    """Try finishes by eye: a page in your browser, served by this machine to itself alone."""
    from ..bench.serve import open_document, serve

    home = Path.cwd()
    chosen = scene or ("." if (home / "scene.toml").is_file() else "tern")
    document = open_document(chosen, home)
    if scene is None and chosen == "tern":
        note('No scene is named, so the built-in "tern" is opened; saving makes a copy of it here.')
    note(f"{document.file.name} is on the bench. Stop it with the page's own button or Ctrl-C.")
    serve(document, home, port=port, browser=not no_open, say=lambda text: click.echo(text) if text.startswith("http") else note(text))
