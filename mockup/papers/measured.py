"""What of a photo shows which part: named rectangles, all of it, or where the approved outline lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from ..board.calibrate import Calibrated, Wanted, calibrate
from ..board.develop import develop_view
from ..board.sheet import reference_sheet
from ..board.survey import Survey, survey_bench, within
from ..errors import MockupError
from ..outline.shape import Shape
from ..scene.values import Scene
from .describe import listed
from .laid import Laid, approved_scene, lay_scene, on_photo, plain_region
from .outline_fit import lay

__all__ = ["Area", "Measured", "by_areas", "by_outline", "squared_photo"]

Area = tuple[float, float, float, float]

EDGE = 4.0           # mm left out along the edges of a photographed board: its rounded edge is not its face
LEAST_PIXELS = 400   # of a measured area, at a pixel a mm
SCALE = 2.0          # px/mm: enough for a mean and for the figure


@dataclass(frozen=True, eq=False)
class Measured:
    """What of a calibrated photo shows one part: linear pixels and mask; ``curves`` where that lies on the squared photo, mm."""

    name: str
    board: Calibrated
    pixels: np.ndarray
    mask: np.ndarray
    scale: float
    curves: tuple[np.ndarray, ...]
    area: Area | None = None
    laid: Laid | None = None
    region: Shape | None = None
    scene: Scene | None = None
    note: str = ""


def _based(board: Calibrated) -> Calibrated:
    if board.measures.basis == "nothing" or board.measures.colour_error is None:
        raise MockupError("The photo has nothing to measure colour by.",
                          fix="Lay a grey card or a 24-patch target beside the wood, or the printed sheet around it.")
    return board


def _at_most(board: Calibrated) -> tuple[np.ndarray, np.ndarray, float]:
    """Linear pixels, what of them is usable, and px per mm: two are enough for a mean and for the figure."""
    scale = min(board.px_per_mm, SCALE)
    size = tuple(max(1, round(board.pixels.shape[k] / board.px_per_mm * scale)) for k in (1, 0))
    pixels = cv2.resize(board.pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 65535
    return pixels, cv2.resize(board.usable, size, interpolation=cv2.INTER_NEAREST) == 255, scale


def by_areas(pixels: np.ndarray, wanted: Wanted, chosen: Mapping[str, Area | None], *, board: bool) -> tuple[list[Measured], np.ndarray, float]:
    """Named rectangles, or all, of what the photo shows squared up.

    board  whether that is a board, by its edges, corners or scan; else all that lies around the printed sheet.
    """
    if board:
        return _on_board(pixels, wanted, chosen)
    bench = survey_bench(pixels, reference_sheet(wanted.ruler))
    open_ = ~bench.hidden(1.0)
    made = []
    for name, area in chosen.items():
        assert area is not None
        box = _corners(area)
        seen = _inside((box,), open_.shape, bench.view.px_per_mm) & open_
        _refuse_small(name, float(seen.sum()) / bench.view.px_per_mm**2, bench.size)
        survey = within(pixels, bench, (box,))
        linear, usable, scale = _at_most(_based(found := calibrate(pixels, wanted, px_per_mm=SCALE, survey=survey)))
        mask = usable & _inside(survey.region or (), usable.shape, scale)
        _refuse_small(name, float(mask.sum()) / scale**2, bench.size)
        made.append(Measured(name, found, linear, mask, scale, (box,), area=area))
    recipe, corner = made[0].board.recipe, _across(bench, made[0].board.survey, np.zeros(2))
    return made, develop_view(bench.view.pixels, (float(corner[0]), float(corner[1])), bench.view.px_per_mm, recipe), bench.view.px_per_mm


def _on_board(pixels: np.ndarray, wanted: Wanted, chosen: Mapping[str, Area | None]) -> tuple[list[Measured], np.ndarray, float]:
    board = _based(calibrate(pixels, wanted))
    linear, usable, scale = _at_most(board)
    wide, high = (linear.shape[k] / scale for k in (1, 0))
    made = []
    for name, area in chosen.items():
        x, y, w, h = area or (EDGE, EDGE, wide - 2 * EDGE, high - 2 * EDGE)
        inside = np.zeros(usable.shape, bool)
        inside[max(round(y * scale), 0):max(round((y + h) * scale), 0), max(round(x * scale), 0):max(round((x + w) * scale), 0)] = True
        mask = inside & usable
        _refuse_small(name, float(mask.sum()) / scale**2, (wide, high))
        found = (round(x, 1), round(y, 1), round(w, 1), round(h, 1))
        made.append(Measured(name, board, linear, mask, scale, (_corners(found),), area=found))
    return made, linear, scale


def _corners(area: Area) -> np.ndarray:
    x, y, w, h = area
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float)


def _refuse_small(name: str, mm2: float, size: tuple[float, float]) -> None:
    if mm2 < LEAST_PIXELS:
        raise MockupError(f"The area for {name} shows {mm2:.0f} mm² of wood that can be used.",
                          fix=f"Name one within 0, 0 to {size[0]:.0f}, {size[1]:.0f} mm, clear of glare.")


def by_outline(pixels: np.ndarray, wanted: Wanted, record: Mapping[str, Any], folder: Path,
                named: tuple[str, ...]) -> tuple[list[Measured], np.ndarray, float]:
    """Each part where the approved outline shows it, without edges and hardware."""
    by_hand = "Name where it lies, as --part top=60,80,150,80: mm that --squared FILE shows."
    try:
        scene = approved_scene(record, folder)
    except MockupError as error:
        raise MockupError(f"The outline cannot be laid on the photo: {' '.join(p.found for p in error.problems)}", fix=by_hand) from None
    side = record["picture"]["side"]
    bench = survey_bench(pixels, reference_sheet(wanted.ruler))
    laid = lay_scene(scene, side, bench, named)
    if laid is None:
        raise MockupError("The approved outline does not lie clearly on what this photo shows.",
                          fix="Take the whole part on a plain cloth, clearly lighter or darker than its edge, the strips beside it; or name "
                              "where it lies, as --part top=60,80,150,80: mm that --squared FILE shows.")
    made: list[Measured] = []
    small: list[str] = []
    for name in named or laid.names:
        region = plain_region(scene, side, name) if name in laid.names else None
        here = on_photo(laid, region) if region is not None else ()
        try:
            if not here:
                raise MockupError("nothing of it is seen")
            survey = within(pixels, bench, here, laid.fit.turn)
            board = _based(calibrate(pixels, wanted, px_per_mm=SCALE, survey=survey))
            linear, usable, scale = _at_most(board)
            mask = usable & _inside(survey.region or (), usable.shape, scale)
            if mask.sum() < LEAST_PIXELS * scale**2:
                raise MockupError("too little of it is seen")
        except MockupError:
            if name in named and len(named) == 1:
                raise
            small.append(next(p.title for p in scene.parts if p.name == name))
            continue
        made.append(Measured(name, board, linear, mask, scale, here, laid=laid, region=region, scene=scene))
    if not made:
        raise MockupError("Of no part is enough plain wood to be seen.", fix=by_hand)
    if small:
        made[0] = replace(made[0], note=f"{listed(small)}: too little plain wood is seen to be measured.")
    first = max(made, key=lambda m: m.mask.sum())
    # All that was photographed, as that part's light shows it; it lies in the part's own mm, turned.
    around = within(pixels, bench, tuple(lay(laid.fit.matrix, r) for r in laid.rings), laid.fit.turn)
    corner = _across(around, first.board.survey, np.array(around.view.origin, float))
    shown = develop_view(around.view.pixels, (float(corner[0]), float(corner[1])), around.view.px_per_mm, first.board.recipe)
    placed = [replace(m, curves=tuple(_across(bench, around, r) - around.view.origin for r in m.curves)) for m in made]
    return placed, shown, around.view.px_per_mm


def _across(one: Survey, other: Survey, points: np.ndarray) -> np.ndarray:
    """Points in mm of one survey of a photo in mm of another."""
    return other.plane.to_face(one.plane.to_image(points))


def _inside(curves: tuple[np.ndarray, ...], shape: tuple[int, int], scale: float) -> np.ndarray:
    """Pixels within curves in mm, (H, W) bool."""
    out = np.zeros(shape, np.uint8)
    cv2.fillPoly(out, [np.rint(ring * scale - 0.5).astype(np.int32) for ring in curves], 1)
    return out.astype(bool)


def squared_photo(pixels: np.ndarray, wanted: Wanted, *, board: bool) -> tuple[np.ndarray, float]:
    """The photo squared up, as named rectangles lie on it: linear (H, W, 3) float32, and px per mm; ``board`` as for ``by_areas``."""
    if board:
        linear, _, scale = _at_most(calibrate(pixels, wanted, px_per_mm=SCALE))
        return linear, scale
    view = survey_bench(pixels, reference_sheet(wanted.ruler)).view
    light = view.pixels.astype(np.float32) / 65535
    return light / max(float(np.percentile(light.max(axis=2), 99)), 1e-3), view.px_per_mm
