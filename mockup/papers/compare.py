"""Did it come out? A photograph of finished wood, or of a test board, against the colours that were approved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import cv2
import numpy as np

from ..board.calibrate import Calibrated, Wanted, calibrate
from ..colour.difference import ciede2000
from ..colour.spaces import encode_srgb, linear_to_lab
from ..errors import MockupError, nearest
from ..files.photo import read_photo
from ..files.whole import write_all
from .booklet import BODY, SMALL, Booklet
from .contrast import approved_contrast, figure_contrast
from .describe import capital, lab_words, listed, swatch, unbroken
from .finisher import advice_words, contrast_words, direction_words
from .flow import Column
from .page import Box, Page, Path
from .pdf import pdf_book
from .record import comparisons_intact, fingerprint, read_record, record_bytes, short, with_comparison

__all__ = ["Compared", "Comparison", "compare", "comparison_page", "sentences", "write_comparison"]

Area = tuple[float, float, float, float]

TOPICS = ("colour", "light", "clipping", "glare", "cover")  # of a photo's verdict, what a colour hangs on
EDGE = 4.0           # mm left out along the edges of a photographed board: its rounded edge is not its face
LEAST_PIXELS = 400   # of a measured area, at a pixel a mm
DEFAULT_ERROR = 6.0  # ΔE00 expected where a record does not say


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """One part.

    approved, measured  CIE Lab D65, means.
    apart               ΔE00 between them.
    expected            ΔE00 within which 95 of 100 finished parts should lie.
    photo_error         ΔE00 that the photo itself may be wrong by.
    verdict             "inside", "outside", or "near the limit": nearer to it than the photo can tell.
    contrast            of the figure, measured over approved; None when it cannot be said.
    area                x, y, width, height in mm of the squared photo.
    """

    part: str
    title: str
    approved: tuple[float, float, float]
    measured: tuple[float, float, float]
    apart: float
    expected: float
    photo_error: float
    verdict: str
    contrast: float | None
    directions: tuple[str, ...]
    advice: tuple[str, ...]
    area: Area

    @property
    def ways(self) -> str:
        """How it differs: "darker and redder, with less contrast in the figure"."""
        colour = [w for w in self.directions if "figure" not in w]
        figure = [w for w in self.directions if "figure" in w]
        said = listed(colour) if colour else "the same to the eye"
        return f"{said}, with {figure[0]}" if figure else said

    @property
    def sentence(self) -> str:
        """The finding in one sentence."""
        where = {"inside": "inside the expected range", "outside": "outside the expected range",
                 "near the limit": "at the limit of the expected range, nearer than this photo can tell"}[self.verdict]
        return f"{self.title}: ΔE00 {self.apart:.1f} from the approved colour, {self.ways}; {where} of ΔE00 {self.expected:.1f}."


@dataclass(frozen=True, eq=False)
class Compared:
    """All parts of one photo, the record with them appended, and the photo squared up."""

    record: dict[str, Any]
    parts: tuple[Comparison, ...]
    board: Calibrated
    test_board: bool
    notes: tuple[str, ...]


def compare(record_path: FilePath, photo: FilePath, parts: Mapping[str, Area | None] | None = None, *, wanted: Wanted = Wanted(),
            test_board: bool = False, today: str) -> Compared:
    """Compare a photo with the colours of a record; nothing is written.

    parts       name to the area that shows it (x, y, width, height in mm of
                the squared photo), None for all that the photo shows; the
                record's only part where it is left out.
    wanted      how the photo is squared and its colour told, as for a board.
    test_board  the photo shows an offcut, not the instrument.

    MockupError for a record that was edited, a part it does not have, or a
    photo without something to measure by.
    """
    record_path, photo = FilePath(record_path), FilePath(photo)
    record = read_record(record_path)
    if fingerprint(record) != record["fingerprint"] or not comparisons_intact(record):
        raise MockupError("The record was edited: it does not match its own fingerprint.",
                          fix="Take the record from where it was first saved.", where=record_path.name)
    targets = _targets(record, record_path)
    chosen = _chosen(targets, parts, record_path)
    read = read_photo(photo)
    try:
        board = calibrate(read.pixels, wanted)
    except MockupError as error:
        raise error.within(photo.name, joint=": ") from None
    if board.measures.basis == "nothing" or board.measures.colour_error is None:
        raise MockupError("The photo has nothing to measure colour by.",
                          fix="Lay a grey card or a 24-patch target beside the wood, or the printed sheet around it.", where=photo.name)
    found = tuple(_compared(record, record_path, targets[name], board, area, photo, test_board) for name, area in chosen.items())
    notes = tuple(f.found for f in board.verdict if f.level != "good" and f.topic in TOPICS)
    entry = {"date": today, "photo": photo.name, "photo_sha256": read.sha256, "test_board": test_board,
             "colour_basis": board.measures.basis, "parts": [_plain(c) for c in found], "notes": list(notes)}
    return Compared(with_comparison(record, entry), found, board, test_board, notes)


def write_comparison(record_path: FilePath, made: Compared, *, paper: str = "a4", report: FilePath | None = None) -> tuple[FilePath, ...]:
    """Write the record with the comparison appended, and a page of it as PDF when ``report`` names one; all or none."""
    files = {FilePath(record_path): record_bytes(made.record)}
    if report is not None:
        files[FilePath(report)] = pdf_book(comparison_page(made, paper), title="Comparison", quality=88)
    write_all(files)
    return tuple(files)


def _targets(record: Mapping[str, Any], path: FilePath) -> dict[str, Mapping[str, Any]]:
    found = {}
    for colour in record["colours"]:
        lab = colour.get("finished_lab") if isinstance(colour, dict) else None
        good = isinstance(lab, list) and len(lab) == 3 and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in lab)
        if good and isinstance(colour.get("part"), str):
            found[colour["part"]] = colour
    if not found:
        raise MockupError("The record names no colour to compare with.", fix="Approve the scene again.", where=path.name)
    return found


def _chosen(targets: Mapping[str, Any], parts: Mapping[str, Area | None] | None, path: FilePath) -> dict[str, Area | None]:
    if not parts:
        if len(targets) > 1:
            raise MockupError(f"The record has {len(targets)} parts, and none is named.", fix=f"Name what the photo shows: {', '.join(targets)}.",
                              where=path.name)
        return {next(iter(targets)): None}
    for name in parts:
        if name not in targets:
            raise MockupError(f'The record has no part "{name[:60]}".', fix=nearest(name[:60], targets), where=path.name)
    if len(parts) > 1 and any(area is None for area in parts.values()):
        raise MockupError("Several parts are named, and not for each where it lies in the photo.",
                          fix="Write NAME=x,y,width,height, in mm of the squared photo, for each.", where=path.name)
    return dict(parts)


def _compared(record: Mapping[str, Any], path: FilePath, target: Mapping[str, Any], board: Calibrated, area: Area | None, photo: FilePath,
              test_board: bool) -> Comparison:
    # A pixel a mm is enough for a mean; the figure is looked at finer.
    scale = min(board.px_per_mm, 2.0)
    wide, high = (board.pixels.shape[k] / board.px_per_mm for k in (1, 0))
    size = (max(1, round(wide * scale)), max(1, round(high * scale)))
    pixels = cv2.resize(board.pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 65535
    usable = cv2.resize(board.usable, size, interpolation=cv2.INTER_NEAREST) == 255
    x, y, w, h = area or (EDGE, EDGE, wide - 2 * EDGE, high - 2 * EDGE)
    inside = np.zeros(usable.shape, bool)
    inside[max(round(y * scale), 0):max(round((y + h) * scale), 0), max(round(x * scale), 0):max(round((x + w) * scale), 0)] = True
    mask = inside & usable
    if mask.sum() < LEAST_PIXELS * scale**2:
        raise MockupError(f"The area for {target['part']} shows {mask.sum() / scale**2:.0f} mm² of wood that can be used.",
                          fix=f"Name one within 0, 0 to {wide:.0f}, {high:.0f} mm, clear of glare.", where=photo.name)
    lab = linear_to_lab(pixels[mask].mean(axis=0, dtype=np.float64))
    approved = tuple(float(v) for v in target["finished_lab"])
    apart = float(ciede2000(np.array(approved), lab))
    error = float(board.measures.colour_error or 0.0)
    expected = target.get("error")
    expected = float(expected) if isinstance(expected, (int, float)) and expected > 0 else DEFAULT_ERROR
    verdict = "inside" if apart <= expected else "outside"
    if abs(apart - expected) < error / 2:
        verdict = "near the limit"
    before = approved_contrast(record, path.parent, target["part"])
    now = figure_contrast(pixels, mask, scale)
    ratio = None if before is None or now is None or before < 0.3 else now / before
    ways, seen = direction_words(approved, lab.tolist()), contrast_words(ratio)
    return Comparison(part=target["part"], title=str(target.get("title", target["part"])), approved=approved,
                      measured=tuple(round(float(v), 2) for v in lab), apart=round(apart, 2), expected=expected, photo_error=round(error, 2),
                      verdict=verdict, contrast=None if ratio is None else round(ratio, 3), directions=(*ways, *seen),
                      advice=advice_words(ways, seen, test_board=test_board) if verdict != "inside" or seen else (),
                      area=(round(x, 1), round(y, 1), round(w, 1), round(h, 1)))


def _plain(c: Comparison) -> dict[str, Any]:
    return {"part": c.part, "title": c.title, "approved_lab": list(c.approved), "measured_lab": list(c.measured), "delta_e00": c.apart,
            "expected_delta_e00": c.expected, "photo_delta_e00": c.photo_error, "verdict": c.verdict, "figure_contrast": c.contrast,
            "directions": list(c.directions), "advice": list(c.advice), "area_mm": list(c.area)}


def comparison_page(made: Compared, paper: str) -> list[Page]:
    """The comparison as pages: the photo squared up, patches, findings, and what would help."""
    record = made.record
    entry = record["comparisons"][-1]
    book = Booklet(paper, f"{record.get('title', '')}: {record.get('variant_title', '')}", "", str(entry["date"]),
                   f"Photo {entry['photo']}. Record {short(record['fingerprint'])}, comparison {short(entry['fingerprint'])}.")
    book.page("The test board against the approval" if made.test_board else "Did it come out?")
    codes = np.rint(encode_srgb(_small(made.board.pixels, 1000).astype(np.float32) / 65535) * 255).astype(np.uint8)
    width = min(book.inner, 105 * codes.shape[1] / codes.shape[0])
    scale = made.board.pixels.shape[1] / made.board.px_per_mm / width
    at = book.image(codes, width=width, after=2)
    frames = []
    for c in made.parts:
        x, y, w, h = (v / scale for v in c.area)
        box = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]) + at
        frames += [Path((box,), 0.8, (255, 255, 255), closed=True), Path((box,), 0.35, (176, 32, 24), closed=True, dash=(2, 1.2))]
    book.put(frames)
    book.text("The photo, squared up, light and camera taken out; red: what was measured.", SMALL, after=5)
    for c in made.parts:
        _patches(book, c)
    for text in made.notes:
        book.text(text, SMALL, after=1.2)
    return book.done()


def _small(pixels: np.ndarray, most: int) -> np.ndarray:
    share = min(1.0, most / pixels.shape[1])
    return pixels if share == 1 else cv2.resize(pixels, (most, max(1, round(pixels.shape[0] * share))), interpolation=cv2.INTER_AREA)


def _patches(book: Booklet, c: Comparison) -> None:
    side = 20.0
    book.need(side + 30)
    x, y = book.column.x, book.column.y
    beside = Column(x + 2 * side + 6, y, book.inner - 2 * side - 6)
    beside.text(f"{c.title}: {c.verdict}{' the expected range' if c.verdict != 'near the limit' else ' of the expected range'}", BODY.bold())
    for label, words in (("Approved", lab_words(c.approved)), ("Measured", lab_words(c.measured)),
                         ("Apart", unbroken(f"ΔE00 {c.apart:.1f}") + f", expected within {unbroken(f'{c.expected:.1f}')}, photo good to about "
                          f"{unbroken(f'{c.photo_error:.1f}')}")):
        beside.space(1.4)
        beside.row(label, words, BODY if label != "Apart" else SMALL, indent=21, label_style=SMALL)
    book.put([Box(x, y, side, side, swatch(c.approved)), Box(x + side, y, side, side, swatch(c.measured)), *beside.items],
             max(beside.y - y, side) + 3)
    book.text(f"Left approved, right measured. It is {c.ways}.", after=1.6)
    for text in c.advice:
        book.text(capital(text), after=1.2)
    book.space(3)


def sentences(found: Sequence[Comparison]) -> list[str]:
    """Findings and advice, line by line."""
    return [line for c in found for line in (c.sentence, *c.advice)]
