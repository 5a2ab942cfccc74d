"""The wood of a part with its finish on it, block by block, not yet lit."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from ..finish.bake import Baked, bake
from ..finish.burst import Edge, uneven
from ..finish.steps import Finish
from ..outline.distance import edge_field
from ..outline.shape import Shape
from ..scene.values import Part
from .bands import in_bands
from .bare import BareSource, bare_source
from .boards import LoadedBoard
from .canvas import Canvas
from .coarse import Coarse, field_canvas
from .kept import Kept
from .placement import leaves
from .pores import PoreRelief, pore_relief
from .table import Table

__all__ = ["FinishedWood", "bare_layer", "finished_wood", "shape_key"]

JOINT_WIDTH, JOINT_DEPTH = 0.16, 0.22  # mm and share of the light: the glue line of a matched pair
KEEP_BARE = 400_000_000  # bytes; a larger bare layer is made anew for each picture. Less than any Kept of the program holds: rows made singly are rounded otherwise


def shape_key(shape: Shape) -> tuple[int, ...]:
    """A key that changes with any point of a shape."""
    # Asked for some hundred times in a picture: what was worked out once stays with the shape.
    key = shape.__dict__.get("_key")
    if key is None:
        key = tuple(hash(ring.tobytes()) for ring in shape.rings)
        object.__setattr__(shape, "_key", key)
    return key


@dataclass(frozen=True, eq=False)
class FinishedWood:
    """A bare layer over a window of the canvas, and everything that turns it into finished wood.

    residual  two (3,) arrays: relative change of each band = low + slope * r, r in 0..1 of its range.
    joint     (1, W) share of the light that a glue line leaves, or None.
    pores     dents in the last surface, or None.
    """

    layer: BareSource | np.ndarray
    table: Table
    residual: tuple[np.ndarray, np.ndarray]
    bursts: tuple[Coarse, ...]
    joint: np.ndarray | None
    pores: PoreRelief | None = None

    def bare_rows(self, first: int, last: int) -> np.ndarray:
        """Rows of the bare layer, counted from the top of the window."""
        return self.layer.rows(first, last) if isinstance(self.layer, BareSource) else self.layer[first:last]

    def block(self, bare: np.ndarray, canvas: Canvas, rows: tuple[int, int], columns: tuple[int, int], left: int) -> list[np.ndarray]:
        """Finished reflectance of one block of the picture, three planes (H, W) float32 linear.

        bare           (H, W, 4) uint16, the block's own bare rows; they may be cut out of longer ones.
        rows, columns  of the canvas; ``left`` is the canvas column at which the window starts.
        """
        *bands, r = cv2.split(self.table(bare))
        low, slope = self.residual
        gain = np.empty_like(r)
        for k, plane in enumerate(bands):
            np.multiply(r, slope[k], out=gain)
            gain += low[k]
            plane *= gain
        for burst in self.bursts:
            for plane, share in zip(bands, cv2.split(burst.rows(canvas, columns, rows)), strict=True):
                plane *= share
        if self.joint is not None:
            line = self.joint[:, columns[0] - left:columns[1] - left]
            if line.min() < 1:
                for plane in bands:
                    plane *= line
        return bands


def bare_layer(part: Part, board: LoadedBoard, canvas: Canvas, window: tuple[int, int, int, int], kept: Kept, *,
               pool: ThreadPoolExecutor | None = None) -> BareSource | np.ndarray:
    """The bare layer of a part over a window: kept whole where it is not too large, else made anew row by row; ``pool`` as for ``in_bands``."""
    size = (window[2] - window[0]) * (window[3] - window[1]) * 8

    def make() -> BareSource | np.ndarray:
        source = bare_source(board, leaves(part), canvas, window)
        if size > min(KEEP_BARE, kept.limit):
            return source
        rows = np.empty(source.shape, np.uint16)

        def fill(first: int, last: int) -> None:
            source.rows(first, last, rows[first:last])

        in_bands(fill, rows.shape[0], rows.shape[1], pool=pool)
        return rows

    key = ("bare", board.key, part.placement, (part.whole or part.shape).bounds, canvas, window)
    return kept.get(key, make, lambda v: v.nbytes if isinstance(v, np.ndarray) else 0)


def finished_wood(part: Part, board: LoadedBoard, layer: BareSource | np.ndarray, canvas: Canvas,
                  window: tuple[int, int, int, int], kept: Kept, *, bare: bool = False) -> FinishedWood:
    """A bare layer with the part's finish to be applied; with ``bare`` no finish and no joint line."""
    axes = board.axes
    finish = Finish() if bare else part.finish
    baked, table = kept.get(("baked", board.key, finish), lambda: _baked(finish, board), lambda made: 2 * made[0].table.nbytes)
    bursts = tuple(kept.get(("burst", shape_key(part.whole or part.shape), b), lambda b=b: _burst_field(part.whole or part.shape, b), lambda c: c.values.nbytes)
                   for b in baked.bursts)
    joint = None
    lines = [] if bare else [*part.lines, *({x for leaf in leaves(part) for x in leaf.span if np.isfinite(x)})]
    if lines:
        x, pixel = canvas.origin[0] + np.arange(window[0], window[2]) / canvas.px_per_mm, 1 / canvas.px_per_mm
        joint = np.ones((1, len(x)), np.float32)
        for line in lines:
            over = np.minimum(x + pixel, line + JOINT_WIDTH / 2) - np.maximum(x, line - JOINT_WIDTH / 2)
            joint *= (1 - JOINT_DEPTH * np.clip(over, 0, None) / pixel).astype(np.float32)[None, :]
    low, span = np.float32(axes.low[3]), np.float32(axes.high[3] - axes.low[3])
    return FinishedWood(layer, table, (1 + baked.residual * low, baked.residual * span), bursts, joint,
                        None if bare else pore_relief(finish, axes, canvas))


def _baked(finish: Finish, board: LoadedBoard) -> tuple[Baked, Table]:
    made = bake(finish, board.axes)
    return made, Table(made.table)


def _burst_field(shape: Shape, burst: Edge) -> Coarse:
    """What a burst leaves of each band, (h, w, 3) float32, at one sample per mm."""
    canvas = field_canvas(shape.bounds, 1.0, 6.0)
    distance, _ = edge_field(shape, origin=canvas.origin, px_per_mm=1.0, size=canvas.size, reach=burst.width + 6)
    # By hand: the width wanders by some mm along the edge.
    distance = cv2.GaussianBlur(distance, (0, 0), min(2.0, burst.width / 4)) + uneven(distance.shape, 1.0, burst.uneven)
    left = burst.left(distance).astype(np.float32)
    return Coarse(np.ascontiguousarray(left), canvas)
