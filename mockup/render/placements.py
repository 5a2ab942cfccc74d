"""The outline over its board: where each part will be cut."""

from __future__ import annotations

import cv2
import numpy as np

from ..errors import MockupError, nearest
from ..outline.coverage import coverage
from ..outline.shape import Shape
from ..scene.values import Part, Scene
from .boards import load_board
from .canvas import Canvas
from .encode import DITHER, dither_rows, encode_rows
from .kept import Kept
from .picture import Picture
from .placement import Leaf, leaves

__all__ = ["placement_picture"]

_LINE = np.array([0.85, 0.10, 0.03], np.float32)   # linear: a red grease pencil
_SECOND = np.array([0.05, 0.20, 0.75], np.float32)  # the mirrored or slid leaf, in blue
_MARGIN = 12.0


def placement_picture(scene: Scene, part: str, *, scale: float, kept: Kept | None = None) -> Picture:
    """The board of one part with the part's outline on it, (H, W, 3) uint8 sRGB.

    Wood outside the cut is dimmed; the joint edge of a matched pair is the
    straight side of its outline; the second leaf is drawn in blue; ticks
    along the top and left edge stand every 10 mm, longer ones every 50 mm.
    A part that runs off its board is drawn, with what is missing.
    """
    by_name = {p.name: p for p in scene.parts}
    if part not in by_name:
        raise MockupError(f'There is no part "{part}".', fix=nearest(part, by_name), where=scene.file.name)
    chosen = by_name[part]
    board = load_board(scene.boards[chosen.board], kept or Kept())
    width, height = board.size_mm
    cuts = [(leaf, _on_board(chosen, leaf)) for leaf in leaves(chosen)]
    boxes = np.array([shape.bounds for _, shape in cuts if shape is not None])
    box = (min(0.0, boxes[:, 0].min()), min(0.0, boxes[:, 1].min()), max(width, boxes[:, 2].max()), max(height, boxes[:, 3].max()))
    canvas = Canvas.around(box, scale, _MARGIN)

    image = np.full((canvas.height, canvas.width, 3), 0.72, np.float32)
    x0, y0 = (round((0 - o) * scale) for o in canvas.origin)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    wood = cv2.resize(board.pixels, size, interpolation=cv2.INTER_AREA if scale * board.mm_per_pixel < 1 else cv2.INTER_CUBIC)
    image[y0:y0 + size[1], x0:x0 + size[0]] = wood.astype(np.float32) / 65535

    kept_wood = np.zeros(image.shape[:2], np.float32)
    for _, shape in cuts:
        if shape is not None:
            kept_wood = np.maximum(kept_wood, coverage(shape, origin=canvas.origin, px_per_mm=scale, size=canvas.size))
    image *= (0.45 + 0.55 * kept_wood)[..., None]
    pen = max(0.7, 1.6 / scale)
    for leaf, shape in cuts:
        if shape is not None:
            _draw_line(image, shape, pen, _SECOND if leaf.second else _LINE, canvas)
    _draw_ticks(image, (width, height), canvas)
    rows = [encode_rows([np.ascontiguousarray(image[y:y + DITHER, :, k]) for k in range(3)],
                        dither_rows(y, min(y + DITHER, canvas.height), canvas.width)) for y in range(0, canvas.height, DITHER)]
    return Picture(np.concatenate(rows), scale, canvas)


def _on_board(part: Part, leaf: Leaf) -> Shape | None:
    """The outline of one leaf in board coordinates."""
    from ..outline.cut import without

    shape: Shape | None = part.shape
    x0, y0, x1, y1 = part.shape.bounds
    pad = 10.0
    low, high = leaf.span
    if low > x0:
        shape = without(part.shape, [_box(x0 - pad, y0 - pad, low, y1 + pad)])
    elif high < x1:
        shape = without(part.shape, [_box(high, y0 - pad, x1 + pad, y1 + pad)])
    if shape is None:
        return None
    mirrored = np.linalg.det(leaf.matrix) < 0
    return Shape(tuple(leaf.to_board(r)[::-1] if mirrored else leaf.to_board(r) for r in shape.rings))


def _box(x0: float, y0: float, x1: float, y1: float) -> Shape:
    return Shape((np.array([[x0, y0], [x0, y1], [x1, y1], [x1, y0]]),))


def _draw_line(image: np.ndarray, shape: Shape, pen: float, colour: np.ndarray, canvas: Canvas) -> None:
    outer, inner = shape.inset(-pen / 2), shape.inset(pen / 2)
    cover = coverage(outer, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size)
    if inner is not None:
        cover = cover - coverage(inner, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size)
    image += np.clip(cover, 0, 1)[..., None] * (colour - image)


def _draw_ticks(image: np.ndarray, size_mm: tuple[float, float], canvas: Canvas) -> None:
    s = canvas.px_per_mm
    x0, y0 = (round(-o * s) for o in canvas.origin)
    thick = max(1, round(s * 0.35))
    for k in range(int(max(size_mm) // 10) + 1):
        long = round((7 if k % 5 == 0 else 3.5) * s)
        at = round(k * 10 * s)
        if k * 10 <= size_mm[0]:
            image[max(y0 - long, 0):y0, x0 + at:x0 + at + thick] = 0.02
        if k * 10 <= size_mm[1]:
            image[y0 + at:y0 + at + thick, max(x0 - long, 0):x0] = 0.02
