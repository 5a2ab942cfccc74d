"""The approval: one large picture with recipe, colours to meet, placement and room to sign, and its record."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from typing import Any

from ..errors import MockupError
from ..files.picture import encode_picture
from ..files.whole import write_all
from ..finish.words import finish_warnings, step_words
from ..render.colours import PartColour, colours
from ..render.kept import Kept
from ..render.picture import MARGIN, picture, refuse_missing_wood, scene_box
from ..render.placements import placement_picture
from ..scene.hardware import hardware_sentence
from ..scene.values import Part, Scene
from .approval_layout import HIGHEST, WIDTH, Approval, Plan, Recipe, Target, Thumbnail, lay_out, plan, words_height
from .choice import Checked
from .describe import (Group, assumed_bare, basis_sentence, binding_words, capital, cut_words, date_words, edition_words, groups, lab_words, listed, sheen_sentence, swatch,
                       unbroken, unbroken_units, wood_sentence, wood_words)
from .face import ITALIC, clean, face
from .page import Image, Page
from .raster import raster
from .record import COMPARISONS, make_record, read_record, record_bytes, short
from .sheet_colour import parting_notes, range_ends

__all__ = ["Approved", "approval", "approval_notes", "approve", "earlier_words", "placement_words", "target"]

NARROWEST, WIDEST = 1200, 12_000  # pixels
MOST_THUMBNAILS = 3


@dataclass(frozen=True, eq=False)
class Approved:
    """An approval as a page, and the record that goes with it."""

    page: Page
    record: dict[str, Any]


def approval(scene: Scene, variant: str, folder: Path, *, today: str, name: str | None = None, side: str = "front",
             px_width: int = 3600, choice: Checked | None = None, kept: Kept | None = None,
             report: Callable[[float], None] | None = None) -> Approved:
    """The approval of one variant.

    folder    where the record will lie; it names its scene from there.
    today     the date it is made, ISO 8601; the scene's own date goes before it.
    name      of the files, without ending; the scene's name when None.
    px_width  of the page in pixels.
    choice    the client's answer from the client's page; its words stand in the picture and in the record.
    report    hears the share done, 0..1.
    """
    if not NARROWEST <= px_width <= WIDEST:
        raise MockupError(f"The approval would be {px_width} pixels wide.", fix=f"Use {NARROWEST} to {WIDEST}.")
    chosen = scene.with_variant(variant)
    assert chosen.variant is not None
    edition = edition_words(chosen, today)
    kept, told = Kept() if kept is None else kept, report or (lambda share: None)
    density = px_width / WIDTH
    box = scene_box(chosen, side)
    size = (box[2] - box[0] + 2 * MARGIN, box[3] - box[1] + 2 * MARGIN)
    refuse_missing_wood(chosen, side, kept)
    found = colours(chosen, kept=kept)
    grouped = groups(chosen, side)
    told(0.1)
    notes = (*filter(None, [hardware_sentence(chosen)]), *parting_notes(chosen, found, grouped, kept, side))
    words = Approval(
        title=chosen.title, variant=chosen.variant.title, why=chosen.variant.why, edition=edition, client=chosen.client,
        answer=() if choice is None else _answer(choice), signed=chosen.client if choice is None else choice.choice.name,
        recipes=tuple(_recipe(chosen, g) for g in grouped),
        targets=tuple(target(chosen, c) for g in grouped for c in found if c.part in g.names),
        basis=basis_sentence(found, [c for c in found if assumed_bare(chosen, c.part)]), thumbnails=(), notes=notes, fingerprint="0000 0000 0000")

    def placed(planned: Plan) -> tuple[Thumbnail, ...]:
        return _thumbnails(chosen, [name for g in grouped for name in g.names], planned.thumbnail, density, kept)

    count = min(len(chosen.parts), MOST_THUMBNAILS)
    planned = plan(size, count)
    words = replace(words, thumbnails=placed(planned))
    if planned.beside and (room := words_height(words, planned, density)) > HIGHEST:
        # Words take the page further down anyway: the picture, which is what is approved, fills the height.
        planned = plan(size, count, room)
        words = replace(words, thumbnails=placed(planned))
    told(0.2)
    # Few digits, so that the record can be read: down, so that the picture still fits.
    scale = int(planned.scale * density * 1000) / 1000
    made = picture(chosen, side=side, scale=scale, kept=kept, report=lambda share: told(0.2 + 0.75 * share))
    notes = (*approval_notes(chosen, made.notes), *notes)
    words = replace(words, notes=notes)
    height, width = made.pixels.shape[:2]
    image = Image(0, 0, width / density, height / density, made.pixels)
    at = _picture_at(lay_out(words, planned, image, density)[1], image, density)
    name = chosen.name if name is None else _plain_name(name)
    record = make_record(chosen, made, found, side=side, today=today, notes=notes, folder=Path(folder),
                         image=f"{name}.approval.png", at=at, choice=None if choice is None else choice.kept)
    page_height, items = lay_out(replace(words, fingerprint=short(record["fingerprint"])), planned, image, density)
    told(1.0)
    return Approved(Page(WIDTH, page_height, items, density, title=f"{chosen.title}: {chosen.variant.title}"), record)


def approve(scene: Scene, variant: str, folder: Path, *, today: str, name: str | None = None, side: str = "front",
            px_width: int = 3600, choice: Checked | None = None, anew: bool = False, kept: Kept | None = None,
            report: Callable[[float], None] | None = None) -> tuple[Path, Path]:
    """Write NAME.approval.png and NAME.approval.json into ``folder``, both or neither; their paths.

    An approval that is there already stays, as somebody may have signed it: one of another state is
    written as NAME.2.approval.png, and so on; the same one again is left as it is.

    anew      write over whatever has that name.
    Other arguments as for ``approval``. Raises MockupError as ``picture`` and ``write_all``.
    """
    folder, kept = Path(folder), Kept() if kept is None else kept
    base = scene.name if name is None else _plain_name(name)

    def made(name: str, report: Callable[[float], None] | None = None) -> Approved:
        return approval(scene, variant, folder, today=today, name=name, side=side, px_width=px_width, choice=choice, kept=kept, report=report)

    done = made(base, report)
    for number in count(1):
        name = base if number == 1 else f"{base}.{number}"
        png, json = folder / f"{name}.approval.png", folder / f"{name}.approval.json"
        before = None if anew else _before(png, json)
        if before is None or before == _state(done.record):
            break
    if name != base:  # the record, and so the fingerprint printed, name the picture
        done = made(name)
    files = {png: encode_picture(raster(done.page), ".png", px_per_mm=done.page.px_per_mm), json: record_bytes(done.record)}
    # Of the same approval the picture may bear a signature by now, and the record comparisons.
    write_all({path: data for path, data in files.items() if before is None or not path.exists()})
    return png, json


def earlier_words(name: str, picture: Path) -> str:
    """That an earlier approval called ``name`` was left where it was, of one that ``approve`` wrote; "" where there was none."""
    return "" if picture.name.startswith(f"{name}.approval") else f"An earlier approval of that name is there: it stays. This one is {picture.name}."


def _before(png: Path, json: Path) -> dict[str, Any] | None:
    """What of an earlier approval of this name says which it is; None when the name is free, {} when what is there is no approval."""
    if not (png.is_file() or json.is_file()):
        return None
    try:
        return _state(read_record(json))
    except MockupError:
        return {}


def _state(record: dict[str, Any]) -> dict[str, Any]:
    """A record without what hangs on its name, and what was added to it later."""
    return {k: v for k, v in record.items() if k not in ("fingerprint", "image", "libraries", COMPARISONS)}


def _answer(choice: Checked) -> tuple[str, str]:
    """The client's words as they are printed, and who wrote them, when and about what."""
    said = choice.choice
    # The typeface has no pictures and not every script; what is left out here stands in the record.
    known = face(ITALIC).glyphs
    words = clean("".join(c for c in clean(said.comment) if ord(c) in known))
    whole = words == clean(said.comment)
    quoted = f"\u201c{words}\u201d" if words else ""
    if not whole:
        quoted += f"{' ' if quoted else ''}(The whole comment stands in the record.)"
    return quoted, f"{said.name}, {date_words(said.date)}, who chose this on the client\u2019s page; fingerprint of what was seen {unbroken(said.seen)}"


