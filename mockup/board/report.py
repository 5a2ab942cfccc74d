"""One picture that shows a maker what was found, and how good the photo is."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from mockup.board.calibrate import Calibrated
from mockup.colour.spaces import encode_srgb

__all__ = ["report_picture"]

Array = np.ndarray

_WIDTH, _EDGE, _GAP = 1600, 40, 28
_INK, _PALE, _PAPER = (34, 32, 30), (120, 116, 110), (250, 249, 246)
_LEVELS = {"good": ((62, 128, 72), "good"), "fair": ((206, 138, 20), "fair"), "poor": ((190, 52, 42), "poor")}
_TOPICS = {"scale": "Scale", "edges": "Edges", "detail": "Detail", "sharpness": "Sharpness", "light": "Light",
           "clipping": "Exposure", "glare": "Glare", "cover": "Cover", "figure": "Figure", "colour": "Colour"}


def report_picture(board: Calibrated, title: str) -> Array:
    """The report, (H, W, 3) uint8 sRGB, 1600 pixels wide.

    title  one line, as the photo's name.
    """
    wide = (_WIDTH - 2 * _EDGE - _GAP) // 2
    left = [("As photographed, squared up: sheet green, board red", _seen(board, wide)),
            ("The light that was taken off", _light(board, wide))]
    corrected = ", colour corrected" if board.measures.basis != "nothing" else ", colour as the camera showed it"
    right = [("The board, light off" + corrected, _board(board, wide)),
             ("What can be used: glare blue, burnt out or black red, paper grey", _mask(board, wide))]
    canvas = np.empty((6000, _WIDTH, 3), np.uint8)
    canvas[:] = _PAPER
    w, h = (board.pixels.shape[k] * board.mm_per_pixel for k in (1, 0))
    _write(canvas, title, (_EDGE, 62), 30, bold=True)
    _write(canvas, f"{w:.1f} x {h:.1f} mm, {board.mm_per_pixel:.4g} mm per pixel", (_EDGE, 96), 20, colour=_PALE)
    foot = 120
    for pair in zip(left, right):
        high = max(picture.shape[0] for _, picture in pair)
        for k, (words, picture) in enumerate(pair):
            x = _EDGE + k * (wide + _GAP)
            _write(canvas, words, (x, foot + 18), 17, colour=_PALE)
            canvas[foot + 30:foot + 30 + picture.shape[0], x:x + picture.shape[1]] = picture
        foot += high + 30 + _GAP
    foot += 8
    for finding in board.verdict:
        colour, word = _LEVELS[finding.level]
        cv2.circle(canvas, (_EDGE + 9, foot + 14), 9, colour, -1, cv2.LINE_AA)
        _write(canvas, _TOPICS[finding.topic], (_EDGE + 32, foot + 21), 20, bold=True)
        _write(canvas, word, (_EDGE + 168, foot + 21), 20, colour=colour)
        foot = _paragraph(canvas, finding.found, (_EDGE + 240, foot + 21), 20, _INK)
        if finding.advice:
            foot = _paragraph(canvas, "Next time: " + finding.advice, (_EDGE + 240, foot + 21), 18, _PALE)
        foot += 8
    return np.ascontiguousarray(canvas[:foot + _EDGE - 8])


def _codes(linear: Array) -> Array:
    return np.rint(encode_srgb(linear.astype(np.float32)) * 255).astype(np.uint8)


def _fit(picture: Array, wide: int) -> Array:
    """To the panel's width, at most 560 pixels high."""
    scale = min(wide / picture.shape[1], 560 / picture.shape[0])
    size = max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale))
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)


def _seen(board: Calibrated, wide: int) -> Array:
    view = board.survey.view
    picture = _codes(view.pixels / np.float32(65535))
    scale = wide / picture.shape[1]
    picture = _fit(picture, wide)
    scale = picture.shape[1] / view.pixels.shape[1]
    put = lambda mm: np.rint((view.to_pixels(mm) + 0.5) * scale * 16 - 8).astype(np.int32)
    for outline in (board.survey.papers or {}).values():
        cv2.polylines(picture, [put(outline)], True, (40, 170, 70), 2, cv2.LINE_AA, 4)
    w, h = board.survey.size
    cv2.polylines(picture, [put(np.array([[0, 0], [w, 0], [w, h], [0, h]]))], True, (220, 40, 30), 2, cv2.LINE_AA, 4)
    return picture


def _board(board: Calibrated, wide: int) -> Array:
    small = _fit(board.pixels, wide)
    return _codes(small / np.float32(65535))


def _light(board: Calibrated, wide: int) -> Array:
    """The light as it lay, its brightest white, with lines of equal brightness every tenth."""
    w, h = board.survey.size
    shape = _fit(np.zeros((board.pixels.shape[0], board.pixels.shape[1], 1), np.uint8), wide).shape[:2]
    x, y = (np.arange(shape[1]) + 0.5) * w / shape[1], (np.arange(shape[0]) + 0.5) * h / shape[0]
    strength = board.recipe.light.field(np.stack(np.meshgrid(x, y), -1))
    strength = strength / strength.max()
    picture = _codes(strength)
    step = np.floor(np.log(np.maximum(strength[..., 1], 1e-3)) / np.log(0.9)).astype(int)
    line = np.zeros(shape, bool)
    line[:, 1:] |= step[:, 1:] != step[:, :-1]
    line[1:] |= step[1:] != step[:-1]
    picture[line] = picture[line] // 2
    return picture


def _mask(board: Calibrated, wide: int) -> Array:
    picture = _board(board, wide)
    usable = cv2.resize(board.usable, picture.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    grey = np.repeat((picture @ np.float32([0.25, 0.6, 0.15]))[..., None], 3, 2)
    out = 128 + 0.5 * grey
    for value, colour in ((128, (50, 90, 220)), (64, (220, 40, 30)), (0, (90, 90, 90))):
        out[usable == value] = np.float32(colour)
    return out.astype(np.uint8)


@cache
def _face():
    return cv2.FontFace("sans")  # comes inside OpenCV: the same letters on every machine


def _wide(words: str, size: int, bold: bool = False) -> int:
    return cv2.getTextSize((0, 0), words, (0, 0), _face(), size, 600 if bold else 400)[2]


def _write(canvas: Array, words: str, at: tuple[int, int], size: int, *, colour=_INK, bold: bool = False) -> None:
    words = "".join(c if c.isprintable() else "?" for c in words)
    while _wide(words, size, bold) > _WIDTH - _EDGE - at[0] and len(words) > 4:
        words = words[:-2].rstrip("…") + "…"
    cv2.putText(canvas, words, at, colour, _face(), size, 600 if bold else 400)


def _paragraph(canvas: Array, words: str, at: tuple[int, int], size: int, colour) -> int:
    """Write lines broken at words; the foot of the last, where the next row begins."""
    x, y = at
    line = ""
    for word in words.split():
        longer = f"{line} {word}".strip()
        if line and _wide(longer, size) > _WIDTH - _EDGE - x:
            _write(canvas, line, (x, y), size, colour=colour)
            y += int(1.4 * size)
            line = word
        else:
            line = longer
    _write(canvas, line, (x, y), size, colour=colour)
    return y + int(0.4 * size)
