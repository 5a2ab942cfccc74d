"""A contact sheet of woods: makers look rather than read."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from mockup.errors import MockupError
from mockup.wood.board import make_board
from mockup.wood.species import Species, load_species, species_names
from mockup.wood.texture import board_rgb

__all__ = ["contact_sheet"]

PAPER, WORDS, QUIET = (246, 245, 242), (38, 36, 34), (116, 112, 108)


def contact_sheet(species: Sequence[str | Species] | None = None, *, seed: int = 7,
                  tile_mm: tuple[float, float] = (105, 140), px_per_mm: float = 3, columns: int = 6,
                  cut: str | None = None, light: str = "flat",
                  report: Callable[[float], None] | None = None) -> np.ndarray:
    """One tile of each wood with its words under it, all at one scale, (H, W, 3) uint8 sRGB.

    species    names or :class:`Species`; None takes all that are built in.
    seed       of every tile; two woods of one seed are still two different boards.
    tile_mm    width and length of a tile.
    Other arguments as for :func:`make_board`, which raises for what it cannot saw.
    """
    woods = [w if isinstance(w, Species) else load_species(w) for w in (species_names() if species is None else species)]
    if not woods:
        raise MockupError("There is no wood to show.", fix="Name at least one species.", where="species")
    columns = max(1, min(int(columns), len(woods)))
    width, height = (round(side * px_per_mm) for side in tile_mm)
    gap = max(4, round(4 * px_per_mm))
    size = max(9, min(round(4.2 * px_per_mm), width // 9))
    foot = round(3.1 * size)
    rows = -(-len(woods) // columns)
    page = Image.new("RGB", (gap + columns * (width + gap), gap + rows * (height + foot + gap)), PAPER)
    draw = ImageDraw.Draw(page)
    large, small = ImageFont.load_default(size), ImageFont.load_default(0.8 * size)
    for k, wood in enumerate(woods):
        board = make_board(wood, size_mm=tile_mm, cut=cut, seed=seed, px_per_mm=px_per_mm, light=light)
        x = gap + (k % columns) * (width + gap)
        y = gap + (k // columns) * (height + foot + gap)
        page.paste(Image.fromarray(board_rgb(board)), (x, y))
        draw.text((x, y + height + 0.35 * size), wood.name, WORDS, large)
        words = f"{board.cut}-sawn" if board.cut != "quarter" else "quartered"
        draw.text((x, y + height + 1.6 * size), words, QUIET, small)
        if report is not None:
            report((k + 1) / len(woods))
    return np.asarray(page)
