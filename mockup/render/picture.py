"""One scene, one variant, one side: a picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from ..colour.spaces import lab_to_linear
from ..errors import MockupError, Problem
from ..finish.bake import bake
from ..finish.engine import burst_weight
from ..finish.steps import Finish
from ..outline.coverage import coverage
from ..outline.distance import edge_field
from ..scene.values import Part, Scene
from .bands import in_bands
from .bare import BareSource, bare_source
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .coarse import Coarse, field_canvas
from .encode import dither_rows, encode_rows
from .ground import ground_rows, shadow
from .kept import Kept
from .layers import Layer, scene_layers, seen_parts
from .placement import leaves, missing_wood
from .relief import part_lighting
from .table import Table

__all__ = ["MARGIN", "Picture", "finished_wood", "picture", "picture_canvas", "refuse_missing_wood", "scene_box"]

MARGIN = 28.0  # mm of ground around the instrument
JOINT_WIDTH, JOINT_DEPTH = 0.16, 0.22  # mm and share of the light: the glue line of a matched pair
TILE = 128  # columns looked at together when skipping what a layer does not cover
_KEEP_BARE = 450_000_000  # bytes; a larger bare layer is made anew for each picture


@dataclass(frozen=True, eq=False)
class Picture:
    """``pixels`` (H, W, 3) uint8 sRGB at ``px_per_mm``; ``notes`` says what a viewer should know of it."""

    pixels: np.ndarray
    px_per_mm: float
    canvas: Canvas
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Wood:
    """Everything that turns bare rows of one layer into finished, unlit rows."""

    bare: BareSource | np.ndarray
    table: Table
    residual_scale: np.ndarray
    residual_low: np.ndarray
    bursts: tuple[Coarse, ...]
    joint: np.ndarray | None

    def block(self, bare: np.ndarray, canvas: Canvas, rows: tuple[int, int], columns: tuple[int, int], left: int) -> list[np.ndarray]:
        """Finished reflectance of one block of the picture, three planes (H, W) float32 linear."""
        *bands, r = cv2.split(self.table(bare))
        gain = np.empty_like(r)
        for k, plane in enumerate(bands):
            np.multiply(r, self.residual_scale[k], out=gain)
            gain += self.residual_low[k]
            plane *= gain
        for burst in self.bursts:
            for plane, share in zip(bands, cv2.split(burst.rows(canvas, columns, rows)), strict=True):
                plane *= share
        if self.joint is not None:
            for plane in bands:
                plane *= self.joint[:, columns[0] - left:columns[1] - left]
        return bands


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A layer ready to be drawn over a window of the canvas."""

    layer: Layer
    window: tuple[int, int, int, int]
    lighting: Coarse
    shade: Coarse | None
    wood: _Wood | None
    flat: np.ndarray | None


def scene_box(scene: Scene, side: str = "front") -> tuple[float, float, float, float]:
    """The box (x0, y0, x1, y1) in mm around all that is seen of one side."""
    boxes = np.array([p.shape.bounds for p in seen_parts(scene, side)])
    if not len(boxes):
        raise MockupError(f"No part is seen from the {side}.", fix=f'Give a part side = "{side}" or "both".', where=scene.file.name)
    return (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())


def picture_canvas(scene: Scene, *, side: str, scale: float) -> Canvas:
    """The canvas of a picture of one side: the instrument and a margin of ground."""
    return Canvas.around(scene_box(scene, side), scale, MARGIN)


def picture(scene: Scene, *, side: str = "front", scale: float, kept: Kept | None = None,
            report: Callable[[float], None] | None = None) -> Picture:
    """The picture of a scene as its ``variant`` stands.

    scale   pixels per mm.
    kept    what earlier pictures left behind; pass the same one for each variant.
    report  hears the share done, 0..1.

    Same scene, same scale, same pixels. MockupError when a part runs off its
    board or the picture would be too large.
    """
    kept = Kept() if kept is None else kept
    parts = seen_parts(scene, side)
    canvas = picture_canvas(scene, side=side, scale=scale)
    boards = {name: load_board(scene.boards[name], kept) for name in {p.board for p in parts}}
    refuse_missing_wood(scene, boards, side)

    drawn = _drawn_layers(scene, parts, boards, canvas, kept)
    ground_shade = kept.get(("ground", _casts(parts), canvas), lambda: shadow([(p.shape, p.height) for p in parts], canvas),
                            lambda c: c.values.nbytes)
    out = np.empty((canvas.height, canvas.width, 3), np.uint8)

    def draw(first: int, last: int) -> None:
        colour = ground_rows(scene.ground, canvas.height, first, last)
        shade = ground_shade.rows(canvas, (0, canvas.width), (first, last))
        ground = [shade * colour[:, k:k + 1] for k in range(3)]
        planes = [g.copy() for g in ground]
        for d in drawn:
            _lay(d, canvas, ground, planes, first, last)
        out[first:last] = encode_rows(planes, dither_rows(first, last, canvas.width))

    in_bands(draw, canvas.height, canvas.width, report)
    return Picture(out, scale, canvas, _notes(scene, boards, side))


