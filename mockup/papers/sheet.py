"""Two to eight variants side by side, at the same light, scale and exposure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from ..errors import MockupError
from ..files.picture import SUFFIXES, encode_picture
from ..files.whole import write_whole
from ..render.colours import PartColour, colours
from ..render.elsewhen import lit_colours
from ..render.kept import Kept
from ..render.picture import MARGIN, picture, scene_box
from ..scene.values import Scene
from .describe import (Group, Option, alike_sentences, assumed_bare, basis_sentence, binding_words, edition_words, finish_sentence, groups,
                       lab_words, largest_seen, sheen_sentence, swatch, unbroken, unbroken_units, wood_sentence, wood_words)
from .page import Image, Page, paper_size
from .pdf import pdf_bytes
from .raster import raster
from .sheet_colour import parting_sentences, range_ends
from .sheet_layout import Cell, Facts, Sheet, lay_out

__all__ = ["FEWEST", "MOST", "chosen", "encode_page", "sheet", "write_sheet"]

FEWEST, MOST = 2, 8
NARROWEST, WIDEST = 800, 12_000  # pixels of a sheet
PRINT = 300 / 25.4  # pixels per mm of the pictures in a PDF


def chosen(scene: Scene, names: Sequence[str] | None) -> tuple[Scene, ...]:
    """The scene with each named variant; all of the file's for None. MockupError when there are fewer than two or over eight."""
    if names is None:
        names = [v.name for v in scene.variants]
        if len(names) > MOST:
            raise MockupError(f"The scene has {len(names)} variants; a sheet shows {FEWEST} to {MOST}.",
                              fix="Name the ones to show.", where=scene.file.name)
        if len(names) < FEWEST:
            raise MockupError(f"The scene has {'one variant' if names else 'no variants'}; a sheet shows {FEWEST} to {MOST}.",
                              fix="Add some under [variants].", where=scene.file.name)
    elif not FEWEST <= len(names) <= MOST:
        raise MockupError(f"{len(names)} variant{' is' if len(names) == 1 else 's are'} named; a sheet shows {FEWEST} to {MOST}.",
                          fix=f"Name {FEWEST} to {MOST}.", where=scene.file.name)
    views = tuple(scene.with_variant(name) for name in names)
    if twice := next((n for n in names if list(names).count(n) > 1), None):
        raise MockupError(f'The variant "{twice}" is named twice.', fix="Name each once.", where=scene.file.name)
    return views


def sheet(scene: Scene, names: Sequence[str] | None = None, *, today: str, paper: str | None = None, px_width: int | None = 2400,
          side: str = "front", kept: Kept | None = None, report: Callable[[float], None] | None = None) -> Page:
    """A sheet of variants as a page.

    names     of the variants, in the order to show; None for all of the file.
    today     the date it is made, ISO 8601; the scene's own date goes before it.
    paper     "a4", "letter" or "a3"; None for a page of free height, for a screen.
    px_width  of the whole sheet in pixels; None for pictures at 300 to the inch, for print.
    report    hears the share done, 0..1.

    The same arguments give the same page. Raises MockupError for a wrong
    choice of variants or paper, and as ``picture``.
    """
    views = chosen(scene, names)
    size = paper_size(paper) if paper is not None else None
    if px_width is not None and not NARROWEST <= px_width <= WIDEST:
        raise MockupError(f"The sheet would be {px_width} pixels wide.", fix=f"Use {NARROWEST} to {WIDEST}.")
    kept = Kept() if kept is None else kept
    told = report or (lambda share: None)
    steps = 2 * len(views)
    found = []
    for done, view in enumerate(views, 1):
        found.append(colours(view, kept=kept))
        told(done / steps)
    layout = lay_out(_words(views, found, today, side, kept), size)
    density = PRINT if px_width is None else px_width / layout.width
    images = []
    for done, (view, frame) in enumerate(zip(views, layout.frames, strict=True), len(views)):
        made = picture(view, side=side, scale=layout.scale * density, kept=kept,
                       report=lambda share, done=done: told((done + share) / steps))
        width, height = round(frame.width * density), round(frame.height * density)
        images.append(Image(frame.x, frame.y, width / density, height / density, _framed(made.pixels, width, height)))
    # A page of free height ends with a whole pixel.
    height = layout.height if size is not None else round(layout.height * density) / density
    return Page(layout.width, height, (*images, *layout.items), density,
                title=f"{scene.title}: {len(views)} options")