def _plain_name(name: str) -> str:
    if not re.fullmatch(r"[\w][\w .-]{0,99}", name):
        raise MockupError(f'"{name[:60]}" is not a plain file name.', fix="Use letters, digits, -, _ and points.")
    return name


def _picture_at(items, image: Image, density: float) -> tuple[int, int]:
    placed = next(i for i in items if isinstance(i, Image) and i.pixels is image.pixels)
    return round(placed.x * density), round(placed.y * density)


def _recipe(scene: Scene, group: Group) -> Recipe:
    part = group.part
    return Recipe(title=listed(group.titles), wood=capital(wood_words(scene, part)),
                  steps=tuple(capital(unbroken_units(step_words(step))) for step in part.finish.steps),
                  binding=capital(unbroken_units("; ".join(dict.fromkeys(
                      words for p in scene.parts if p.name in group.names and (words := binding_words(p)))))),
                  sheen=capital(f"{sheen_sentence(part.finish.sheen)} at {unbroken('60°')}"))


def target(scene: Scene, colour: PartColour) -> Target:
    """The colour a part should meet, bare and finished, of a burst its middle and its edge, and what range it may lie in."""
    spread, error = (unbroken(f"ΔE00 {value:.1f}") for value in (colour.spread, colour.error))
    burst = colour.middle_lab is not None and colour.edge_lab is not None
    rows = [("Bare", lab_words(colour.bare_lab))]
    if burst:
        rows += [("Middle", lab_words(colour.middle_lab)), ("Edge", lab_words(colour.edge_lab))]
        patches = (colour.bare_lab, colour.middle_lab, colour.edge_lab)
    else:
        rows.append(("Finished", lab_words(colour.finished_lab)))
        patches = (colour.bare_lab, colour.finished_lab)
    said = []
    if colour.error > 0:
        rows += [("If light", lab_words(colour.light_lab)), ("If dark", lab_words(colour.dark_lab))] if not burst else []
        said.append(f"Expected within {error}{' if the bare wood measures as given' if assumed_bare(scene, colour.part) else ''} ({colour.basis}).")
    if burst:
        said.append(f"The mean over the burst is {lab_words(colour.finished_lab)}.")
    elif colour.spread > 0:  # a part too narrow for a patch has none
        said.append(f"{unbroken('95 %')} of the board's own {unbroken('10 mm')} patches lie within {spread} of their mean.")
    return Target(title=f"{colour.title}, {colour.wood}", patches=tuple(map(swatch, patches)), rows=tuple(rows), range=" ".join(said),
                  ends=tuple(map(swatch, range_ends(colour))))


