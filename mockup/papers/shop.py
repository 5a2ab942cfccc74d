"""The papers that go to the shop: whether it is ready to cut, blanks, parts at hand, cut maps, schedule, materials, cautions."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from .. import __version__
from ..files.whole import write_all
from ..render.kept import Kept
from ..scene.values import Scene
from .blanks import Blank, blanks, plain_blanks
from .booklet import BODY, SMALL, Booklet
from .cutmap import cut_pages, cut_points, full_size_cut
from .describe import capital, date_words, edition_words, listed
from .drawn_hardware import at_measured_size
from .flow import Column
from .ics import DEFER, ics_bytes
from .hardware_lines import plain_frets
from .lengths import FLUID_OUNCE, INCH, area_words, length_lines, length_words, liquid_words, size_words, spread_words, volume_words
from .month import month_leaves
from .page import Item, paper_size
from .parts_at_hand import Gate, dimensions, effect_words, fitting_details, fitting_marks, gate, instrument_marks, plain_dimensions
from .pdf import pdf_book
from .placed import placed
from .practice import cami_words, cautions, grits, protected_woods
from .schedule import Material, Schedule, bought, materials, plain_materials, plain_operations, schedules, start_date
from .shop_file import read_shop
from .shop_values import Shop
from .table import csv_bytes

__all__ = ["READY", "ShopPapers", "shop_papers", "write_shop"]

READY, NOT_READY = "Ready to cut", "Not ready to cut"
QUALITY = 88
NOTE = "Measures are of the scene and of the shop's file. " + DEFER


@dataclass(frozen=True, eq=False)
class ShopPapers:
    """All papers of a scene for the shop: the files by name, and whether it is ready to cut."""

    gate: Gate
    files: Mapping[str, bytes]
    last: str


def shop_papers(scene: Scene, *, paper: str, today: str, start: str | None = None, full_size: bool = False, kept: Kept | None = None) -> ShopPapers:
    """The shop's papers of a scene as its ``variant`` stands, nothing written.

    paper      "a4" or "letter".
    today      ISO 8601; start the first day of work, the shop's file's when None, else today.
    full_size  adds a cut map of each part at true size, tiled on the same paper.

    MockupError for a bad shop's file, a start that is past, or unknown paper.
    """
    size = paper_size(paper)
    shop = read_shop(scene)
    begin = start_date(shop, start, today)
    kept = Kept() if kept is None else kept
    found = blanks(scene, shop)
    decided = gate(scene, shop, found)
    plans, needed = schedules(scene, shop, begin), materials(scene, shop)
    title = scene.title if scene.variant is None else f"{scene.title}: {scene.variant.title}"
    name = scene.name if scene.variant is None else f"{scene.name}.{scene.variant.name}"
    book = Booklet(paper, title, READY if decided.ready else NOT_READY, edition_words(scene, today), NOTE)
    _first(book, scene, shop, found, decided)
    _parts(book, scene, shop)
    cut_pages(book, scene, found, shop, kept=kept)
    _schedule(book, plans, needed, shop)
    _cautions(book, scene, plans)
    files: dict[str, bytes] = {f"{name}.shop.pdf": pdf_book(book.done(), title=f"{title}: shop papers", quality=QUALITY)}
    if full_size:
        for blank in found:
            pages = full_size_cut(scene, blank, shop, size, detail=edition_words(scene, today), kept=kept)
            files[f"{name}.cut.{blank.part}.pdf"] = pdf_book(pages, title=pages[0].title, quality=QUALITY)
    files |= _plain(name, scene, shop, found, decided, plans, needed, today)
    files[f"{name}.schedule.ics"] = ics_bytes(plans, title=title, today=today)
    return ShopPapers(decided, files, max(s.last for s in plans).isoformat())


def write_shop(folder: FilePath, scene: Scene, **how: Any) -> tuple[ShopPapers, tuple[FilePath, ...]]:
    """Write the shop's papers into a folder, all or none; arguments as for ``shop_papers``."""
    made = shop_papers(scene, **how)
    paths = {FilePath(folder) / name: data for name, data in made.files.items()}
    write_all(paths)
    return made, tuple(paths)