def write_sheet(path: Path, scene: Scene, names: Sequence[str] | None = None, *, today: str, paper: str | None = None,
                px_width: int = 2400, side: str = "front", kept: Kept | None = None,
                report: Callable[[float], None] | None = None) -> None:
    """Write a sheet: PDF (A4 unless ``paper`` says otherwise) or a picture, by suffix. Raises as ``sheet`` and ``write_whole``."""
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".pdf", *SUFFIXES):
        raise MockupError(f'"{path.name}" does not end in a format that a sheet can have.',
                          fix=f"Use one of: .pdf, {', '.join(SUFFIXES)}.")
    page = sheet(scene, names, today=today, paper=paper or ("a4" if kind == ".pdf" else None),
                 px_width=None if kind == ".pdf" else px_width, side=side, kept=kept, report=report)
    write_whole(path, encode_page(page, kind))


def encode_page(page: Page, suffix: str) -> bytes:
    """A page as the bytes of a PDF or of a picture, by suffix."""
    if suffix.lower() == ".pdf":
        return pdf_bytes(page)
    return encode_picture(raster(page), suffix, px_per_mm=page.px_per_mm, quality=95)


def _framed(pixels: np.ndarray, width: int, height: int) -> np.ndarray:
    """A picture in the middle of a frame: its ground goes on sideways and downward, or what is over is cut off."""
    for axis, size in ((1, width), (0, height)):
        over = pixels.shape[axis] - size
        if over > 0:
            pixels = np.take(pixels, range(over // 2, over // 2 + size), axis=axis)
        elif over < 0:
            pad = [(0, 0)] * 3
            pad[axis] = (-over // 2, -over - -over // 2)
            pixels = np.pad(pixels, pad, mode="edge")
    return np.ascontiguousarray(pixels)


def _with_binding(scene: Scene, group: Group) -> str:
    """The finish of a group of parts and their binding."""
    bound = dict.fromkeys(words for p in scene.parts if p.name in group.names and (words := binding_words(p)))
    return "; ".join([finish_sentence(group.part), *map(unbroken_units, bound)])


def _words(views: Sequence[Scene], found: Sequence[tuple[PartColour, ...]], today: str, side: str, kept: Kept) -> Sheet:
    scene, cells, options, lit, shown, assumed = views[0], [], [], {}, [], []
    for view, parts in zip(views, found, strict=True):
        name = largest_seen(view, side)
        colour = next(c for c in parts if c.part == name)
        assert view.variant is not None  # ``chosen`` made it with one
        box = scene_box(view, side)
        facts = tuple(Facts(g.titles, wood_words(view, g.part), _with_binding(view, g), sheen_sentence(g.part.finish.sheen))
                      for g in groups(view, side))
        burst = (colour.middle_lab, colour.edge_lab) if colour.middle_lab and colour.edge_lab else None
        cells.append(Cell(size=(box[2] - box[0] + 2 * MARGIN, box[3] - box[1] + 2 * MARGIN), title=view.variant.title,
                          why=view.variant.why, swatches=tuple(map(swatch, burst or (colour.finished_lab,))),
                          colours=((f"{lab_words(burst[0])} · middle of {colour.title.lower()}", f"{lab_words(burst[1])} · edge")
                                   if burst else (f"{lab_words(colour.finished_lab)} · mean of {colour.title.lower()}",)), facts=facts,
                          ends=tuple(map(swatch, range_ends(colour))),
                          range=f"Range{', middle' if burst else ''} {unbroken(f'ΔE00 {colour.error:.1f}')}",
                          only=f"if the bare wood measures {lab_words(colour.bare_lab)}" if assumed_bare(view, name) else ""))
        shown.append(colour)
        assumed += [colour] if assumed_bare(view, name) else []
        lit[view.variant.name] = lit_colours(view, [colour], kept=kept)[name]
        options.append(Option(view.variant.title, colour.title, colour.finished_lab,
                              next(p.finish.sheen for p in view.parts if p.name == name)))
    woods = list(dict.fromkeys(wood_sentence(view) for view in views))
    notes = [*woods, "Wood varies from piece to piece, and screens and prints differ: judge the final colour on a sample of the wood.",
             "Patches are the mean finished colour of the part, of a burst that of its middle and of its edge, without gloss (CIE Lab, D65); a range shows "
             "what it may be should it come out light or dark.",
             basis_sentence(shown, assumed), f"{unbroken('ΔE00 1')} is just seen side by side, 5 is plain to see."]
    return Sheet(title=scene.title, edition=edition_words(scene, today), client=scene.client, cells=tuple(cells),
                 alike=(*alike_sentences(options), *parting_sentences(lit, {v.variant.name: v.variant.title for v in views if v.variant})),
                 notes=tuple(notes))
