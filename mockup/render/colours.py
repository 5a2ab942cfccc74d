"""Colour targets: what each finished part should measure, glare excluded."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..finish.bake import bake
from ..finish.steps import Burst, Coat, Stain, StainStep
from ..outline.coverage import coverage
from ..scene.values import Part, Scene
from .bare import bare_source
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .kept import Kept
from .finished import finished_wood
from .picture import refuse_missing_wood
from .placement import leaves

__all__ = ["PartColour", "colours"]

SCALE = 2.0  # pixels per mm: figure is resolved, so its non-linear colouring averages right
PATCH = 10.0  # mm: a hand instrument reads about this much at once


@dataclass(frozen=True, slots=True)
class PartColour:
    """The colour of one part, CIE Lab D65, glare excluded: the mean of its whole face.

    spread  CIEDE2000 from the mean within which 95 % of 10 mm patches of the finished face lie:
            the board's own variation (and a burst's), not the error of the model.
    basis   what the finish's colour rests on, in words.
    """

    part: str
    title: str
    board: str
    wood: str
    actual: bool
    bare_lab: tuple[float, float, float]
    finished_lab: tuple[float, float, float]
    area_mm2: float
    basis: str
    spread: float


def _basis_words(part: Part) -> str:
    """What the colour of a finish rests on: the distinct bases of its stains and films."""
    named: dict[str, str] = {}
    for step in part.finish.steps:
        match step:
            case StainStep(stain=Stain() as s) | Burst(stain=Stain() as s):
                named[s.name] = s.basis
            case Coat(film=f):
                named[f.name] = f.basis
    if not named:
        return "the board's own picture"
    return "library estimate (" + "; ".join(sorted(set(named.values()))) + ")"


def _part_colour(scene: Scene, part: Part, board: LoadedBoard, kept: Kept) -> PartColour:
    canvas = Canvas.around(part.shape.bounds, SCALE, 1.0)
    window = (0, 0, canvas.width, canvas.height)
    rows = bare_source(board, leaves(part), canvas, window).rows(0, canvas.height)
    cover = coverage(part.shape, origin=canvas.origin, px_per_mm=SCALE, size=canvas.size)

    def face(wood) -> np.ndarray:
        return cv2.merge(wood.block(rows, canvas, (0, canvas.height), (0, canvas.width), 0))

    finished = face(finished_wood(part, board, rows, canvas, window, kept))
    bare = face(finished_wood(part, board, rows, canvas, window, kept, bare=True))
    weight = cover / cover.sum()
    mean, bare_mean = ((image * weight[..., None]).sum(axis=(0, 1), dtype=np.float64) for image in (finished, bare))
    lab = linear_to_lab(mean)

    cell = int(PATCH * SCALE)
    grid = (max(1, canvas.width // cell), max(1, canvas.height // cell))
    full = cv2.resize(cover, grid, interpolation=cv2.INTER_AREA) > 0.999
    patches = cv2.resize(finished, grid, interpolation=cv2.INTER_AREA)[full]
    spread = float(np.percentile(ciede2000(linear_to_lab(patches.astype(np.float64)), lab), 95)) if len(patches) else 0.0
    ref = scene.boards[part.board]
    return PartColour(part.name, part.title, part.board, ref.wood, ref.actual, _rounded(linear_to_lab(bare_mean)), _rounded(lab),
                      part.shape.area, _basis_words(part), round(spread, 2))


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
        refuse_missing_wood(scene, boards, side)
    return tuple(_part_colour(scene, part, boards[part.board], kept) for part in scene.parts)
