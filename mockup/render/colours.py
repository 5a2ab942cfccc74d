"""Colour targets: what each finished part should measure, glare excluded."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..finish.expected import expected
from ..outline.coverage import coverage
from ..outline.shape import Shape
from ..scene.values import Part, Scene
from .bare import bare_source
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .finished import FinishedWood, finished_wood
from .kept import Kept
from .picture import refuse_missing_wood
from .placement import leaves

__all__ = ["PartColour", "colours", "region_lab"]

SCALE = 2.0  # pixels per mm: figure is resolved, so its non-linear colouring averages right
PATCH = 10.0  # mm: a hand instrument reads about this much at once


Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PartColour:
    """The colour of one part, CIE Lab D65, glare excluded: the mean of its whole face.

    spread  CIEDE2000 from the mean within which 95 % of 10 mm patches of the finished face lie:
            the board's own variation (and a burst's), not the error of the model.
    basis   what the finish's colour rests on, in words.
    error   CIEDE2000 from ``finished_lab`` within which 95 % of finished parts should lie, by that basis.
    light_lab, dark_lab   the two ends of that range, less and more of every stain and film.
    middle_lab, edge_lab  of a part with a burst, where it is clear of it and where it is deepest; else None.
    """

    part: str
    title: str
    board: str
    wood: str
    actual: bool
    bare_lab: Lab
    finished_lab: Lab
    area_mm2: float
    basis: str
    spread: float
    error: float
    light_lab: Lab
    dark_lab: Lab
    middle_lab: Lab | None = None
    edge_lab: Lab | None = None


def region_lab(scene: Scene, name: str, region: Shape, *, kept: Kept | None = None) -> Lab:
    """The mean finished colour of what of a part lies in ``region``, drawing mm: as ``PartColour.finished_lab`` is of the whole face."""
    kept = Kept() if kept is None else kept
    part = next(p for p in scene.parts if p.name == name)
    board = load_board(scene.boards[part.board], kept)
    canvas = Canvas.around(part.shape.bounds, SCALE, 1.0)
    window = (0, 0, canvas.width, canvas.height)
    rows = bare_source(board, leaves(part), canvas, window).rows(0, canvas.height)
    wood = finished_wood(part, board, rows, canvas, window, kept)
    face = cv2.merge(wood.block(rows, canvas, (0, canvas.height), (0, canvas.width), 0))
    return _rounded(_mean(face, coverage(region, origin=canvas.origin, px_per_mm=SCALE, size=canvas.size)))


def _part_colour(scene: Scene, part: Part, board: LoadedBoard, kept: Kept) -> PartColour:
    canvas = Canvas.around(part.shape.bounds, SCALE, 1.0)
    window = (0, 0, canvas.width, canvas.height)
    rows = bare_source(board, leaves(part), canvas, window).rows(0, canvas.height)
    cover = coverage(part.shape, origin=canvas.origin, px_per_mm=SCALE, size=canvas.size)

    def face(wood) -> np.ndarray:
        return cv2.merge(wood.block(rows, canvas, (0, canvas.height), (0, canvas.width), 0))

    coloured = finished_wood(part, board, rows, canvas, window, kept)
    finished = face(coloured)
    bare = face(finished_wood(part, board, rows, canvas, window, kept, bare=True))
    lab = _mean(finished, cover)

    cell = int(PATCH * SCALE)
    grid = (max(1, canvas.width // cell), max(1, canvas.height // cell))
    full = cv2.resize(cover, grid, interpolation=cv2.INTER_AREA) > 0.999
    patches = cv2.resize(finished, grid, interpolation=cv2.INTER_AREA)[full]
    spread = float(np.percentile(ciede2000(linear_to_lab(patches.astype(np.float64)), lab), 95)) if len(patches) else 0.0
    may = expected(part.finish, board.axes)
    # The ends of the range of the board's mean colour, carried over to the mean of this face.
    light, dark = (_rounded(lab + np.array(end) - np.array(may.lab)) for end in (may.light, may.dark))
    middle, edge = _zones(finished, cover, coloured, canvas)
    ref = scene.boards[part.board]
    return PartColour(part.name, part.title, part.board, ref.wood, ref.actual, _rounded(_mean(bare, cover)), _rounded(lab),
                      part.shape.area, may.basis, round(spread, 2), may.spread, light, dark, middle, edge)


def _mean(image: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Lab of the mean light of an image (H, W, 3) under a weight (H, W)."""
    return linear_to_lab((image * weight[..., None]).sum(axis=(0, 1), dtype=np.float64) / weight.sum(dtype=np.float64))


def _zones(finished: np.ndarray, cover: np.ndarray, wood: FinishedWood, canvas: Canvas) -> tuple[Lab | None, Lab | None]:
    """The colour clear of all bursts and where they are deepest; None for a zone that hardly is there."""
    if not wood.bursts:
        return None, None
    left = np.ones(cover.shape, np.float32)
    for burst in wood.bursts:
        left *= burst.rows(canvas, (0, canvas.width), (0, canvas.height)).mean(axis=2)
    change = np.abs(np.log(np.maximum(left, 1e-4)))
    deepest = float(change[cover > 0.999].max(initial=0))
    if deepest < 0.02:
        return None, None
    found = []
    for zone in (change < 0.05 * deepest, change > 0.9 * deepest):
        weight = cover * zone
        found.append(_rounded(_mean(finished, weight)) if weight.sum() > 0.01 * cover.sum() else None)
    return found[0], found[1]


def _rounded(lab: np.ndarray) -> tuple[float, float, float]:
    # + 0.0 turns -0.0 into 0.0
    return tuple(float(round(v, 2)) + 0.0 for v in lab.tolist())


def colours(scene: Scene, *, kept: Kept | None = None) -> tuple[PartColour, ...]:
    """The colour of each part of a scene as its ``variant`` stands, back to front.

    Without light, relief, joint line or ground: what a 45/0 instrument should
    read, averaged over the face in linear light.
    """
    kept = Kept() if kept is None else kept
    boards = {name: load_board(scene.boards[name], kept) for name in {p.board for p in scene.parts}}
    for side in ("front", "back"):
        refuse_missing_wood(scene, side)
    return tuple(_part_colour(scene, part, boards[part.board], kept) for part in scene.parts)