def _plain(name: str, scene: Scene, shop: Shop, found: Sequence[Blank], decided: Gate, plans: Sequence[Schedule], needed: Sequence[Material],
           today: str) -> dict[str, bytes]:
    tables = {"blanks": plain_blanks(tuple(found)), "parts": plain_dimensions(scene, shop), "schedule": plain_operations(plans),
              "materials": plain_materials(needed),
              "to_buy": [{"material": name, "ml": round(ml, 1), "fl_oz": round(ml / FLUID_OUNCE, 2)} for name, ml in bought(needed)],
              "frets": plain_frets(scene, shop),
              "marks": [{"part": b.part, "board": b.board, "mark": p.name, "from_A_mm": round(p.x, 2), "from_B_mm": round(p.y, 2),
                         "from_A_in": round(p.x / INCH, 4), "from_B_in": round(p.y / INCH, 4)}
                        for b in found for part in scene.parts if part.name == b.part for p in cut_points(part)]}
    whole = {"kind": "mockup shop papers", "format": 1, "version": __version__, "scene": scene.name,
             "variant": None if scene.variant is None else scene.variant.name, "revision": scene.revision, "date": scene.date or today,
             "ready_to_cut": decided.ready, "against": [t.replace("\u00a0", " ") for t in decided.against], **tables}
    files = {f"{name}.shop.json": (json.dumps(whole, indent=2, ensure_ascii=False, sort_keys=False, allow_nan=False) + "\n").encode("utf-8")}
    return files | {f"{name}.{table}.csv": csv_bytes(rows) for table, rows in tables.items() if rows}


def _first(book: Booklet, scene: Scene, shop: Shop, found: Sequence[Blank], decided: Gate) -> None:
    book.page("Wood to cut")
    book.mark(READY if decided.ready else NOT_READY, good=decided.ready)
    if decided.ready:
        touching = sum(1 for f in shop.fittings if f.part)
        said = f"All {touching} bought parts that touch wood are measured" if touching else "No bought part touches wood"
        book.text(f"{said}, their pockets fit, and no board is known to be too small.", after=4)
    for text in decided.against:
        book.text(text, BODY, after=1.6)
    book.space(3)
    book.heading("Blanks")
    a = shop.allowance
    book.text(f"Rough size is the finished one and {length_words(a.length, shop.units)} along the grain, {length_words(a.width, shop.units)} across, "
              f"{length_words(a.thickness, shop.units)} in thickness. Sizes: along the grain × across × thickness.", SMALL, after=3)
    rows = []
    for b in found:
        held = {True: "large enough", False: "too small", None: "not known"}[b.large_enough]
        pair = f", {b.cut.removesuffix(' pair')}" + (f"\nfrom {length_lines(b.resawn, shop.units)}" if b.resawn else "")
        rows.append((f"{b.title}\n{b.wood}", f"{b.pieces}{pair}" if b.pieces > 1 else "1", _sizes(b.finished, shop), _sizes(b.rough, shop),
                     volume_words(b.volume, shop.units) if b.volume is not None else "–", f"{b.board}\n{held}"))
    book.table(("Part", "Pieces", "Finished", "Rough", "Volume, all", "Board at hand"), rows, (20, 26, 35, 35, 25, 21))
    total = [b.volume for b in found]
    if all(v is not None for v in total) and len(total) > 1:
        book.text(f"Wood in all: {volume_words(sum(total), shop.units).replace(chr(10), ', ')}.", after=4)
    if woods := protected_woods([b.wood for b in found]):
        told = [f"{name}: {text}" for name, text in woods]
        book.heading("Protected wood", keep=14 + sum(book.height_of(words) + 1.6 for words in told))
        for words in told:
            book.text(words, after=1.6)
        book.text("Before a piece crosses a border, ask your own CITES office and look at the lists on the day. This is no legal advice.", SMALL)


def _sizes(sizes: tuple[float, float, float | None], shop: Shop) -> str:
    known = tuple(v for v in sizes if v is not None)
    return size_words(known, shop.units)


