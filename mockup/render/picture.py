"""One scene, one variant, one side: a picture."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..colour.spaces import lab_to_linear
from ..errors import MockupError, Problem
from ..outline.cut import without
from ..outline.fewer import thinned
from ..outline.shape import Shape
from ..scene.values import Fitting, Part, Scene
from .bands import Turns, band_list, cores, in_bands, single_threaded_cv2
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .changed import Face, Last
from .coarse import Coarse
from .cutout import LoadedCutOut, load_cut_out
from .encode import dither_rows, encode_rows
from .finished import FinishedWood, bare_layer, finished_wood, shape_key
from .form import form_key
from .ground import ground_rows, reaches, shade, shadow
from .kept import Kept
from .layers import Layer, scene_layers, seen_parts, seen_pieces
from .pieces import Piece, Pieces, region_pieces
from .placement import missing_wood
from .relief import part_lighting
from .rods import rod_lighting

__all__ = ["MARGIN", "Picture", "picture", "picture_canvas", "refuse_missing_wood", "scene_box"]

NEAR, LONG = 0.02, 1000  # mm by which a long outline (of so many points) may be off where only its shadow is asked for
MARGIN = 28.0  # mm of ground around the instrument
GROUND_STEP = 256  # columns of ground worked out together


@dataclass(frozen=True, eq=False)
class Picture:
    """``pixels`` (H, W, 3) uint8 sRGB at ``px_per_mm``; ``notes`` says what a viewer should know of it."""

    pixels: np.ndarray
    px_per_mm: float
    canvas: Canvas
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A face ready to be drawn, with the wood or the colour (linear) that fills it."""

    face: Face
    wood: FinishedWood | LoadedCutOut | None
    colour: np.ndarray | None


def scene_box(scene: Scene, side: str = "front") -> tuple[float, float, float, float]:
    """The box (x0, y0, x1, y1) in mm around all that is seen of one side."""
    boxes = np.array([p.shape.bounds for p in seen_pieces(scene, side)])
    if not len(boxes):
        raise MockupError(f"No part is seen from the {side}.", fix=f'Give a part side = "{side}" or "both".', where=scene.file.name)
    return (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())


def picture_canvas(scene: Scene, *, side: str, scale: float, lying: bool = False) -> Canvas:
    """The canvas of a picture of one side: the instrument and a margin of ground."""
    return Canvas.around(scene_box(scene, side), scale, MARGIN, lying=lying)


