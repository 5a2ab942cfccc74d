"""Hardware as lines on a print: what of it a maker cuts, drills and slots by, and no more."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..outline.shape import ring_area
from ..render.layers import seen_pieces
from ..scene.values import Fitting, Scene
from .drawn_hardware import is_kind, is_round
from .face import SEMIBOLD
from .frets import fret_lines
from .lengths import INCH
from .page import INK, WHITE, Box, Colour, Item, Path, Text
from .shop_values import Shop
from .strokes import simpler

__all__ = ["CENTRE", "fret_slots", "hardware_lines", "plain_frets"]

CENTRE = (20, 70, 190)  # of centre lines; red is for joints of paper
ROUND = 16.0            # mm across: what is round and no larger is drilled for
ARM = 1.2               # mm


def hardware_lines(scene: Scene, side: str, *, pen: float = 1.0, colour: Colour = INK, strings: bool = False, pictured: bool = False,
                   crosses: bool = True, frets: bool = True) -> list[Item]:
    """Fittings of one side in drawing mm: each by its outer line, frets by the middle of their slots, numbered, and middles to drill at.

    strings   draws them too, as the lines of their middles.
    pictured  a picture lies below, which shows the hardware itself: only slots and middles are drawn.
    """
    items: list[Item] = []
    groups: dict[str, list[Fitting]] = {}
    for piece in seen_pieces(scene, side):
        if isinstance(piece, Fitting):
            groups.setdefault(piece.part, []).append(piece)
    for pieces in groups.values():
        if is_kind(scene, pieces[0], "strings"):
            lines = tuple(np.array([[x0, y0], [x1, y1]]) for p in pieces for x0, y0, x1, y1, _ in p.rods)
            if strings and lines:
                items += [Path(lines, 0.4 * pen, WHITE)] if pictured else []
                items.append(Path(lines, 0.1 * pen, CENTRE))
        elif is_kind(scene, pieces[0], "frets"):
            if frets:
                items += _slots(fret_slots(pieces), pen, pictured)
        else:
            rings = [r for p in pieces for r in p.shape.rings]
            if not pictured:
                items.append(Path(tuple(simpler(r, closed=True) for r in _outer(rings)), 0.12 * pen, colour, closed=True))
            if crosses and (arms := _crosses(rings, pen)):
                items += [Path(arms, 0.4 * pen, WHITE)] if pictured else []
                items.append(Path(arms, 0.1 * pen, colour))
    return items


def _outer(rings: Sequence[np.ndarray]) -> list[np.ndarray]:
    import shapely

    whole = shapely.union_all([shapely.Polygon(r).buffer(0) for r in rings if ring_area(r) > 0])
    return [np.asarray(g.exterior.coords)[:-1] for g in getattr(whole, "geoms", [whole]) if g.geom_type == "Polygon" and not g.is_empty]


def _crosses(rings: Sequence[np.ndarray], pen: float) -> tuple[np.ndarray, ...]:
    """Arms of crosses at the middles of small round pieces, each once."""
    middles: list[np.ndarray] = []
    for ring in rings:
        size = np.ptp(ring, axis=0)
        if size.max() <= ROUND and is_round(ring):
            at = (ring.min(axis=0) + ring.max(axis=0)) / 2
            if all(np.hypot(*(at - m)) > 0.3 for m in middles):
                middles.append(at)
    reach = ARM * pen
    return tuple(np.array([m - way, m + way]) for m in middles for way in (np.array([reach, 0]), np.array([0, reach])))


def fret_slots(pieces: Sequence[Fitting]) -> list[np.ndarray]:
    """The middle line (2, 2) of each fret, left end first, from the one that is nearest to the wide gap at the nut on."""
    import shapely

    found = []
    for ring in (r for p in pieces for r in p.shape.rings if ring_area(r) > 0):
        corners = np.asarray(shapely.minimum_rotated_rectangle(shapely.Polygon(ring)).exterior.coords)[:4]
        a, b = (corners[:2], corners[2:]) if np.hypot(*(corners[1] - corners[0])) < np.hypot(*(corners[2] - corners[1])) else \
            (corners[[1, 2]], corners[[3, 0]])
        ends = np.array([a.mean(axis=0), b.mean(axis=0)])
        found.append(ends[np.argsort(ends[:, 0])])
    found.sort(key=lambda e: float(e[:, 1].mean()))
    # Frets lie closer together away from the nut.
    if len(found) > 2 and np.hypot(*(found[1] - found[0]).mean(axis=0)) < np.hypot(*(found[-1] - found[-2]).mean(axis=0)):
        found.reverse()
    return found


def plain_frets(scene: Scene, shop: Shop) -> list[dict]:
    """JSON-ready rows, one a fret: both ends of its slot in the drawing, and how far apart from the one before, along the middle; mm and inches."""
    pieces = [f for f in scene.fittings if is_kind(scene, f, "frets")]
    slots = [run for k, run in fret_lines(shop.frets, scene.centre) if k] if shop.frets is not None else fret_slots(pieces)
    rows, before = [], None
    for k, run in enumerate(slots, 1):
        middle = run.mean(axis=0)
        step = None if before is None else float(np.hypot(*(middle - before)))
        row: dict = {"fret": k}
        for name, mm in (("left_x", run[0, 0]), ("left_y", run[0, 1]), ("right_x", run[1, 0]), ("right_y", run[1, 1]), ("from_last", step)):
            row |= {f"{name}_mm": None if mm is None else round(float(mm), 3), f"{name}_in": None if mm is None else round(float(mm) / INCH, 4)}
        rows.append(row)
        before = middle
    return rows


def _slots(slots: Sequence[np.ndarray], pen: float, pictured: bool) -> list[Item]:
    items: list[Item] = [Path(tuple(slots), 0.5 * pen, WHITE)] if pictured and slots else []
    items += [Path(tuple(slots), 0.15 * pen, INK)] if slots else []
    for number, run in enumerate(slots if pen == 1 else (), 1):  # smaller, the numbers would lie over each other
        text = Text(float(run[1, 0]) + 1.6 * pen, float(run[1, 1]) + 0.8 * pen, str(number), 6.5 * pen, SEMIBOLD, INK)
        if pictured:
            x0, y0, x1, y1 = text.bounds
            items.append(Box(x0 - 0.5 * pen, y0 - 0.5 * pen, x1 - x0 + pen, y1 - y0 + 0.5 * pen, WHITE))
        items.append(text)
    return items