def approval_notes(scene: Scene, of_picture: tuple[str, ...]) -> tuple[str, ...]:
    """What a client and a finisher should know, each said once."""
    warned = [f"{part.title}: {warning}" for part in scene.parts for warning in finish_warnings(part.finish)]
    return tuple(dict.fromkeys([wood_sentence(scene), *of_picture, *warned]))


def _thumbnails(scene: Scene, order: Sequence[str], most: tuple[float, float], density: float, kept: Kept) -> tuple[Thumbnail, ...]:
    """Boards with outlines, parts in the ``order`` of their names: three with a picture, the others in words."""
    made = []
    for k, part in enumerate(sorted(scene.parts, key=lambda p: order.index(p.name))):
        pixels = None
        if k < MOST_THUMBNAILS:
            board = scene.boards[part.board]
            # 12 mm of margin on each side of the board, as ``placement_picture`` draws it.
            wide, high = board.size_mm[0] + 24, board.size_mm[1] + 24
            scale = max(min(most[0] / wide, most[1] / high) * density, 0.05)
            pixels = placement_picture(scene, part.name, scale=scale, kept=kept).pixels
        made.append(Thumbnail(pixels, placement_words(scene, part)))
    return tuple(made)


def placement_words(scene: Scene, part: Part) -> str:
    """Where a part lies on its board, in one sentence."""
    place, board = part.placement, scene.boards[part.board]
    turn = f", turned {place.turn:g}°" if place.turn else ""
    slip = f", slipped {unbroken(f'{place.slip:g} mm')}" if place.slip else ""
    anchor = "middle" if place.cut == "single" else "joint"
    where = unbroken(f"{place.at[0]:.1f}, {place.at[1]:.1f} mm")
    legend = "" if place.cut == "single" else \
        f" Red: the right piece. Blue: the left one, {'mirrored' if place.cut == 'bookmatch' else 'slid across'}, out of the next leaf."
    size = unbroken(f"{board.size_mm[0]:.0f} × {board.size_mm[1]:.0f} mm")
    return f"{part.title} from {board.wood}, {size}: {cut_words(part)}{turn}{slip}, {anchor} at {where} from the top left.{legend}"
