"""Did it come out? A photograph of finished wood, or of a test board, against the colours that were approved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

import numpy as np

from ..board.calibrate import Wanted
from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..errors import MockupError, nearest
from ..files.photo import read_photo
from ..files.whole import write_all
from .comparison_page import comparison_page
from .contrast import approved_contrast, figure_contrast
from .describe import AS_SHOWN, lab_words, listed
from .finisher import advice_words, contrast_words, direction_words
from .laid import approved_here
from .lengths import INCH
from .measured import Area, Measured, by_areas, by_outline
from .outline_fit import Fit
from .pdf import pdf_book
from .record import comparisons_intact, fingerprint, read_record, record_bytes, with_comparison
from .table import csv_bytes

__all__ = ["Compared", "Comparison", "compare", "judged", "plain_rows", "sentences", "write_comparison"]

TOPICS = ("colour", "light", "clipping", "glare", "cover")  # of a photo's verdict, what a colour hangs on
FINE, SOFT = 1.4, 1.3   # px/mm that a photo must have, and mm that an edge may be wide in it, for its figure to be judged
AGAIN = ("The photo may itself be off by as much as it found: before anything is done to the finish, take it again, in even light, with the "
         "grey card or a 24-patch target close to the wood.")
DEFAULT_ERROR = 6.0  # ΔE00 expected where a record does not say


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """One part.

    approved, measured  CIE Lab D65, means.
    apart               ΔE00 between them.
    expected            ΔE00 within which 95 of 100 finished parts should lie.
    photo_error         ΔE00 that the photo itself may be wrong by.
    verdict             "inside", "outside", "near the limit": nearer to it than the photo can tell, or "not told": the photo is less certain
                        than the whole range is wide.
    contrast            of the figure, measured over approved; None when it cannot be said.
    measured_mm2        of wood that was measured.
    area                x, y, width, height in mm of the squared photo, where it was named; ``curves`` what was measured, mm of the photo shown.
    laid                how the approved outline lies on the photo, None where it was not looked for.
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
    measured_mm2: float
    area: Area | None
    curves: tuple[np.ndarray, ...]
    laid: Fit | None

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
                 "near the limit": "so near the limit of the expected range that this photo cannot tell",
                 "not told": f"this photo, good to about ΔE00 {self.photo_error:.1f}, cannot tell whether that is inside the expected range"}[self.verdict]
        return f"{self.title}: ΔE00 {self.apart:.1f} from the approved colour, {self.ways}; {where} (ΔE00 {self.expected:.1f})."


@dataclass(frozen=True, eq=False)
class Compared:
    """All parts of one photo, the record with them appended, and the photo squared up: (H, W, 3) float32 linear, ``px_per_mm``."""

    record: dict[str, Any]
    parts: tuple[Comparison, ...]
    shown: np.ndarray
    px_per_mm: float
    test_board: bool
    notes: tuple[str, ...]