def picture(scene: Scene, *, side: str = "front", scale: float, kept: Kept | None = None,
            report: Callable[[float], None] | None = None, canvas: Canvas | None = None,
            span: tuple[float, float] | None = (0.0, 1.0)) -> Picture:
    """The picture of a scene as its ``variant`` stands.

    scale   pixels per mm.
    kept    what earlier pictures left behind; pass the same one for each variant.
    report  hears the share done, 0..1.
    canvas  what of the scene to draw; None for all of it. One that is ``lying``
            gives a picture still upright, lit for being turned to the left.
    span    which share of the ground, from top to bottom, the picture shows; None
            for ground that is blank paper, without shadow or a lamp's fall-off.

    Same scene, same scale, same pixels. MockupError when a part runs off its
    board or the picture would be too large.
    """
    kept = Kept() if kept is None else kept
    parts = seen_pieces(scene, side)
    canvas = picture_canvas(scene, side=side, scale=scale) if canvas is None else canvas
    # The light stands over the middle of the instrument, whatever of it is shown.
    x0, y0, x1, y1 = scene_box(scene, side)
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    refuse_missing_wood(scene, side, kept)

    # What the last picture on this canvas shows, where nothing changed, need not be drawn again.
    last = kept.get(("last picture", side, canvas), Last, lambda _: canvas.width * canvas.height * 3)

    # Nothing waits that need not. A thread of the pool reads boards and cuts bare layers, long work that leaves the interpreter to others; this one
    # does light and shadow, many short steps over which two would only fight. Whichever is done first helps the other.
    turns, short_done = Turns(), threading.Event()
    with single_threaded_cv2(), ThreadPoolExecutor(max(cores(), 2)) as pool:
        try:
            cutting = turns.add(partial(_layers, parts, kept))
            wood = pool.submit(_wood, scene, parts, cutting, canvas, kept, last.empty, pool)
            wood.add_done_callback(lambda _: turns.run())
            pool.submit(short_done.wait)  # this thread stands for that one until then
            turns.run()
            layers = [layer for layer in cutting.result() if _on_canvas(layer.region, canvas)]
            seen = {layer.part.name for layer in layers}
            falls = turns.add(partial(_fall, parts if span is not None else (), canvas, kept))
            lights = {p.name: turns.add(partial(_lighting, p, canvas, middle, kept)) for p in parts if p.name in seen}
            shades = {p.name: turns.add(partial(_shade, p, _casters(parts, n), canvas, kept)) for n, p in enumerate(parts) if p.name in seen}
            pieces = [turns.add(partial(_pieces, layer.region, canvas, kept)) for layer in layers]
            turns.run()
        except BaseException:
            turns.give_up()  # or the thread that waits for one of them would wait for ever
            raise
        finally:
            short_done.set()
        boards = wood.result()
    ground_shade = falls.result()
    found = {p.name: p for p in parts}
    faces = [_face(layer, found[layer.part.name], boards, lights[layer.part.name].result(), shades[layer.part.name].result(), cut.result(), canvas)
             for layer, cut in zip(layers, pieces, strict=True)]

    base = (scene.ground, span, ground_shade)
    before, dirty = last.changed(base, faces)
    drawn = [_drawn(f, canvas, kept) if dirty is None or any(f.pieces.bands[n] for n in dirty) else None for f in faces]
    bands = band_list(canvas.height, canvas.width)
    order = {first: n for n, (first, _) in enumerate(bands)}
    out = np.empty((canvas.height, canvas.width, 3), np.uint8) if before is None else before.copy()

    def draw(first: int, last: int) -> None:
        n = order[first]
        if dirty is not None and n not in dirty:
            return
        a, b = (0, canvas.width) if dirty is None else dirty[n]
        laid = [(d, piece) for d in drawn if d is not None for piece in d.face.pieces.bands[n] if piece.first < b and piece.last > a]
        colour = ground_rows(scene.ground, canvas, first, last, span)
        # A piece reaches over what another covers with a cover of 0, and 0 times what happens to stand in memory may be no number.
        fall = np.zeros((last - first, canvas.width), np.float32)
        planes = [np.empty_like(fall) for _ in range(3)]
        # The ground and its shadow, but not under what covers all of it: always in the same steps, so that a
        # picture drawn in part has the same pixels as one drawn whole.
        full = [(p.first, p.last) for d, p in laid if p.cover is None and d.face.window[1] <= first and d.face.window[3] >= last]
        seen = min([a, *(p.first for _, p in laid)]), max([b, *(p.last for _, p in laid)])
        for start in range(seen[0] // GROUND_STEP * GROUND_STEP, seen[1], GROUND_STEP):
            end = min(start + GROUND_STEP, canvas.width)
            if not any(f <= start and end <= t for f, t in full):
                fall[:, start:end] = ground_shade.rows(canvas, (start, end), (first, last))
                for k, plane in enumerate(planes):
                    np.multiply(fall[:, start:end], colour[:, start:end, k] if colour.shape[1] > 1 else colour[..., k], out=plane[:, start:end])
        for d, piece in laid:
            _lay(d, piece, canvas, colour, fall, planes, first, last)
        # Pieces that reach out of what changed have been laid there without those beside them.
        out[first:last, a:b] = encode_rows([p[:, a:b] for p in planes], dither_rows(first, last, canvas.width)[:, a:b])

    in_bands(draw, canvas.height, canvas.width, report)
    out.setflags(write=False)
    last.keep(base, faces, out)
    return Picture(out, scale, canvas, _notes(boards, side))


def _wood(scene: Scene, parts: tuple[Part | Fitting, ...], cutting: Future[tuple[Layer, ...]], canvas: Canvas, kept: Kept,
          first: bool, pool: ThreadPoolExecutor) -> dict[str, LoadedBoard]:
    """The boards that are seen, by name; for a ``first`` picture, which shows them all, their bare layers are put into ``kept``."""
    found = {p.name: p for p in parts if isinstance(p, Part)}
    boards = {p.board: load_board(scene.boards[p.board], kept) for p in list(found.values())[-1:]}  # what lies on top is seen
    seen = [layer for layer in cutting.result() if layer.part.name in found and _on_canvas(layer.region, canvas)]
    boards |= {name: load_board(scene.boards[name], kept) for name in sorted({found[layer.part.name].board for layer in seen} - boards.keys())}
    for layer in seen if first else ():
        if layer.colour is None:
            part = found[layer.part.name]
            bare_layer(part, boards[part.board], canvas, canvas.window(layer.region.bounds), kept, pool=pool)
    return boards


def refuse_missing_wood(scene: Scene, side: str = "front", kept: Kept | None = None) -> None:
    """MockupError with every part of a side that runs off its board."""
    problems: list[Problem] = []
    for part in seen_parts(scene, side):
        size = scene.boards[part.board].size_mm
        key = ("missing wood", part.name, part.title, shape_key(part.shape), (part.whole or part.shape).bounds, part.placement, size, part.board)
        problems += (kept or Kept()).get(key, lambda part=part, size=size: missing_wood(part, part.shape, size, part.board), lambda _: 0)
    if problems:
        raise MockupError.several(problems).within(scene.file.name, joint=": ")


PLAIN = ("read as sRGB", "16 bits per channel kept")


def _notes(boards: dict[str, LoadedBoard], side: str) -> tuple[str, ...]:
    # That a picture is sRGB and says so, and is read as fine as it is, is as it should be: nothing to tell.
    notes = [f'Board "{name}": {note}.' for name, board in sorted(boards.items()) for note in board.notes if not note.startswith(PLAIN)]
    if side == "back":
        notes.append("The back of a board is shown as its front, mirrored: it is not in the photo.")
    return tuple(notes)


def _lighting(part: Part | Fitting, canvas: Canvas, middle: tuple[float, float], kept: Kept) -> tuple[Coarse, Coarse | None]:
    window = canvas.window(part.shape.bounds)

    def size(pair) -> int:
        return sum(c.values.nbytes for c in pair if c is not None)

    if isinstance(part, Part):
        # A strip takes the light of the whole it was cut from.
        whole = part.edged or part.whole or part.shape
        key = ("light", shape_key(whole), window, part.edge, form_key(part.form), part.finish.sheen, canvas, middle)
        return kept.get(key, lambda: part_lighting(whole, part.edge, part.form, part.finish.sheen, canvas, window, middle, kept=kept), size)
    m = part.material
    if part.photo is not None:  # it brings its own light
        return kept.get(("light of a photo",), _no_light, lambda _: 0)
    key = ("light", shape_key(part.shape), part.edge, form_key(part.form), m.kind, m.gloss, part.rods, part.spun, canvas, middle)
    if part.rods:
        return kept.get(key, lambda: rod_lighting(part.rods, m.gloss, canvas, window, middle, metal=m.kind == "metal"), size)
    return kept.get(key, lambda: part_lighting(part.shape, part.edge, part.form, m.gloss, canvas, window, middle, metal=m.kind == "metal",
                                               spun=part.spun, small=True, kept=kept), size)


def _no_light() -> tuple[Coarse, None]:
    return Coarse(np.ones((2, 2), np.float32), Canvas((-1e5, -1e5), 1e-5, (2, 2))), None


def _casters(parts: tuple[Part | Fitting, ...], n: int) -> list[tuple[Part | Fitting, bool]]:
    """What shades a part: all that stands above it and lies over or beside it, and whether it lies under it.

    Of what lies under it but stands higher (it is the floor of a pocket), only the rim around it shades.
    """
    part = parts[n]
    return [(o, under) for some, under in ((parts[n + 1:], False), (parts[:n], True)) for o in some
            if o.height > part.height and reaches(o.shape, o.height - part.height, part.shape.bounds)]


def _shade(part: Part | Fitting, casters: list[tuple[Part | Fitting, bool]], canvas: Canvas, kept: Kept) -> Coarse | None:
    if not casters:
        return None
    key = ("shade", shape_key(part.shape), tuple((shape_key(o.shape), o.height - part.height, under) for o, under in casters), canvas)

    def make() -> Coarse | None:
        found = [(without(thinned(o.shape, NEAR, LONG), [thinned(part.shape, NEAR, LONG)]) if under else o.shape, o.height - part.height, _thin(o)) for o, under in casters]
        return shade([c for c in found if c[0] is not None], part.shape, canvas)

    return kept.get(key, make, lambda c: 0 if c is None else c.values.nbytes)


def _thin(part: Part | Fitting) -> bool:
    return isinstance(part, Fitting) and bool(part.rods) and max(r[4] for r in part.rods) < 1.0


def _fall(parts: tuple[Part | Fitting, ...], canvas: Canvas, kept: Kept) -> Coarse:
    """The shadow of the whole on the ground."""
    casters = [(p.shape, p.height) for p in parts if p.height > 0]
    key = ("fall", tuple((shape_key(shape), rise) for shape, rise in casters), canvas)
    return kept.get(key, lambda: shadow(casters, canvas), lambda c: c.values.nbytes)


def _layers(parts: tuple[Part | Fitting, ...], kept: Kept) -> tuple[Layer, ...]:
    key = ("layers", tuple((p.name, shape_key(p.shape), None if isinstance(p, Fitting) else p.binding) for p in parts))
    return kept.get(key, lambda: scene_layers(parts), lambda _: 0)


def _on_canvas(region: Shape, canvas: Canvas) -> bool:
    x0, y0, x1, y1 = canvas.window(region.bounds)
    return x0 < x1 and y0 < y1


def _pieces(region: Shape, canvas: Canvas, kept: Kept) -> Pieces:
    return kept.get(("pieces", shape_key(region), canvas), lambda: region_pieces(region, canvas, canvas.window(region.bounds)), lambda p: p.nbytes)


def _face(layer: Layer, part: Part | Fitting, boards: dict[str, LoadedBoard], lighting: tuple[Coarse, Coarse | None], shade: Coarse | None,
          pieces: Pieces, canvas: Canvas) -> Face:
    """A layer with all that decides its pixels. ``part`` is this variant's: kept layers hold the one that made them."""
    fill: tuple
    if isinstance(part, Fitting) or layer.colour is not None:
        photo = part.photo if isinstance(part, Fitting) else None
        fill = (part.material.lab if isinstance(part, Fitting) else layer.colour,) if photo is None else \
            (photo, photo.path.stat().st_mtime_ns)
    else:
        fill = (boards[part.board].key, part.placement, (part.whole or part.shape).bounds, shape_key(part.whole or part.shape), part.lines,
                part.finish)
    return Face(part, None if len(fill) > 1 else fill[0], boards[part.board] if isinstance(part, Part) else None,
                canvas.window(layer.region.bounds), pieces, lighting, shade, fill)


def _drawn(face: Face, canvas: Canvas, kept: Kept) -> _Drawn:
    if isinstance(face.part, Fitting) and face.part.photo is not None:
        return _Drawn(face, load_cut_out(face.part.photo, canvas, kept), None)
    if face.colour is not None:
        return _Drawn(face, None, np.clip(lab_to_linear(np.array(face.colour)), 0, 1).astype(np.float32))
    bare = bare_layer(face.part, face.board, canvas, face.window, kept)
    return _Drawn(face, finished_wood(face.part, face.board, bare, canvas, face.window, kept), None)


def _lay(d: _Drawn, piece: Piece, canvas: Canvas, ground: np.ndarray, ground_fall: np.ndarray, planes: list[np.ndarray], first: int,
         last: int) -> None:
    """Lay one piece of a layer over the band first..last: planes += cover * (layer - ground)."""
    # A piece is as high as the band; a window may start or end inside it.
    top, bottom = max(first, d.face.window[1]), min(last, d.face.window[3])
    rows, columns = (top, bottom), (piece.first, piece.last)
    here = (slice(top - first, bottom - first), slice(*columns))
    surface = None if d.face.lighting[1] is None else d.face.lighting[1].rows(canvas, columns, rows)
    body = None if d.face.lighting[0].is_one(canvas, columns, rows) else d.face.lighting[0].rows(canvas, columns, rows)
    if d.face.shade is not None:
        shade = d.face.shade.rows(canvas, columns, rows)
        body = shade if body is None else body * shade
    under = ground[here[0] if ground.shape[0] > 1 else slice(None), here[1] if ground.shape[1] > 1 else slice(None)]
    if isinstance(d.wood, LoadedCutOut):
        bands = d.wood.block(canvas, rows, columns)
    elif d.wood is not None:
        x0, y0, x1, y1 = d.face.window
        dented = d.wood.pores is not None and surface is not None
        # A pore's walls are told from its neighbours: a pixel more all around, so that no block shows its edge.
        up, down, left, right = (int(dented and more) for more in (top > y0, bottom < y1, piece.first > x0, piece.last < x1))
        around = d.wood.bare_rows(top - up - y0, bottom + down - y0)[:, piece.first - left - x0:piece.last + right - x0]
        bands = d.wood.block(around[up:len(around) - down, left:around.shape[1] - right], canvas, rows, columns, x0)
        if dented:
            surface = d.wood.pores.over(around, surface, (up, left))
    for k in range(3):
        lit = bands[k] if d.wood is not None else np.full((bottom - top, piece.last - piece.first), d.colour[k])
        if body is not None:
            lit *= body
        if surface is not None:
            lit += surface
        if piece.cover is None:
            planes[k][here] = lit
            continue
        lit -= ground_fall[here] * under[..., k]
        lit *= piece.cover[here[0]]
        planes[k][here] += lit