def refuse_missing_wood(scene: Scene, boards: dict[str, LoadedBoard], side: str = "front") -> None:
    """MockupError with every part of a side that runs off its board."""
    problems: list[Problem] = []
    for part in seen_parts(scene, side):
        problems += missing_wood(part, part.shape, boards[part.board].size_mm, part.board)
    if problems:
        raise MockupError.several(problems).within(scene.file.name, joint=": ")


def _notes(scene: Scene, boards: dict[str, LoadedBoard], side: str) -> tuple[str, ...]:
    notes = [f'Board "{name}": {note}.' for name, board in sorted(boards.items()) for note in board.notes]
    if side == "back":
        notes.append("The back of a board is shown as its front, mirrored: it is not in the photo.")
    return tuple(notes)


def _casts(parts: tuple) -> tuple:
    return tuple((_key(p.shape), p.height) for p in parts)


def _key(shape) -> tuple:
    return tuple(hash(ring.tobytes()) for ring in shape.rings)


def _drawn_layers(scene: Scene, parts: tuple, boards: dict[str, LoadedBoard], canvas: Canvas, kept: Kept) -> list[_Drawn]:
    x0, y0, x1, y1 = canvas.origin[0], canvas.origin[1], canvas.origin[0] + canvas.width / canvas.px_per_mm, \
        canvas.origin[1] + canvas.height / canvas.px_per_mm
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    drawn = []
    layers = kept.get(("layers", tuple((_key(p.shape), p.binding) for p in parts)), lambda: scene_layers(parts), lambda _: 0)
    # A kept layer holds the part of the variant that made it; only its regions are shared.
    now = {p.name: p for p in parts}
    for layer in layers:
        part = now[layer.part.name]
        window = canvas.window(layer.region.bounds)
        if window[0] >= window[2] or window[1] >= window[3]:
            continue
        part_window = canvas.window(part.shape.bounds)
        light_key = ("light", _key(part.shape), part.edge.roundover, part.finish.sheen, canvas)
        lighting = kept.get(light_key, lambda part=part, w=part_window: part_lighting(
            part.shape, part.edge.roundover, part.finish.sheen, canvas, w, middle), lambda c: c.values.nbytes)
        above = [(p.shape, p.height - part.height) for p in parts[parts.index(part) + 1:] if p.height > part.height]
        shade = None
        if above:
            shade_key = ("shade", tuple((_key(s), h) for s, h in above), canvas)
            shade = kept.get(shade_key, lambda a=above: shadow(a, canvas), lambda c: c.values.nbytes)
        wood = flat = None
        if layer.colour is None:
            wood = _wood(part, boards[part.board], canvas, window, kept)
        else:
            flat = np.clip(lab_to_linear(np.array(layer.colour)), 0, 1).astype(np.float32)
        drawn.append(_Drawn(layer, window, lighting, shade, wood, flat))
    return drawn


def _wood(part: Part, board: LoadedBoard, canvas: Canvas, window: tuple[int, int, int, int], kept: Kept) -> _Wood:
    """The wood of a part over a window, its bare layer kept where it is not too large."""
    key = ("bare", board.key, part.placement, part.shape.bounds, canvas, window)
    size = (window[2] - window[0]) * (window[3] - window[1]) * 8

    def make() -> BareSource | np.ndarray:
        source = bare_source(board, leaves(part), canvas, window)
        if size > _KEEP_BARE or size > kept.limit:
            return source
        rows = np.empty(source.shape, np.uint16)

        def fill(first: int, last: int) -> None:
            rows[first:last] = source.rows(first, last)

        in_bands(fill, rows.shape[0], rows.shape[1])
        return rows

    bare = kept.get(key, make, lambda v: v.nbytes if isinstance(v, np.ndarray) else 0)
    return finished_wood(part, board, bare, canvas, window, kept)


