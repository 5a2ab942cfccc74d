"""A page of pictures with names under them, to choose from by eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..papers.page import Page

__all__ = ["Tile", "tile_page"]

MARGIN, GAP = 12.0, 5.0  # mm


@dataclass(frozen=True, slots=True, eq=False)
class Tile:
    """``pixels`` (H, W, 3) uint8 sRGB, a name, and quiet words under it."""

    pixels: Any
    title: str
    words: str


def tile_page(title: str, words: str, tiles: Sequence[Tile], *, columns: int = 6, width: float = 297.0, px_width: int = 2400) -> Page:
    """The tiles row by row on a page ``width`` mm wide and as high as it takes.

    Tiles are as wide as their column allows and of one shape, that of the first.
    """
    from ..papers.flow import Column, Style
    from ..papers.page import Image, Page

    columns = max(1, min(columns, len(tiles)))
    across = (width - 2 * MARGIN - (columns - 1) * GAP) / columns
    down = across * tiles[0].pixels.shape[0] / tiles[0].pixels.shape[1]
    name, quiet = Style(8.5).bold(), Style(7.0).quiet()
    head = Column(MARGIN, MARGIN, width - 2 * MARGIN)
    head.text(title, Style(15).bold())
    head.space(2.2)
    head.text(words, Style(8.5).quiet())
    head.space(6)
    items, y = list(head.items), head.y
    for first in range(0, len(tiles), columns):
        foot = y
        for k, tile in enumerate(tiles[first:first + columns]):
            x = MARGIN + k * (across + GAP)
            items.append(Image(x, y, across, down, tile.pixels))
            under = Column(x, y + down + 2, across)
            under.text(tile.title, name)
            under.space(1.2)
            under.text(tile.words, quiet)
            items += under.items
            foot = max(foot, under.y)
        y = foot + GAP
    density = px_width / width
    height = round((y + MARGIN - GAP) * density) / density
    return Page(width, height, tuple(items), density, title=title)
