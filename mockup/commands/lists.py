"""``mockup stain list`` and ``mockup wood list``: the libraries, one entry a line."""

from __future__ import annotations

import click

from .plain import PlainCommand, PlainGroup

__all__ = ["stain", "wood"]


@click.group(cls=PlainGroup, example="mockup stain list")
def stain() -> None:
    """The library of stains."""


@stain.command("list", cls=PlainCommand, example="mockup stain list")
def _list_stains() -> None:
    """List the stains, one a line: name, kind, what its colour rests on."""
    from ..scene.library import stains

    _table([(name, entry.value.words, entry.value.basis) for name, entry in stains().items()])


@click.group(cls=PlainGroup, example="mockup wood list")
def wood() -> None:
    """The library of woods."""


@wood.command("list", cls=PlainCommand, example="mockup wood list")
def _list_woods() -> None:
    """List the woods, one a line: name, wood, cut, how fine its picture is."""
    from ..scene.library import texture, textures

    rows = []
    for name, file in textures().items():
        entry = texture(file)
        rows.append((name, entry.wood, entry.cut, f"{entry.mm_per_pixel:g} mm per pixel"))
    _table(rows)


def _table(rows: list[tuple[str, ...]]) -> None:
    """Columns as wide as their widest entry, two spaces between."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        click.echo("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
