"""An instrument at true size on paper: its picture, its outlines, or both, on one sheet or several."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np

from ..errors import MockupError, nearest
from ..files.whole import write_whole
from ..render.kept import Kept
from ..render.layers import seen_parts, seen_pieces
from ..render.picture import picture, scene_box
from ..scene.values import Scene
from .describe import edition_words
from .drawn_hardware import at_measured_size
from .face import SEMIBOLD
from .frets import Frets, fret_lines
from .furniture import Words, true_size_pages
from .hardware_lines import CENTRE, hardware_lines
from .page import INK, PAPERS, WHITE, Image, Item, Page, Path, Text, paper_size
from .parts_at_hand import fitting_marks
from .pdf import pdf_book
from .plan import Plan, outlined
from .shop_values import Shop
from .strokes import simpler
from .tiles import tiling, whole_sheet

__all__ = ["CONTENTS", "PRINT_PAPERS", "print_pages", "print_plan", "sheet_size", "write_print"]

CONTENTS = ("picture", "outline", "both")
PRINT_PAPERS = ("full", *PAPERS)
DENSITY = 8.0       # pixels per mm, 203 to the inch: a whole number, so that sheets begin at whole pixels
AROUND = 6.0        # mm of ground kept around the instrument
PAPER = (100.0, 0.0, 0.0)
QUALITY = 92  # of pictures, as JPEG
LEAST_SIDE, MOST_SIDE = 50.0, 5000.0


def sheet_size(paper: str) -> tuple[float, float] | None:
    """Width and height of a paper by name or as "610x1500" in mm; None for "full", one sheet as large as it takes."""
    if paper == "full":
        return None
    if found := re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)", paper):
        size = float(found[1]), float(found[2])
        if not all(LEAST_SIDE <= v <= MOST_SIDE for v in size):
            raise MockupError(f"A paper of {paper} mm cannot be printed on.", fix=f"Use {LEAST_SIDE:g} to {MOST_SIDE:g} mm each way.",
                              where="paper")
        return size
    if paper not in PAPERS:
        raise MockupError(f'There is no paper "{paper[:40]}".', fix=f"{nearest(paper[:40], PRINT_PAPERS)} Or give mm, as 610x1500.",
                          where="paper")
    return paper_size(paper)


def print_plan(scene: Scene, *, content: str = "both", side: str = "front", shop: Shop | None = None, strings: bool = False,
               kept: Kept | None = None, report: Callable[[float], None] | None = None) -> Plan:
    """The instrument in drawing mm as its ``variant`` stands: picture below, outlines and centre line above.

    From the back all is mirrored, as it is seen. Of ``shop`` come the bought
    parts, and the frets where it lists them; hardware of the scene is redrawn
    at its measured size, in the picture too. ``strings`` draws their middle
    lines. Raises as ``picture``.
    """
    if content not in CONTENTS:
        raise MockupError(f'There is no content "{content[:40]}".', fix=nearest(content[:40], CONTENTS), where="content")
    scene = replace(at_measured_size(scene, shop), ground=PAPER)  # grey around it would be ink for nothing
    x0, y0, x1, y1 = scene_box(scene, side)
    box = (x0 - AROUND, y0 - AROUND, x1 + AROUND, y1 + AROUND)
    items: list[Item] = []
    origin = box[:2]
    if content != "outline":
        made = picture(scene, side=side, scale=DENSITY, kept=kept, report=report, span=None)
        origin = made.canvas.origin
        items.append(_cut_to(made.pixels, origin, box))
        origin = (items[0].x, items[0].y)
    pieces = seen_parts(scene, side)
    if content != "picture":
        own_frets = shop is None or shop.frets is None or side != "front"
        items += hardware_lines(scene, side, strings=strings, pictured=content == "both", frets=own_frets)
        items += outlined([simpler(r, closed=True) for p in pieces for r in p.shape.rings], pictured=content == "both")
        items += _centre(scene.centre, (y0, y1), content == "both")
        joints = {p.placement.joint for p in pieces if p.placement.cut != "single"} - {scene.centre}
        if side == "back":
            joints = {2 * scene.centre - x for x in joints}
        for x in sorted(joints):
            items.append(Path((np.array([[x, y0], [x, y1]]),), 0.15, INK, dash=(2.0, 1.5)))
        if shop is not None:
            items += fitting_marks(scene, shop, side, pictured=content == "both", named=True)
            if shop.frets is not None and side == "front":
                items += _frets(shop.frets, scene.centre, content == "both")
    return Plan(box, tuple(items), DENSITY, origin, tuple(r for p in seen_pieces(scene, side) for r in p.shape.rings),
                tuple(r for p in pieces for r in p.shape.rings))


def _cut_to(pixels: np.ndarray, origin: tuple[float, float], box: tuple[float, float, float, float]) -> Image:
    """The picture with less ground around it, cut at whole pixels."""
    x0, y0 = (int((box[k] - origin[k]) * DENSITY) for k in (0, 1))
    x1, y1 = (int((box[k + 2] - origin[k]) * DENSITY) + 1 for k in (0, 1))
    cut = pixels[max(y0, 0):y1, max(x0, 0):x1]
    return Image(origin[0] + max(x0, 0) / DENSITY, origin[1] + max(y0, 0) / DENSITY, cut.shape[1] / DENSITY, cut.shape[0] / DENSITY, cut)


def _centre(x: float, span: tuple[float, float], pictured: bool) -> list[Item]:
    run = (np.array([[x, span[0] - AROUND], [x, span[1] + AROUND]]),)
    line = Path(run, 0.2, CENTRE, dash=(9.0, 2.0, 1.5, 2.0))
    return [Path(run, 0.6, WHITE), line] if pictured else [line]


def _frets(frets: Frets, centre: float, pictured: bool) -> list[Item]:
    items: list[Item] = []
    for number, run in fret_lines(frets, centre):
        items += [Path((run,), 0.5, WHITE)] if pictured else []
        items.append(Path((run,), 0.15, INK))
        items.append(Text(run[:, 0].max() + 1.6, float(run[-1, 1]) + 0.8, "nut" if number == 0 else str(number), 6.5, SEMIBOLD))
    return items


def print_pages(scene: Scene, *, paper: str, today: str, content: str = "both", side: str = "front", shop: Shop | None = None,
                strings: bool = False, kept: Kept | None = None, report: Callable[[float], None] | None = None) -> list[Page]:
    """The sheets of a print at true size.

    paper  "full" (one sheet as large as it takes), "a4", "letter", "a3" or "WIDTHxHEIGHT" in mm.
    today  ISO 8601; a date in the scene goes before it.

    Raises MockupError for paper too small for a tile, and as ``picture``.
    """
    size = sheet_size(paper)
    if size is not None:
        tiling((0, 0, 1, 1), size, where=f"paper {paper}")  # too small is said before anything is drawn
    plan = print_plan(scene, content=content, side=side, shop=shop, strings=strings, kept=kept, report=report)
    grid = (*plan.origin, plan.px_per_mm)
    tiles = whole_sheet(plan.box, grid) if size is None else \
        tiling(plan.box, size, wanted=plan.wanted, grid=grid, clear=scene.centre, where=f"paper {paper}")
    return true_size_pages(plan, tiles, _words(scene, content, side, today))


def _words(scene: Scene, content: str, side: str, today: str) -> Words:
    # Short, as the foot of a sheet is narrow; that both are shown is seen.
    shown = {"picture": ", picture", "outline": ", outline", "both": ""}[content]
    chosen = f"{scene.variant.title}: {side}" if scene.variant is not None else side.capitalize()
    return Words(scene.title, f"{chosen}{shown}", edition_words(scene, today).replace(" ", "\u00a0"))


def write_print(path: FilePath, scene: Scene, **how) -> int:
    """Write a print as a PDF; the number of its pages. Arguments as for ``print_pages``; raises as it and ``write_whole``."""
    path = FilePath(path)
    if path.suffix.lower() != ".pdf":
        raise MockupError(f'A print is a PDF, not "{path.suffix}".', fix=f"Name it {path.stem or 'print'}.pdf.", where=str(path))
    pages = print_pages(scene, **how)
    write_whole(path, pdf_book(pages, title=pages[0].title, quality=QUALITY))
    return len(pages)