def compare(record_path: FilePath, photo: FilePath, parts: Mapping[str, Area | None] | None = None, *, wanted: Wanted = Wanted(),
            test_board: bool = False, today: str) -> Compared:
    """Compare a photo with the colours of a record; nothing is written.

    parts       name to the area that shows it (x, y, width, height in mm of
                the squared photo). Without areas the approved outline is
                looked for in the photo; of a test board, a scan, or what
                four corners enclose, all is measured. Left out: every part
                that the outline shows, or the record's only one.
    wanted      how the photo is squared and its colour told, as for a board.
    test_board  the photo shows an offcut, not the instrument.

    MockupError for a record that was edited, a part it does not have, a
    photo without something to measure by, or an outline that is not found.
    """
    record_path, photo = FilePath(record_path), FilePath(photo)
    record = read_record(record_path)
    if fingerprint(record) != record["fingerprint"] or not comparisons_intact(record):
        raise MockupError("The record was edited: it does not match its own fingerprint.",
                          fix="Take the record from where it was first saved.", where=record_path.name)
    targets = _targets(record, record_path)
    whole = test_board or wanted.corners is not None or wanted.dpi is not None
    chosen = _chosen(targets, parts, record_path, whole)
    read = read_photo(photo)
    wanted = replace(wanted, straight=read.straight)
    try:
        if whole or any(chosen.values()):
            measured, shown, scale = by_areas(read.pixels, wanted, chosen, board=whole)
        else:
            measured, shown, scale = by_outline(read.pixels, wanted, record, record_path.parent, tuple(chosen))
    except MockupError as error:
        raise error.within(photo.name, joint=": ") from None
    found = tuple(_compared(record, record_path, targets[m.name], m, test_board) for m in measured)
    notes = dict.fromkeys((f"{c.title}: " if len(found) > 1 else "") + _of_wood(f.found)
                          for c, m in zip(found, measured, strict=True) for f in m.board.verdict if f.level != "good" and f.topic in TOPICS
                          and not (f.topic == "cover" and m.laid is not None))
    notes |= dict.fromkeys(m.note for m in measured if m.note)
    notes |= dict.fromkeys(said for c in found if c.verdict != "inside" and (said := _doubtful_wood(c, record, targets[c.part])))
    entry = {"date": today, "photo": photo.name, "photo_sha256": read.sha256, "test_board": test_board,
             "colour_basis": measured[0].board.measures.basis, "parts": [_plain(c) for c in found], "notes": list(notes)}
    return Compared(with_comparison(record, entry), found, shown, scale, test_board, tuple(notes))


def write_comparison(record_path: FilePath, made: Compared, *, paper: str = "a4", report: FilePath | None = None) -> tuple[FilePath, ...]:
    """Write the record with the comparison appended; with ``report``, a PDF of it and a CSV beside that; all or none."""
    files = {FilePath(record_path): record_bytes(made.record)}
    if report is not None:
        files[FilePath(report)] = pdf_book(comparison_page(made, paper), title="Comparison", quality=88)
        files[FilePath(report).with_suffix(".csv")] = csv_bytes(plain_rows(made))
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


def _chosen(targets: Mapping[str, Any], parts: Mapping[str, Area | None] | None, path: FilePath, whole: bool) -> dict[str, Area | None]:
    """The parts that are named; none means whatever the outline shows. ``whole``: all of the photo is wood, so that it must be one."""
    if not parts:
        if len(targets) == 1:
            return {next(iter(targets)): None}
        if whole:
            raise MockupError(f"The record has {len(targets)} parts, and none is named.", fix=f"Name what the photo shows: {', '.join(targets)}.",
                              where=path.name)
        return {}
    for name in parts:
        if name not in targets:
            raise MockupError(f'The record has no part "{name[:60]}".', fix=nearest(name[:60], targets), where=path.name)
    given = [area is not None for area in parts.values()]
    if len(parts) > 1 and not all(given) and (whole or any(given)):
        raise MockupError("Several parts are named, and not for each where it lies in the photo.",
                          fix="Write NAME=x,y,width,height, in mm of the squared photo, for each.", where=path.name)
    return dict(parts)


def _compared(record: Mapping[str, Any], path: FilePath, target: Mapping[str, Any], m: Measured, test_board: bool) -> Comparison:
    lab = linear_to_lab(m.pixels[m.mask].mean(axis=0, dtype=np.float64))
    approved = tuple(float(v) for v in target["finished_lab"])
    if m.scene is not None and m.region is not None:
        approved = approved_here(m.scene, m.name, m.region, approved)
    apart = float(ciede2000(np.array(approved), lab))
    error = float(m.board.measures.colour_error or 0.0)
    expected = target.get("error")
    expected = float(expected) if isinstance(expected, (int, float)) and expected > 0 else DEFAULT_ERROR
    verdict = judged(apart, expected, error)
    before = approved_contrast(record, path.parent, target["part"]) if _sharp(m) else None
    now = figure_contrast(m.pixels, m.mask, m.scale)
    ratio = None if before is None or now is None or before < 0.3 else now / before
    ways, seen = direction_words(approved, lab.tolist()), contrast_words(ratio)
    steps = record["resolved"].get("parts", {}).get(target["part"], {}).get("finish", [])
    bare = target.get("bare_lab") if isinstance(target.get("bare_lab"), list) else None
    # What the photo may only have made up is no reason to lay a coat on finished wood.
    doubtful = error >= apart
    advice = advice_words(approved, approved if doubtful else lab.tolist(), steps, seen, test_board=test_board, bare=bare) \
        if verdict != "inside" or seen else ()
    if doubtful and verdict != "inside":
        advice = (AGAIN, *advice)
    return Comparison(part=target["part"], title=str(target.get("title", target["part"])), approved=approved,
                      measured=tuple(round(float(v), 2) for v in lab), apart=round(apart, 2), expected=expected, photo_error=round(error, 2),
                      verdict=verdict, contrast=None if ratio is None else round(ratio, 3), directions=(*ways, *seen), advice=advice,
                      measured_mm2=round(float(m.mask.sum()) / m.scale**2), area=m.area, curves=m.curves, laid=None if m.laid is None else m.laid.fit)


