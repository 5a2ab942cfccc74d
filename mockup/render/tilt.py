"""A scene whose figure moves as the light moves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from ..board.dip import dip_file, read_dip
from ..board.grain import figure_map
from ..colour.spaces import decode_srgb, encode_srgb, luminance
from ..finish.tilt import Dip, dip_from_detail, tilt_frames
from ..outline.coverage import coverage
from ..scene.values import BoardRef, Part, Scene
from .boards import LoadedBoard, load_board
from .canvas import Canvas
from .kept import Kept
from .layers import scene_layers, seen_pieces
from .picture import picture
from .placement import leaves

__all__ = ["FRAMES", "Tilted", "board_dip", "tilt"]

FRAMES = 24
FINE = 2.0      # pixels per mm at which the figure of a board is looked for
REACH, AT = 22.0, 10.0  # degrees: how far the lamp swings, and where one photograph is taken to be lit from
FIGURED = 0.04  # sd of the logarithm of brightness of a well figured board (library: flame and quilt 0.044, plain maple 0.007)

_LIGHT = decode_srgb(np.arange(256) / 255.0).astype(np.float32)
_CODES = np.floor(encode_srgb(np.arange(65536) / 65535.0) * 255 + 0.5).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class Tilted:
    """``frames`` of a loop, (H, W, 3) uint8 sRGB each; ``words`` say what the movement of each board rests on."""

    frames: tuple[np.ndarray, ...]
    px_per_mm: float
    measured: bool
    words: tuple[str, ...]


def board_dip(board: LoadedBoard, ref: BoardRef) -> tuple[Dip, float]:
    """Angle of a board's fibres over its picture, rising along its grain, and the map's mm per pixel.

    Read from the map that two photographs gave, where it lies beside the
    board's picture, else guessed from the picture: figure is what changes along the grain.
    """
    file = dip_file(ref.path)
    if file.is_file() and file.resolve().parent == ref.path.resolve().parent:
        degrees = read_dip(file)
        if abs(degrees.shape[1] / degrees.shape[0] * ref.size_mm[1] / ref.size_mm[0] - 1) < 0.01:
            return Dip(degrees, True, "measured from two photographs"), ref.size_mm[0] / degrees.shape[1]
    size = tuple(max(2, round(v * FINE)) for v in board.size_mm)
    light = cv2.resize(board.pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32) / np.float32(65535)
    bright = np.log(np.maximum(luminance(light), 1e-3)).astype(np.float32)
    figure = figure_map(bright, np.ones(bright.shape, bool), FINE, ref.grain)
    # On plain wood the same share of its little figure would move as on flame: a floor keeps it still.
    guess = dip_from_detail(figure, max(1.48 * float(np.median(np.abs(figure))), FIGURED), px_per_mm=FINE)
    return Dip(guess.degrees, False, "estimated from one picture"), board.size_mm[0] / size[0]


def tilt(scene: Scene, canvas: Canvas, *, side: str = "front", frames: int = FRAMES, kept: Kept | None = None,
         report: Callable[[float], None] | None = None) -> Tilted:
    """Frames of a scene as a lamp swings along the grain and back; the last leads to the first.

    canvas  what of the scene to draw.

    Same scene, same canvas, same pixels. Raises as ``picture``.
    """
    kept = Kept() if kept is None else kept
    told = report or (lambda share: None)
    still = picture(scene, side=side, scale=canvas.px_per_mm, kept=kept, canvas=canvas, report=lambda s: told(0.4 * s))
    maps: dict[str, tuple[Dip, float]] = {}
    moving: list[tuple[tuple[slice, slice], np.ndarray, list[np.ndarray]]] = []
    parts = seen_pieces(scene, side)
    for layer in scene_layers(parts):
        if layer.colour is not None or not isinstance(layer.part, Part):
            continue
        x0, y0, x1, y1 = window = canvas.window(layer.region.bounds)
        if x0 >= x1 or y0 >= y1:
            continue
        ref = scene.boards[layer.part.board]
        if ref.name not in maps:
            maps[ref.name] = board_dip(load_board(ref, kept), ref)
        origin = (canvas.origin[0] + x0 / canvas.px_per_mm, canvas.origin[1] + y0 / canvas.px_per_mm)
        cover = coverage(layer.region, origin=origin, px_per_mm=canvas.px_per_mm, size=(x1 - x0, y1 - y0))
        at = 0.0 if maps[ref.name][0].measured else AT  # two photographs together are lit from neither side
        for a, b, dip, reach in _over_window(layer.part, maps[ref.name], ref.grain, canvas, window):
            moving.append(((slice(y0, y1), slice(x0 + a, x0 + b)), cover[:, a:b], list(tilt_frames(dip, frames, reach=reach, at=at))))
        told(0.4 + 0.2 * len(moving) / (len(moving) + 2))
    out = []
    light = _LIGHT[still.pixels]
    # The loop begins with the lamp far to one side: with it overhead the figure is faint, and a still shows the first frame.
    for n in np.roll(np.arange(frames), -(frames // 4)):
        lit = light.copy()
        for where, cover, gains in moving:
            lit[where] *= (1 + cover * (gains[n] - 1))[..., None]
        out.append(_encoded(lit))
        told(0.6 + 0.4 * len(out) / frames)
    rests: dict[str, set[str]] = {}
    for name, (dip, _) in maps.items():
        rests.setdefault(dip.words, set()).add(scene.boards[name].wood)
    words = tuple(f"{', '.join(sorted(woods))}: {rest}" for rest, woods in sorted(rests.items(), reverse=True))
    return Tilted(tuple(out), canvas.px_per_mm, bool(maps) and all(d.measured for d, _ in maps.values()), words)


def _over_window(part: Part, found: tuple[Dip, float], grain: float, canvas: Canvas,
                 window: tuple[int, int, int, int]) -> list[tuple[int, int, np.ndarray, float]]:
    """Per leaf: its columns a..b of the window, the board's angles (H, b - a) there, and how far the lamp swings in the board's own sense."""
    (dip, mm), (x0, y0, x1, y1), s = found, window, canvas.px_per_mm
    along = np.array([1.0, 0.0]) if abs(grain) < 45 else np.array([0.0, 1.0])
    # Averaged over a picture's pixel: a fine map would flicker in a small picture.
    angles = cv2.GaussianBlur(dip.degrees, (0, 0), 0.4 / (s * mm)) if s * mm < 0.7 else dip.degrees
    out = []
    for leaf in leaves(part):
        a, b = (int(np.clip(round((x - canvas.origin[0]) * s) - x0, 0, x1 - x0)) if np.isfinite(x) else (0 if x < 0 else x1 - x0)
                for x in leaf.span)
        if b <= a:
            continue
        corner = np.array([canvas.origin[0] + (x0 + a + 0.5) / s, canvas.origin[1] + (y0 + 0.5) / s])
        matrix = np.column_stack([leaf.matrix / (s * mm), leaf.to_board(corner) / mm - 0.5])
        piece = cv2.warpAffine(angles, matrix, (b - a, y1 - y0), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
        # The lamp swings along the drawing's y: as much of it as runs along this board's grain. A leaf that was
        # opened like a page shows its fibres from below, so for it the lamp stands on the other side.
        reach = REACH * float((np.linalg.inv(leaf.matrix) @ along)[1])
        out.append((a, b, piece, -reach if leaf.second and part.placement.cut == "bookmatch" else reach))
    return out


def _encoded(light: np.ndarray) -> np.ndarray:
    # Light in 16 bits is finer than the codes.
    return _CODES[np.minimum(light * np.float32(65535) + np.float32(0.5), 65535).astype(np.uint16)]
