"""Outlines out of drawing files: an SVG shape, by its id, as closed curves in mm.

    bytes ──▶ svgdocument   safe XML, one shape and its groups
          ──▶ svgcurves     units, viewBox, transforms, curves to chords
          ──▶ rings         closed, uncrossed, holes told from outer edges
"""

from __future__ import annotations

from pathlib import Path

from mockup.errors import MockupError
from mockup.files.whole import read_bytes
from mockup.outline.rings import closed_gap, shape_from_curves
from mockup.outline.shape import Shape
from mockup.outline.svgcurves import curves_in_mm
from mockup.outline.svgdocument import Drawing

__all__ = ["LARGEST_FILE", "outline_fill", "outline_from_svg", "outline_ids", "outline_missing", "read_noted", "read_outline"]

TOLD_GAP = 1e-4  # mm: a wider gap that is closed is told

LARGEST_FILE = 8_000_000  # bytes


def read_outline(path: Path, id: str) -> Shape:
    """The shape with this id in an SVG file, in mm.

    A path, basic shape, reused shape (``use``) or group of one shape; units,
    viewBox and transforms as in SVG 2, holes by its fill rule. Coordinates
    are the drawing's own, in mm: with viewBox="-200 0 400 500" and
    width="400mm" a centre line drawn at x = 0 stays at x = 0. A stroke or a
    hidden display does not matter. A shape in ``defs`` lies where it is
    drawn there.

    Raises MockupError, at ``file#id``, when the file cannot be read or is
    over ``LARGEST_FILE`` bytes, when its size in mm is not known, and when
    the outline is missing, open, crosses itself, or encloses nothing.
    """
    return read_noted(path, id)[0]


def read_noted(path: Path, id: str) -> tuple[Shape, tuple[str, ...]]:
    """As ``read_outline``, with what was done to the outline or left out of it, in words."""
    path = Path(path)
    return _noted(read_bytes(path, limit=LARGEST_FILE), id, path.name)


def outline_from_svg(data: bytes, id: str, *, where: str = "") -> Shape:
    """As ``read_outline``, from the bytes of an SVG file; ``where`` names it in errors."""
    return _noted(data, id, where)[0]


def _noted(data: bytes, id: str, where: str) -> tuple[Shape, tuple[str, ...]]:
    try:
        drawing = Drawing(data)
        curves, rule = curves_in_mm(drawing.document(id))
        gap = closed_gap(curves)
        return shape_from_curves(curves, rule), (*((f"a gap of {gap:.2g} mm is closed",) if gap > TOLD_GAP else ()), *drawing.left_out(id))
    except MockupError as error:
        raise error.within(f"{where}#{id[:60]}") from None


def outline_ids(path: Path, within: str | None = None) -> tuple[str, ...]:
    """The ids in an SVG file that ``read_outline`` could take, in the order drawn.

    within  of a group: each outline in it that is seen, once; "" for the whole drawing.
    """
    path = Path(path)
    data = read_bytes(path, limit=LARGEST_FILE)
    try:
        return Drawing(data).ids() if within is None else Drawing(data).seen_ids(within)
    except MockupError as error:
        raise error.within(path.name) from None


def outline_missing(path: Path, id: str) -> str | None:
    """None where an element of an SVG file has the id; else what to do, in words, where a shape is labelled so, or ""."""
    path = Path(path)
    data = read_bytes(path, limit=LARGEST_FILE)
    try:
        return Drawing(data).missing(id)
    except MockupError as error:
        raise error.within(path.name) from None


def outline_fill(path: Path, id: str) -> str | None:
    """The plain colour "#rrggbb" that fills the outline of this id, its own or its group's; None where it has none."""
    path = Path(path)
    data = read_bytes(path, limit=LARGEST_FILE)
    try:
        text = Drawing(data).fill(id)
    except MockupError as error:
        raise error.within(path.name) from None
    if text is None or text.strip().lower() in ("none", "transparent", "currentcolor", "") or "url" in text:
        return None
    import svgelements

    try:
        colour = svgelements.Color(text)
        return None if colour.value is None else f"#{colour.red:02x}{colour.green:02x}{colour.blue:02x}"
    except (ValueError, TypeError, AttributeError):
        return None
