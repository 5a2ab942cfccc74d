"""A comparison on paper: the photo squared up, what was measured on it, patches, and what would help."""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import TYPE_CHECKING

import cv2
import numpy as np

from ..board.calibrate import Wanted
from ..colour.spaces import encode_srgb
from ..errors import MockupError
from ..files.photo import read_photo
from ..files.whole import write_whole
from .booklet import BODY, SMALL, Booklet
from .describe import capital, date_words, lab_words, swatch, unbroken
from .flow import Column
from .measured import squared_photo
from .page import INK, Box, Image, Item, Page, Path, Text
from .record import short
from .sheet import encode_page
from .strokes import simpler

if TYPE_CHECKING:
    from .compare import Compared, Comparison

__all__ = ["comparison_page", "write_squared"]

SAID = {"inside": "inside the expected range", "outside": "outside the expected range",
        "near the limit": "too near the limit of the expected range to tell", "not told": "this photo cannot tell"}
HIGHEST, LOWEST = 120.0, 70.0  # mm of the photo


def comparison_page(made: Compared, paper: str) -> list[Page]:
    """The comparison as pages: the photo squared up, patches, findings, and what would help."""
    record = made.record
    entry = record["comparisons"][-1]
    book = Booklet(paper, f"{record.get('title', '')}: {record.get('variant_title', '')}", "", date_words(str(entry["date"])),
                   f"Photo {entry['photo']}. Record {short(record['fingerprint'])}, comparison {short(entry['fingerprint'])}.")
    book.page("The test board against the approval" if made.test_board else "Did it come out?")
    codes = np.rint(encode_srgb(np.clip(_small(made.shown, 1200), 0, 1)) * 255).astype(np.uint8)
    # As high as leaves the findings on the same page.
    room = book.room - 10 - sum(_height(book, c) for c in made.parts) - sum(book.height_of(text, SMALL) + 1.2 for text in made.notes)
    width = min(book.inner, min(HIGHEST, max(LOWEST, room)) * codes.shape[1] / codes.shape[0])
    scale = made.shown.shape[1] / made.px_per_mm / width
    at = book.image(codes, width=width, x=book.column.x + (book.inner - width) / 2, after=2)
    frames = []
    for c in made.parts:
        curves = tuple(simpler(ring / scale, closed=True) + at for ring in c.curves)
        frames += [Path(curves, 0.6, (255, 255, 255), closed=True), Path(curves, 0.25, (176, 32, 24), closed=True)]
    book.put(frames)
    book.text("The photo, squared up, light and camera taken out; red: what was measured"
              f"{', without edges and hardware' if any(c.laid for c in made.parts) else ''}.", SMALL, after=5)
    for c in made.parts:
        _patches(book, c)
    for text in made.notes:
        book.text(text, SMALL, after=1.2)
    return book.done()


def write_squared(path: FilePath, photo: FilePath, wanted: Wanted, *, test_board: bool = False) -> None:
    """The photo squared up, as rectangles of ``compare`` are named on it, with rules in mm; as a PNG. Raises as ``calibrate``."""
    read = read_photo(photo)
    try:
        linear, scale = squared_photo(read.pixels, wanted, board=test_board or wanted.corners is not None or wanted.dpi is not None)
    except MockupError as error:
        raise error.within(FilePath(photo).name, joint=": ") from None
    # Of a very large photo fewer pixels do, to read mm from.
    codes = np.rint(encode_srgb(np.clip(_small(linear, 2400), 0, 1)) * 255).astype(np.uint8)
    density = scale * codes.shape[1] / linear.shape[1]
    wide, high, edge = codes.shape[1] / density, codes.shape[0] / density, 34.0
    items: list[Item] = [Image(edge, edge, wide, high, codes)]
    for level, long in ((True, wide), (False, high)):
        for mm in range(0, int(long) + 1, 10):
            tick = 6.0 if mm % 50 == 0 else 3.0
            ends = ((edge + mm, edge - 1), (edge + mm, edge - 1 - tick)) if level else ((edge - 1, edge + mm), (edge - 1 - tick, edge + mm))
            items.append(Path((np.array(ends),), 0.5, INK))
            if mm % 50 == 0:
                items.append(Text(edge + mm, edge - 9, str(mm), 20, colour=INK, align="middle") if level else
                             Text(edge - 9, edge + mm + 2.4, str(mm), 20, colour=INK, align="right"))
    write_whole(path, encode_page(Page(wide + 2 * edge, high + 2 * edge, tuple(items), density), ".png"))


def _small(pixels: np.ndarray, most: int) -> np.ndarray:
    share = min(1.0, most / pixels.shape[1])
    return pixels if share == 1 else cv2.resize(pixels, (most, max(1, round(pixels.shape[0] * share))), interpolation=cv2.INTER_AREA)


SIDE = 20.0  # mm of a patch


def _differs(c: Comparison) -> str:
    return f"Left approved, right measured. {'In this photo it' if c.photo_error >= c.apart else 'It'} is {c.ways}."


def _height(book: Booklet, c: Comparison) -> float:
    """mm that the findings on a part take."""
    return SIDE + 8 + book.height_of(_differs(c)) + sum(book.height_of(capital(text)) + 1.2 for text in c.advice)


def _patches(book: Booklet, c: Comparison) -> None:
    side = SIDE
    book.need(min(_height(book, c), 120.0))
    x, y = book.column.x, book.column.y
    beside = Column(x + 2 * side + 6, y, book.inner - 2 * side - 6)
    beside.text(f"{c.title}: {SAID[c.verdict]}", BODY.bold())
    for label, words in (("Approved", lab_words(c.approved)), ("Measured", lab_words(c.measured)),
                         ("Apart", unbroken(f"ΔE00 {c.apart:.1f}") + f", expected within {unbroken(f'{c.expected:.1f}')}, photo good to about "
                          f"{unbroken(f'{c.photo_error:.1f}')}")):
        beside.space(1.4)
        beside.row(label, words, BODY if label != "Apart" else SMALL, indent=21, label_style=SMALL)
    book.put([Box(x, y, side, side, swatch(c.approved)), Box(x + side, y, side, side, swatch(c.measured)), *beside.items],
             max(beside.y - y, side) + 3)
    book.text(_differs(c), after=1.6)
    for text in c.advice:
        book.text(capital(text), after=1.2)
    book.space(3)