def finished_wood(part: Part, board: LoadedBoard, layer: BareSource | np.ndarray, canvas: Canvas,
                  window: tuple[int, int, int, int], kept: Kept, *, bare: bool = False) -> _Wood:
    """A bare layer with the part's finish to be applied; with ``bare`` no finish and no joint line."""
    axes, p = board.axes, part.placement
    baked = bake(Finish() if bare else part.finish, axes)
    bursts = tuple(kept.get(("burst", _key(part.shape), b), lambda b=b: _burst_field(part.shape, b), lambda c: c.values.nbytes)
                   for b in baked.bursts)
    joint = None
    if p.cut != "single" and not bare:
        x = canvas.origin[0] + (np.arange(window[0], window[2])) / canvas.px_per_mm
        half = JOINT_WIDTH / 2
        over = np.clip(np.minimum(x + 1 / canvas.px_per_mm, p.joint + half) - np.maximum(x, p.joint - half), 0, None)
        joint = (1 - JOINT_DEPTH * over * canvas.px_per_mm).astype(np.float32)[None, :]
    # r passes the table as 0..1 of its range: relative change = residual * (low + range * r).
    span = np.float32(axes.high[3] - axes.low[3])
    return _Wood(layer, Table(baked.table), baked.residual * span, 1 + baked.residual * np.float32(axes.low[3]), bursts, joint)


def _burst_field(shape, burst) -> Coarse:
    """What a burst leaves of each band, (h, w, 3) float32, at one sample per mm."""
    canvas = field_canvas(shape.bounds, 1.0, 6.0)
    distance, _ = edge_field(shape, origin=canvas.origin, px_per_mm=1.0, size=canvas.size, reach=burst.width + 6)
    # Sprayed by hand: the width wanders by some mm along the edge.
    rng = np.random.default_rng(20)
    noise = rng.standard_normal((canvas.height // 24 + 4, canvas.width // 24 + 4)).astype(np.float32)
    noise = cv2.resize(noise, canvas.size, interpolation=cv2.INTER_CUBIC)
    distance = cv2.GaussianBlur(distance, (0, 0), 2.0) + noise * (0.035 * burst.width)
    weight = burst_weight(distance, burst.width, burst.edge)
    left = np.exp(-weight[..., None] * np.array(burst.density, np.float32)).astype(np.float32)
    return Coarse(np.ascontiguousarray(left), canvas)


def _runs(cover: np.ndarray) -> list[tuple[int, int]]:
    """Runs of columns, in tiles, in which anything is covered."""
    width = cover.shape[1]
    edges = np.arange(0, width, TILE)
    used = np.add.reduceat(cover.sum(axis=0), edges) > 0
    runs: list[tuple[int, int]] = []
    for start in edges[used].tolist():
        stop = min(start + TILE, width)
        if runs and runs[-1][1] == start:
            runs[-1] = (runs[-1][0], stop)
        else:
            runs.append((start, stop))
    return runs


def _lay(d: _Drawn, canvas: Canvas, ground: list[np.ndarray], planes: list[np.ndarray], first: int, last: int) -> None:
    """Lay one layer over rows first..last of the picture: planes += coverage * (layer - ground)."""
    x0, y0, x1, y1 = d.window
    top, bottom = max(first, y0), min(last, y1)
    if top >= bottom:
        return
    origin = (canvas.origin[0] + x0 / canvas.px_per_mm, canvas.origin[1] + y0 / canvas.px_per_mm)
    rows = (top - y0, bottom - y0)
    cover = coverage(d.layer.region, origin=origin, px_per_mm=canvas.px_per_mm, size=(x1 - x0, y1 - y0), rows=rows)
    if d.wood is not None:
        bare = d.wood.bare.rows(*rows) if isinstance(d.wood.bare, BareSource) else d.wood.bare[rows[0]:rows[1]]
    for a, b in _runs(cover):
        columns = (x0 + a, x0 + b)
        part = (slice(top - first, bottom - first), slice(*columns))
        body, surface = cv2.split(d.lighting.rows(canvas, columns, (top, bottom)))
        if d.shade is not None:
            body *= d.shade.rows(canvas, columns, (top, bottom))
        if d.wood is not None:
            bands = d.wood.block(np.ascontiguousarray(bare[:, a:b]), canvas, (top, bottom), columns, x0)
        share = cover[:, a:b]
        for k in range(3):
            if d.wood is not None:
                lit = np.multiply(bands[k], body, out=bands[k])
            else:
                lit = body * d.flat[k]
            lit += surface
            lit -= ground[k][part]
            lit *= share
            planes[k][part] += lit