def _parts(book: Booklet, scene: Scene, shop: Shop) -> None:
    if not shop.fittings:
        return
    book.page("Parts at hand")
    rows: list[tuple[str, ...]] = []
    joined = []
    number = {f.name: str(n) for n, f in enumerate(shop.fittings, 1)}
    said: str | None = None
    for d in dimensions(shop):
        first = d.fitting.name != said
        said = d.fitting.name
        joined += [] if first else [len(rows)]
        part = next((p.title.lower() for p in scene.parts if p.name == d.fitting.part), "")
        measured = length_lines(d.measured, shop.units) if d.measured is not None else "not measured"
        off = "" if d.deviation is None else _deviation(d.deviation, shop.units) + (", off" if d.off else "")
        effect = effect_words(scene, d, shop.units)
        rows.append((number[d.fitting.name] if first else "", (d.fitting.title + (f"\non the {part}" if part else "\ntouches no wood")) if first else "",
                     d.name, length_lines(d.listed, shop.units), measured, off, effect))
    book.table(("", "Part", "Dimension", "Listed", "Measured", "Deviation", "What it does"), rows, (0.2, 1.1, 0.75, 0.7, 0.9, 1.0, 2.1), joined=joined)
    _details(book, scene, shop)
    for side in ("front", "back"):
        if any(f.side == side and f.part for f in shop.fittings):
            _drawn(book, scene, shop, side)


def _deviation(mm: float, units: str) -> str:
    """ "+0.40 mm" and inches below it, the maker's own first."""
    pair = (f"{mm:+.2f}\u00a0mm", f"{mm / INCH:+.3f}\u00a0in")
    return "\n".join(pair[::-1] if units == "in" else pair).replace("-", "−")


def _details(book: Booklet, scene: Scene, shop: Shop) -> None:
    """Pockets and parts that differ, as large as life where the page is wide enough, else halved."""
    found = fitting_details(scene, shop)
    if not found:
        return
    gap, most = 8.0, (book.inner - 8.0) / 2
    book.heading("Pockets, and parts that differ", keep=70)
    book.text("Black: the part as measured, dashed where it was not; grey dashes: as listed, where it differs; green: what is cut for it.", SMALL, after=4)
    cells = []
    for d in found:
        scale = next((s for s in (1, 2, 4, 8) if max(d.size[0] / most, d.size[1] / 90) <= s), 10)
        cells.append((d, scale, d.size[0] / scale, d.size[1] / scale))
    while cells:
        row, room = [], book.inner
        while cells and (not row or max(cells[0][2], 42) <= room):
            row.append(cells.pop(0))
            room -= max(row[-1][2], 42) + gap
        tallest = max(c[3] for c in row)
        book.need(tallest + 22)
        x, top, low = book.column.x, book.column.y, 0.0
        items: list[Item] = []
        for d, scale, wide, high in row:
            items += [placed(i, scale, x + wide / 2, top + 6 + high / 2) for i in d.marks]
            head = Column(x, top, max(wide, 42))
            head.text(f"{d.title}, 1 : {scale:g}", BODY.bold(), most=1)
            below = Column(x, top + 6 + high + 2.6, max(wide, 42))
            below.text(d.words, SMALL)
            items += [*head.items, *below.items]
            low = max(low, below.y)
            x += max(wide, 42) + gap
        book.put(items, low - top + 6)


def _drawn(book: Booklet, scene: Scene, shop: Shop, side: str) -> None:
    """The instrument with its bought parts at measured size, as large as the page has room for."""
    scene = at_measured_size(scene, shop)
    box, _ = instrument_marks(scene, side, pen=1.0)
    size = box[2] - box[0], box[3] - box[1]

    def best() -> float:
        scale = max(size[0] / book.inner, size[1] / max(book.room - 26, 1.0), 1.0)
        return min((s for s in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if s >= scale), default=scale)

    scale = best()
    if scale > 1:  # small beside other things, its numbers would lie over each other
        book.need(1e6)
        scale = best()
    marks: list[Item] = [*instrument_marks(scene, side, pen=scale)[1], *fitting_marks(scene, shop, side, pen=scale)]
    left, top = book.column.x + (book.inner - size[0] / scale) / 2, book.column.y + 4
    book.put([placed(i, scale, left - box[0] / scale, top - box[1] / scale) for i in marks], size[1] / scale + 9)
    book.text(f"{capital(side)}, scale 1 : {scale:g}. Black: bought parts at their measured size, dashed where not measured; grey dashes: as listed, "
              "where it differs; green: the pocket.", SMALL)