def _doubtful_wood(c: Comparison, record: Mapping[str, Any], target: Mapping[str, Any]) -> str:
    """What to try before the finish is blamed, for a part that was approved on wood whose own colour nobody had measured; "" for another."""
    notes = record.get("notes")
    wood = "wood that stands for its kind" if target.get("actual") is False else \
        f"wood {AS_SHOWN}" if isinstance(notes, list) and any(AS_SHOWN in str(note) for note in notes) else ""
    bare = target.get("bare_lab")
    taken = f", {lab_words(bare)} bare" if isinstance(bare, list) and len(bare) == 3 else ""
    return wood and f"{c.title} was approved on {wood}{taken}: measure a bare offcut of its own before the finish is changed, as other wood differs too."


def _of_wood(found: str) -> str:
    """A finding on a board's photo, said of finished wood, of which no mask is written."""
    return found.replace("; it is marked in the mask", "").replace(" of the board ", " of the wood ")


def judged(apart: float, expected: float, error: float) -> str:
    """The verdict on a part: its ΔE00 from the approved colour against the expected range, by a photo that may be off by ``error``."""
    if abs(apart - expected) >= error / 2:
        return "inside" if apart <= expected else "outside"
    return "not told" if error > expected else "near the limit"


def _sharp(m: Measured) -> bool:
    """Whether the photo is fine enough for the figure to be judged."""
    measures = m.board.measures
    return measures.px_per_mm >= FINE and (measures.blur_px or 0.0) / max(measures.px_per_mm, 1e-6) <= SOFT


def _plain(c: Comparison) -> dict[str, Any]:
    laid = None if c.laid is None else {"turn_degrees": round(c.laid.turn, 2), "scale": round(c.laid.scale, 4), "edge_share": round(c.laid.on, 3),
                                        "edge_off_mm": round(c.laid.off, 2), "edge_off_in": round(c.laid.off / INCH, 4)}
    return {"part": c.part, "title": c.title, "approved_lab": list(c.approved), "measured_lab": list(c.measured), "delta_e00": c.apart,
            "expected_delta_e00": c.expected, "photo_delta_e00": c.photo_error, "verdict": c.verdict, "figure_contrast": c.contrast,
            "directions": list(c.directions), "advice": list(c.advice), "measured_mm2": c.measured_mm2,
            "measured_in2": round(c.measured_mm2 / INCH**2, 2), "area_mm": None if c.area is None else list(c.area),
            "area_in": None if c.area is None else [round(v / INCH, 3) for v in c.area], "outline": laid}


def plain_rows(made: Compared) -> list[dict[str, Any]]:
    """The findings as rows for CSV, one a part; each Lab as three columns, lists as text."""
    rows = []
    for c in made.parts:
        row: dict[str, Any] = {}
        for key, value in _plain(c).items():
            if key.endswith("_lab"):
                row |= dict(zip((f"{key[:-4]}_L", f"{key[:-4]}_a", f"{key[:-4]}_b"), value, strict=True))
            elif key == "outline":
                row |= {f"outline_{k}": v for k, v in (value or {}).items()}
            else:
                row[key] = "; ".join(map(str, value)) if isinstance(value, list) else value
        rows.append(row)
    return rows


def sentences(found: Sequence[Comparison]) -> list[str]:
    """Findings and advice, line by line."""
    return [line for c in found for line in (c.sentence, *c.advice)]
