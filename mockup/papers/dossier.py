"""The approval dossier: all that a client signs and a maker keeps, in one PDF that can be mailed."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from ..errors import MockupError
from ..files.whole import write_all
from ..finish.words import step_words
from ..render.colours import PartColour, colours
from ..render.kept import Kept
from ..render.picture import MARGIN, picture, scene_box
from ..render.placements import placement_picture
from ..scene.hardware import hardware_words
from ..scene.values import Part, Scene
from .approval import approval_notes, placement_words, target
from .booklet import BODY, SMALL, Booklet
from .describe import (assumed_bare, basis_sentence, binding_words, capital, edition_words, groups, listed, sheen_sentence, unbroken, wood_sentence,
                       unbroken_units, wood_words)
from .flow import Column, Style
from .lengths import INCH
from .page import INK, QUIET, Box, Image, Item, Line, Page, Text, paper_size
from .pdf import pdf_book
from .practice import cautions, film_practice, protected_woods, steps_practice
from .record import short
from .revisions import Difference, Revision, difference, difference_map, kept_revisions, ramp, revision_of
from .sheet import MOST, sheet
from .table import csv_bytes

__all__ = ["Dossier", "dossier", "write_dossier"]

DENSITY = 150 / 25.4  # pixels per mm
LARGEST = 5_000_000   # bytes: what any mail takes
QUALITIES = (88, 80, 70, 60, 45)
NOTE = "Screens and prints differ: judge the final colour on a sample of the wood."
GAP = 8.0             # mm between placements
SHOWN = 4             # revisions shown with pictures, the last ones


@dataclass(frozen=True, eq=False)
class Dossier:
    """A dossier as files by name, and its present revision."""

    files: Mapping[str, bytes]
    pages: tuple[Page, ...]
    revision: Revision


def dossier(scene: Scene, variant: str, folder: FilePath, *, paper: str, today: str, side: str = "front", kept: Kept | None = None) -> Dossier:
    """The dossier of one variant; revisions kept in ``folder`` are its history, and the present one is added to them.

    paper  "a4" or "letter". today  ISO 8601; a date in the scene goes before it.

    MockupError for unknown paper or variant, a kept revision that was edited,
    or a scene that changed without a new revision.
    """
    paper_size(paper)
    chosen, folder = scene.with_variant(variant), FilePath(folder)
    assert chosen.variant is not None
    kept = Kept() if kept is None else kept
    stem = f"{chosen.name}.{variant}"
    history = kept_revisions(folder, stem)
    now, new = revision_of(chosen, history, folder=folder, stem=stem, today=today, side=side, kept=kept)
    history = (*history, now) if new else history
    found = colours(chosen, kept=kept)
    book = Booklet(paper, f"{chosen.title}: {chosen.variant.title}", "", edition_words(chosen, today), f"{NOTE} Fingerprint {short(now.record['fingerprint'])}.",
                   px_per_mm=DENSITY)
    _picture(book, chosen, now, side, kept)
    if (options := _options(scene, variant, paper, today, side, kept)) is not None:
        book.insert(options)
    _recipe(book, chosen, found, side)
    _hardware(book, chosen)
    _placement(book, chosen, kept)
    told = _history(book, history)
    _cautions(book, chosen)
    _signature(book, chosen)
    pages = book.done()
    name = f"{stem}.dossier"
    data = next((d for q in QUALITIES if len(d := pdf_book(pages, title=pages[0].title, quality=q)) < LARGEST), None)
    if data is None:
        raise MockupError("The dossier would be over 5 MB.", fix="Leave out some variants or revisions.")
    plain = _plain(chosen, now, found, history, told)
    files = {f"{name}.pdf": data, f"{name}.json": (json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8"),
             f"{name}.csv": csv_bytes(_flat(plain["colours"]))}
    return Dossier(files | (now.files(stem) if new else {}), tuple(pages), now)


def write_dossier(folder: FilePath, scene: Scene, variant: str, **how: Any) -> tuple[FilePath, ...]:
    """Write a dossier and its new revision into a folder, all or none; arguments as for ``dossier``."""
    made = dossier(scene, variant, folder, **how)
    paths = {FilePath(folder) / name: data for name, data in made.files.items()}
    write_all(paths)
    return tuple(paths)


def _picture(book: Booklet, scene: Scene, now: Revision, side: str, kept: Kept) -> None:
    assert scene.variant is not None
    book.page("For approval")
    if scene.variant.why:
        book.text(scene.variant.why, BODY.slanted().quiet(), after=4)
    if scene.client:
        book.text(f"For {scene.client}", after=4)
    box = scene_box(scene, side)
    wide, high = box[2] - box[0] + 2 * MARGIN, box[3] - box[1] + 2 * MARGIN
    notes = approval_notes(scene, ())
    room = book.room - 16 - 9 * len(notes)
    scale = min(book.inner / wide, room / high)
    made = picture(scene, side=side, scale=int(scale * DENSITY * 1000) / 1000, kept=kept)
    width = made.pixels.shape[1] / DENSITY
    book.image(made.pixels, width=width, x=book.column.x + (book.inner - width) / 2, after=5)
    for note in notes:
        book.text(note, SMALL, after=1.4)


def _options(scene: Scene, variant: str, paper: str, today: str, side: str, kept: Kept) -> Page | None:
    names = [v.name for v in scene.variants]
    if len(names) < 2:
        return None
    shown = names if len(names) <= MOST else [variant, *(n for n in names if n != variant)][:MOST]
    page = sheet(scene, shown, today=today, paper=paper, px_width=round(paper_size(paper)[0] * DENSITY), side=side, kept=kept)
    return replace(page, title=f"{scene.title}: options considered")


def _recipe(book: Booklet, scene: Scene, found: Sequence[PartColour], side: str) -> None:
    book.page("Recipe and colour to meet")
    grouped = groups(scene, side)
    for group in grouped:
        # With its steps and its first colour, as far as a page goes: a recipe alone at the foot of one is overlooked.
        book.heading(listed(group.titles), keep=min(70 + 6 * len(group.part.finish.steps), 150))
        book.text(capital(wood_words(scene, group.part)), BODY.quiet(), after=2.4)
        for n, step in enumerate(group.part.finish.steps, 1):
            own = Column(book.column.x, book.column.y, book.inner)
            own.numbered(f"{n}.", capital(re.sub(r"(\d) (%|mm)", "\\1\u00a0\\2", step_words(step))), BODY, indent=6)
            book.put(own.items, own.y - book.column.y + 1.6)
        if not group.part.finish.steps:
            book.text("No finish: bare wood", after=1.6)
        book.text(f"Sheen: {sheen_sentence(group.part.finish.sheen)} at {unbroken('60°')}", after=1.6)
        bound = list(dict.fromkeys(w for p in scene.parts if p.name in group.names and (w := binding_words(p))))
        if bound:
            book.text(f"Edge: {unbroken_units('; '.join(bound))}", after=1.6)
        book.space(2.4)
        for colour in (c for c in found if c.part in group.names):
            _target(book, scene, colour)
    book.text(basis_sentence(found, [c for c in found if assumed_bare(scene, c.part)]), SMALL)
    book.text("Colours are means of a part's face, without gloss (CIE Lab, D65). Patches: bare and finished, of a burst bare, "
              "middle and edge; small, the finished colour, of a burst that of its middle, if it comes out light, as expected, and if dark.", SMALL)


def _hardware(book: Booklet, scene: Scene) -> None:
    """What is not of wood, by name: it is approved with the rest."""
    rows = hardware_words(scene)
    if not rows:
        return
    book.heading("Hardware", keep=26)
    book.text("; ".join(unbroken(f"{title if k == 0 else title.lower()}:") + f" {of}" for k, (title, of) in enumerate(rows)) + ".", after=3)


def _target(book: Booklet, scene: Scene, colour: PartColour) -> None:
    """Patches and values as on the approval: bare and finished, of a burst its middle and edge, and small how light or dark it may come out."""
    meet = target(scene, colour)
    wide, high, small = 36.0, 15.0, 6.0
    x = book.column.x

    def beside(y: float) -> Column:
        own = Column(x + wide + 6, y, book.inner - wide - 6)
        own.text(meet.title, BODY.bold())
        for label, words in meet.rows:
            own.space(1.5)
            own.row(label, words, BODY if label in ("Finished", "Middle", "Edge") else SMALL, indent=19, label_style=SMALL)
        own.space(1.5)
        own.text(meet.range, SMALL)
        return own

    book.need(max(beside(0.0).y, high + small + 5))
    y = book.column.y
    each = wide / len(meet.patches)
    items: list[Item] = [Box(x + k * each, y, each, high, colour) for k, colour in enumerate(meet.patches)]
    low = y + high
    if meet.ends:
        third = wide / len(meet.ends)
        items += [Box(x + k * third, low + 1.2, third, small, colour) for k, colour in enumerate(meet.ends)]
        under = Column(x, low + small + 2.6, wide)
        under.text("light, expected, dark", SMALL)
        items += under.items
        low = under.y
    words = beside(y)
    book.put([*items, *words.items], max(words.y, low) - y + 4.5)


def _placement(book: Booklet, scene: Scene, kept: Kept) -> None:
    book.page("Where it is cut")
    book.text(wood_sentence(scene), after=5)
    high, widest = {1: (165.0, book.inner), 2: (150.0, (book.inner - GAP) / 2)}.get(len(scene.parts), ((book.room - 12) / 2 - 38, book.inner / 2.2))
    narrowest, gap = 40.0, GAP
    cells: list[tuple[float, np.ndarray, str]] = []
    for part in scene.parts:
        board = scene.boards[part.board]
        wide, tall = board.size_mm[0] + 24, board.size_mm[1] + 24
        scale = min(widest / wide, high / tall)
        pixels = placement_picture(scene, part.name, scale=max(scale * DENSITY, 0.05), kept=kept).pixels
        cells.append((max(pixels.shape[1] / DENSITY, narrowest), pixels, f"{placement_words(scene, part)} {_in_inches(scene, part)}"))
    while cells:
        row, room = [], book.inner
        while cells and cells[0][0] <= room + 1e-6:
            row.append(cells.pop(0))
            room -= row[-1][0] + gap
        tallest = max(p.shape[0] for _, p, _ in row) / DENSITY
        book.need(tallest + 26)
        x, top, lowest = book.column.x, book.column.y, 0.0
        items: list[Item] = []
        for width, pixels, words in row:
            items.append(Image(x, top, pixels.shape[1] / DENSITY, pixels.shape[0] / DENSITY, pixels))
            own = Column(x, top + tallest + 2.6, width)
            own.text(words, SMALL)
            items += own.items
            lowest = max(lowest, own.y)
            x += width + gap
        book.put(items, lowest - top + 7)


def _in_inches(scene: Scene, part: Part) -> str:
    """Size of the board, and the place that ``placement_words`` gives in mm."""
    board, at = scene.boards[part.board], part.placement.at
    return unbroken(f"Board {board.size_mm[0] / INCH:.2f} × {board.size_mm[1] / INCH:.2f} in,") + " " + unbroken(f"at {at[0] / INCH:.2f}, {at[1] / INCH:.2f} in.")


def _history(book: Booklet, history: Sequence[Revision]) -> list[Difference]:
    book.page("Revisions, variation and cautions")
    book.heading("Revisions", keep=30)
    book.table(("Revision", "Date", "Fingerprint"), [(r.label, str(r.record.get("date", "")), short(r.record["fingerprint"])) for r in history],
               (0.6, 0.8, 1.6))
    told = []
    pairs = list(zip(history, history[1:]))
    if not pairs:
        book.text("This is the first revision kept.", after=3)
    for k, (before, now) in enumerate(pairs):
        found = difference(before, now)
        told.append(found)
        book.heading(f"From revision {before.label} to {now.label}", keep=40)
        for words in found.words[:24]:
            book.text(unbroken_units(words), after=1.2)
        if len(found.words) > 24:
            book.text(f"And {len(found.words) - 24} more.", SMALL)
        if len(pairs) - k <= SHOWN:
            _side_by_side(book, before, now, found)
    return told


def _side_by_side(book: Booklet, before: Revision, now: Revision, found: Difference) -> None:
    pictures = [(f"Before: {before.label}", before.pixels), (f"After: {now.label}", now.pixels)]
    mapped = difference_map(found)
    if mapped is not None:
        pictures.append(("Difference, ΔE00", mapped))
    gap = 5.0
    width = (book.inner - 2 * gap) / 3
    tallest = max(p.shape[0] / p.shape[1] for _, p in pictures) * width
    if tallest > 130:
        width, tallest = width * 130 / tallest, 130.0
    book.need(tallest + 24)
    book.space(2)
    top, items = book.column.y, []
    for k, (title, pixels) in enumerate(pictures):
        x = book.column.x + k * (width + gap)
        own = Column(x, top, width)
        own.text(title, SMALL)
        items += [*own.items, Image(x, top + 5, width, pixels.shape[0] / pixels.shape[1] * width, _smaller(pixels, width))]
    book.put(items, tallest + 8)
    if mapped is None:
        book.text("The outline or its size changed, so that colours are not compared point by point.", SMALL)
        return
    bar = ramp(np.broadcast_to(np.linspace(0, 10, 200, dtype=np.float32), (12, 200)))
    x, y = book.column.x + 2 * (width + gap), book.column.y
    scale = [Image(x, y, width, 2.6, bar)]
    scale += [Text(x + width * v / 10, y + 5.6, f"{v:g}" if v < 10 else "10+", 6.5, colour=QUIET, align="left" if v == 0 else "right" if v == 10 else "middle")
              for v in (0, 2, 5, 10)]
    own = Column(book.column.x, y, 2 * width)
    own.text(f"Mean ΔE00 {found.mean:.1f}, 95 % below {found.high:.1f}; {found.share * 100:.0f} % of the picture changed by more than 2, "
             "which is seen side by side.", SMALL)
    book.put([*scale, *own.items], max(own.y - y, 6.5) + 5)


def _smaller(pixels: np.ndarray, width: float) -> np.ndarray:
    import cv2

    wide = round(width * DENSITY)
    if pixels.shape[1] <= wide:
        return pixels
    return cv2.resize(pixels, (wide, max(1, round(pixels.shape[0] * wide / pixels.shape[1]))), interpolation=cv2.INTER_AREA)


def _cautions(book: Booklet, scene: Scene) -> None:
    book.heading("What may vary", keep=30)
    for text in ("Wood varies from piece to piece and within one; the colours here are of the board shown.",
                 "Finishes darken, yellow or fade with light and years.", NOTE):
        book.text(text, after=1.4)
    keys: dict[str, None] = {}
    for part in scene.parts:
        for step in scene.resolved["parts"][part.name]["finish"]:
            if "coat" in step:
                keys.update(dict.fromkeys(film_practice(step["coat"], {}).cautions))
            else:
                kind = {"stain": "stain", "burst": "tint", "tint": "tint", "fill": "fill", "paint": "paint"}.get(next(iter(step), ""), "sand_back")
                keys.update(dict.fromkeys(steps_practice()[kind].cautions))
    if keys:
        book.heading("For whoever does the finishing")
        book.text("The product's safety data sheet, the rules of the place, and people licensed for the work go before all that stands here.",
                  BODY.bold(), after=3)
    for key in [k for k in cautions() if k in keys]:
        book.need(22)
        book.text(cautions()[key].title, BODY.bold(), after=0.8)
        book.text(f"{cautions()[key].text} Source: {cautions()[key].source}.", SMALL, after=2.4)
    for name, text in protected_woods([b.wood for n, b in scene.boards.items() if n in {p.board for p in scene.parts}]):
        book.need(24)
        book.text(name, BODY.bold(), after=0.8)
        book.text(f"{text} Ask your own CITES office on the day; this is no legal advice.", SMALL, after=2.4)


def _signature(book: Booklet, scene: Scene) -> None:
    book.heading("Approval", keep=44)
    book.text("I approve the colour and finish shown here, within the variation and the expected range stated in this dossier.", after=14)
    y, gap = book.column.y, 7.0
    shares = (0.34, 0.40, 0.26)
    x, items = book.column.x, []
    for label, share in zip(("Client", "Signature", "Date"), shares, strict=True):
        width = (book.inner - 2 * gap) * share
        items.append(Line(x, y, x + width, y, 0.2, QUIET))
        own = Column(x, y + 1.6, width)
        own.text(label, SMALL)
        items += own.items
        if label == "Client" and scene.client:
            name = Column(x, 0, width)
            name.text(scene.client, Style(11), most=1)
            items += [replace(i, y=y - 1.6, colour=INK) for i in name.items if isinstance(i, Text)]
        x += width + gap
    book.put(items, 9)


def _plain(scene: Scene, now: Revision, found: Sequence[PartColour], history: Sequence[Revision], told: Sequence[Difference]) -> dict[str, Any]:
    assert scene.variant is not None
    return {
        "kind": "mockup dossier", "format": 1, "scene": scene.name, "variant": scene.variant.name, "title": scene.title,
        "revision": now.label, "fingerprint": now.record["fingerprint"],
        "colours": [{"part": c.part, "finished_lab": list(c.finished_lab), "bare_lab": list(c.bare_lab), "light_lab": list(c.light_lab),
                     "dark_lab": list(c.dark_lab), "middle_lab": _or_none(c.middle_lab), "edge_lab": _or_none(c.edge_lab),
                     "patches_delta_e00": c.spread, "expected_delta_e00": c.error, "basis": c.basis} for c in found],
        "hardware": [{"title": title, "of": of} for title, of in hardware_words(scene)],
        "placement": [{"part": p.name, "board": p.board, "board_mm": [round(v, 2) for v in scene.boards[p.board].size_mm],
                       "board_in": [round(v / INCH, 4) for v in scene.boards[p.board].size_mm], "at_mm": [round(v, 2) for v in p.placement.at],
                       "at_in": [round(v / INCH, 4) for v in p.placement.at], "turn_degrees": p.placement.turn, "cut": p.placement.cut}
                      for p in scene.parts],
        "revisions": [{"revision": r.label, "date": r.record.get("date"), "fingerprint": r.record["fingerprint"]} for r in history],
        "changes": [{"from": a.label, "to": b.label, "words": [w.replace("\u00a0", " ") for w in d.words],
                     "values": [{"path": c.path, "before": c.before, "after": c.after} for c in d.values],
                     "delta_e00": None if d.apart is None else {"mean": round(d.mean, 3), "p95": round(d.high, 3), "share_above_2": round(d.share, 4)}}
                    for (a, b), d in zip(zip(history, history[1:]), told, strict=True)],
        "record": dict(now.record),
    }


def _or_none(lab: tuple[float, float, float] | None) -> list[float] | None:
    return None if lab is None else list(lab)


def _flat(colours: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows for CSV: each Lab as three columns, empty where there is none."""
    return [{k2: v2 for k, v in c.items() for k2, v2 in
             (zip((f"{k[:-4]}_L", f"{k[:-4]}_a", f"{k[:-4]}_b"), v or (None,) * 3, strict=True) if k.endswith("_lab") else [(k, v)])} for c in colours]
