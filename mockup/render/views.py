"""Views of an instrument: front, back or both on one canvas, upright or lying, all of it or one part, with a scale bar."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..colour.spaces import encode_srgb, lab_to_linear
from ..errors import MockupError, nearest
from ..scene.values import Fitting, Scene
from .canvas import Canvas
from .kept import Kept
from .layers import seen_pieces
from .picture import MARGIN, Picture, picture, scene_box

__all__ = ["View", "view_box", "view_picture"]

NEAR = 14.0  # mm of surroundings around one part
BARS = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # mm
GAP = 16.0   # mm more between front and back than the margin: their shadows must end before they meet

Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True)
class View:
    """What of an instrument is shown and how.

    side    "front", "back" or "both".
    lying   neck to the left instead of up.
    part    name of the one part to show with what lies around it; None for the whole.
    ground  Lab in place of the scene's own.
    bar     a scale bar in the corner.
    """

    side: str = "front"
    lying: bool = False
    part: str | None = None
    ground: tuple[float, float, float] | None = None
    bar: bool = False


def view_box(scene: Scene, view: View) -> Box:
    """The box (x0, y0, x1, y1) in mm that a view shows, its margin left out and both sides side by side."""
    boxes = [_box(scene, view, side) for side in _sides(view)]
    wide = max(b[2] - b[0] for b in boxes)
    if len(boxes) == 1:
        return boxes[0]
    x0, y0, _, y1 = boxes[0]
    return (x0, y0, x0 + 2 * wide + 2 * (MARGIN + GAP), y1)


def _sides(view: View) -> tuple[str, ...]:
    return ("front", "back") if view.side == "both" else (view.side,)


def _box(scene: Scene, view: View, side: str) -> Box:
    if view.part is not None:
        return _part_box(scene, view.part, side)
    box = scene_box(scene, side)
    if view.side != "both":
        return box
    # Both sides show the same mm, so that they stand at one height.
    x0, y0, x1, y1 = scene_box(scene, "back" if side == "front" else "front")
    x0, x1 = 2 * scene.centre - x1, 2 * scene.centre - x0
    return min(box[0], x0), min(box[1], y0), max(box[2], x1), max(box[3], y1)


def _part_box(scene: Scene, part: str, side: str) -> Box:
    seen = seen_pieces(scene, side)
    names = {p.part if isinstance(p, Fitting) else p.name for p in seen}
    if part not in names:
        known = {p.part if isinstance(p, Fitting) else p.name for p in scene.order}
        if part in known:
            raise MockupError(f'The part "{part}" is not seen from the {side}.', fix="Choose the other side.", where=scene.file.name)
        raise MockupError(f'There is no part "{part[:60]}".', fix=nearest(part, known), where=scene.file.name)
    boxes = np.array([p.shape.bounds for p in seen if part == (p.part if isinstance(p, Fitting) else p.name)])
    return (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())


def view_picture(scene: Scene, view: View, *, scale: float, kept: Kept | None = None,
                 report: Callable[[float], None] | None = None) -> Picture:
    """The picture of one view, at ``scale`` pixels per mm. Raises MockupError as ``picture``, and for a part that is not there."""
    kept = Kept() if kept is None else kept
    told = report or (lambda share: None)
    if view.ground is not None:
        scene = replace(scene, ground=view.ground)
    sides, margin = _sides(view), MARGIN if view.part is None else NEAR
    made = []
    for n, side in enumerate(sides):
        x0, y0, x1, y1 = _box(scene, view, side)
        # Upright the two stand side by side; lying, the front lies above: its left flank is then toward the back.
        more = GAP if len(sides) == 2 else 0.0
        inner = (0.0, more) if n == 0 else (more, 0.0)
        if view.lying:
            inner = inner[::-1]
        canvas = Canvas.around((x0 - inner[0], y0, x1 + inner[1], y1), scale, margin, lying=view.lying)
        span = (n / len(sides), (n + 1) / len(sides)) if view.lying else (0.0, 1.0)
        made.append(picture(scene, side=side, scale=scale, kept=kept, canvas=canvas, span=span,
                            report=lambda share, n=n: told((n + share) / len(sides))))
    pixels = [np.rot90(p.pixels) if view.lying else p.pixels for p in made]
    # A pixel more or less of height by rounding: the ground goes on.
    most = max(p.shape[view.lying] for p in pixels)
    pixels = [np.concatenate([p, np.repeat(np.take(p, [-1], axis=int(view.lying)), most - p.shape[view.lying], axis=int(view.lying))],
                             axis=int(view.lying)) for p in pixels]
    whole = np.ascontiguousarray(np.concatenate(pixels, axis=0 if view.lying else 1))
    if view.bar:
        _draw_bar(whole, scale, scene.ground)
    notes = dict.fromkeys(note for p in made for note in p.notes)
    return Picture(whole, scale, made[0].canvas, tuple(notes))


def _draw_bar(pixels: np.ndarray, scale: float, ground: tuple[float, float, float]) -> None:
    """A bar of a round number of mm with its length beside it, in the lower left corner."""
    from PIL import Image, ImageDraw, ImageFont

    height, width = pixels.shape[:2]
    mm = max((b for b in BARS if b * scale <= width * 0.22), default=BARS[0])
    pad = max(6, round(min(8.0 * scale, 0.03 * min(width, height))))
    thick, long = max(2, round(pad * 0.16)), round(mm * scale)
    grey = encode_srgb(np.clip(lab_to_linear(np.array([28.0 if ground[0] > 55 else 86.0, 0.0, 0.0])), 0, 1)) * 255
    ink = tuple(int(round(v)) for v in grey.tolist())
    if long + 2 * pad > width or 3 * pad > height:
        return
    y = height - pad
    pixels[y - thick:y, pad:pad + long] = ink
    for x in (pad, pad + long - thick):
        pixels[y - max(3 * thick, pad // 2):y, x:x + thick] = ink
    size = max(9, round(pad * 0.9))
    font = ImageFont.load_default(size)
    text = f"{mm} mm"
    image = Image.fromarray(pixels)
    ImageDraw.Draw(image).text((pad + long + pad * 0.5, y), text, fill=ink, font=font, anchor="ls")
    pixels[:] = np.asarray(image)