def _schedule(book: Booklet, plans: Sequence[Schedule], needed: Sequence[Material], shop: Shop) -> None:
    book.page("Finish schedule")
    book.text("Times and grits are common practice unless this shop changed them; grits are FEPA P, with CAMI beside them. "
              "The product's own sheet goes before both.", SMALL, after=4)
    for s in plans:
        rows = []
        for n, o in enumerate(s.operations, 1):
            days = date_words(o.first.isoformat()) if o.first == o.last else f"{date_words(o.first.isoformat())} to\n{date_words(o.last.isoformat())}"
            rows.append((str(n), days, o.title, o.detail, ""))
        head, shares = ("", "Day", "What", "How", "Done"), (0.22, 1.15, 1.35, 3.0, 0.45)
        high = book.table_height(head, rows, shares) + 14
        book.heading(listed(s.titles), keep=high if high < 0.8 * book.height - 80 else 40)
        book.table(head, rows, shares)
    _grits(book, plans)
    book.page("Days")
    month_leaves(book, plans, shop.rest)
    book.page("Materials")
    rows = []
    for m in needed:
        mixed = "\n".join(f"{name}: {liquid_words(ml, shop.units)}" for name, ml in m.mix.items())
        rows.append((f"{m.name}\n{listed(m.titles)}", area_words(m.area_mm2, shop.units), str(m.coats), spread_words(m.spread, shop.units), f"{m.loss * 100:.0f} %",
                     liquid_words(m.ml, shop.units) + (f"\n{mixed}" if mixed else "")))
    if rows:
        book.table(("Material", "Area", "Coats", "Spread", "Loss", "Needed"), rows, (1.7, 1.2, 0.5, 0.85, 0.5, 1.9))
        total = bought(needed)
        if len(total) < sum(max(1, len(m.mix)) for m in needed) or any(m.mix for m in needed):
            book.heading("To buy in all", keep=24)
            book.table(("", "Amount"), [(capital(name), liquid_words(ml, shop.units)) for name, ml in total], (2, 1.2))
    book.text("Area × coats ÷ spread ÷ (1 − loss), rounded up. Spread is for one coat; loss is what stays in rag, brush, cup and air. "
              "Edges count where the part's thickness is in the shop's file.", SMALL)
    thin = dict.fromkeys(f"{capital(m.name)}: {m.thin}." for m in needed if m.thin)
    for text in thin:
        book.text(text, after=1.4)


def _grits(book: Booklet, plans: Sequence[Schedule]) -> None:
    """The grits of the schedule, the two scales side by side."""
    used = sorted({g for s in plans for o in s.operations for g in o.grits})
    if not used:
        return
    by_name = {g.fepa: g for g in grits() if g.fepa}
    rows = [(f"P{g}", cami_words(g), f"{by_name[f'P{g}'].um:g}" if f"P{g}" in by_name else "", by_name[f"P{g}"].basis if f"P{g}" in by_name else "between two")
            for g in used]
    head, shares = ("FEPA P", "CAMI", "Mean grain, µm", "Basis"), (1, 1, 1, 2)
    book.heading("Grits", keep=book.table_height(head, rows, shares) + 14)
    book.table(head, rows, shares)


def _cautions(book: Booklet, scene: Scene, plans: Sequence[Schedule]) -> None:
    keys = dict.fromkeys(k for s in plans for o in s.operations for k in o.cautions)
    if not keys:
        return
    book.heading("Cautions", keep=60)
    book.text("The product's safety data sheet, the rules of your place, and people licensed for the work go before all that stands here.",
              BODY.bold(), after=3)
    for key in [k for k in cautions() if k in keys]:
        c = cautions()[key]
        book.need(24)
        book.text(c.title, BODY.bold(), after=1.2)
        book.text(c.text, after=0.8)
        book.text(f"Source: {c.source}.", SMALL, after=3.2)
