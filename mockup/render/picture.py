"""One scene, one variant, one side: a picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from ..colour.spaces import lab_to_linear
from ..errors import MockupError, Problem
from ..finish.bake import Baked, bake
from ..finish.engine import burst_weight
from ..outline.coverage import coverage
from ..outline.distance import edge_field
from ..scene.values import Scene
from .bands import in_bands
from .bare import BareSource, bare_source
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .coarse import Coarse, field_canvas
from .encode import dither_tile, encode_rows
from .ground import ground_rows, shadow
from .kept import Kept
from .layers import Layer, scene_layers, seen_parts
from .placement import leaves, missing_wood
from .relief import Lighting, part_lighting
from .table import Table

__all__ = ["MARGIN", "Picture", "picture", "picture_canvas", "scene_box"]

MARGIN = 28.0  # mm of ground around the instrument
JOINT_WIDTH, JOINT_DEPTH = 0.16, 0.22  # mm and share of the light: the glue line of a matched pair
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
    baked: Baked
    residual_scale: np.ndarray
    residual_low: np.ndarray
    bursts: tuple[Coarse, ...]
    joint: np.ndarray | None

    def rows(self, canvas: Canvas, window: tuple[int, int, int, int], first: int, last: int) -> list[np.ndarray]:
        """Finished reflectance, three planes (H, W) float32 linear."""
        bare = self.bare.rows(first, last) if isinstance(self.bare, BareSource) else self.bare[first:last]
        *bands, r = cv2.split(self.table(np.ascontiguousarray(bare)))
        gain = np.empty_like(r)
        for k, plane in enumerate(bands):
            np.multiply(r, self.residual_scale[k], out=gain)
            gain += self.residual_low[k]
            plane *= gain
        for burst in self.bursts:
            x0, y0, x1, _ = window
            left = burst.rows(canvas, (x0, x1), (y0 + first, y0 + last))
            for plane, share in zip(bands, cv2.split(left), strict=True):
                plane *= share
        if self.joint is not None:
            for plane in bands:
                plane *= self.joint
        return bands


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A layer ready to be drawn over a window of the canvas."""

    layer: Layer
    window: tuple[int, int, int, int]
    lighting: Lighting
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
        out[first:last] = encode_rows(planes, dither_tile((first, last), (0, canvas.width)))

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
            part.shape, part.edge.roundover, part.finish.sheen, canvas, w, middle), lambda v: v.nbytes)
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


def _wood(part, board: LoadedBoard, canvas: Canvas, window: tuple[int, int, int, int], kept: Kept) -> _Wood:
    axes, p = board.axes, part.placement
    cut = leaves(part)
    source_key = ("bare", board.key, p, part.shape.bounds if p.cut == "single" else part.shape.bounds, canvas, window)
    size = (window[2] - window[0]) * (window[3] - window[1]) * 8

    def make() -> BareSource | np.ndarray:
        source = bare_source(board, cut, canvas, window)
        if size > _KEEP_BARE or size > kept.limit:
            return source
        rows = np.empty(source.shape, np.uint16)

        def fill(first: int, last: int) -> None:
            rows[first:last] = source.rows(first, last)

        in_bands(fill, rows.shape[0], rows.shape[1])
        return rows

    bare = kept.get(source_key, make, lambda v: v.nbytes if isinstance(v, np.ndarray) else 0)
    baked = bake(part.finish, axes)
    bursts = tuple(kept.get(("burst", _key(part.shape), b), lambda b=b: _burst_field(part.shape, b), lambda c: c.values.nbytes)
                   for b in baked.bursts)
    joint = None
    if p.cut != "single":
        x = canvas.origin[0] + (np.arange(window[0], window[2])) / canvas.px_per_mm
        half = JOINT_WIDTH / 2
        over = np.clip(np.minimum(x + 1 / canvas.px_per_mm, p.joint + half) - np.maximum(x, p.joint - half), 0, None)
        joint = (1 - JOINT_DEPTH * over * canvas.px_per_mm).astype(np.float32)[None, :]
    # r passes the table as 0..1 of its range: relative change = residual * (low + range * r).
    span = np.float32(axes.high[3] - axes.low[3])
    return _Wood(bare, Table(baked.table), baked, baked.residual * span, 1 + baked.residual * np.float32(axes.low[3]), bursts, joint)


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


def _lay(d: _Drawn, canvas: Canvas, ground: list[np.ndarray], planes: list[np.ndarray], first: int, last: int) -> None:
    """Lay one layer over rows first..last of the picture: planes += coverage * (layer - ground)."""
    x0, y0, x1, y1 = d.window
    top, bottom = max(first, y0), min(last, y1)
    if top >= bottom:
        return
    origin = (canvas.origin[0] + x0 / canvas.px_per_mm, canvas.origin[1] + y0 / canvas.px_per_mm)
    cover = coverage(d.layer.region, origin=origin, px_per_mm=canvas.px_per_mm, size=(x1 - x0, y1 - y0), rows=(top - y0, bottom - y0))
    body = d.lighting.body.rows(canvas, (x0, x1), (top, bottom))
    if d.shade is not None:
        body = body * d.shade.rows(canvas, (x0, x1), (top, bottom))
    surface = d.lighting.surface.rows(canvas, (x0, x1), (top, bottom))
    if d.wood is not None:
        bands = d.wood.rows(canvas, d.window, top - y0, bottom - y0)
    for k in range(3):
        if d.wood is not None:
            lit = bands[k]
            np.multiply(lit, body, out=lit)
        else:
            lit = body * d.flat[k]
        lit += surface
        part = (slice(top - first, bottom - first), slice(x0, x1))
        lit -= ground[k][part]
        lit *= cover
        planes[k][part] += lit
