"""The best places side by side, as pictures to choose from."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from mockup.board.place import Pattern, Place
from mockup.colour.spaces import encode_srgb

__all__ = ["cut_out", "thumbnails"]

Array = np.ndarray

_GROUND = (250, 249, 246)
_INK, _PALE = (34, 32, 30), (120, 116, 110)


def cut_out(pixels: Array, mm_per_pixel: float, part: Pattern, place: Place, px_per_mm: float) -> Array:
    """The part as it would be cut, upright, (h, w, 3) uint8 sRGB on a pale ground.

    pixels  (H, W, 3) uint16 linear board. A matched pair is shown opened.
    """
    high, wide = (v / part.px_per_mm for v in part.mask.shape)
    size = (max(1, round(wide * px_per_mm)), max(1, round(high * px_per_mm)))
    c, s = np.cos(np.radians(place.turn)), np.sin(np.radians(place.turn))
    turn = np.array([[c, -s], [s, c]])
    # Board mm = at + turn (p - anchor), p in mm of the mask; pixel centres at half steps.
    scale = turn / px_per_mm / mm_per_pixel
    start = (np.array(place.at) + turn @ (np.array([0.5, 0.5]) / px_per_mm - part.anchor)) / mm_per_pixel - 0.5
    step = max(int(1 / px_per_mm / mm_per_pixel), 1)
    if step > 1:  # reduce first, or fine grain turns to moire
        h, w = (v // step * step for v in pixels.shape[:2])
        pixels = cv2.resize(pixels[:h, :w], (w // step, h // step), interpolation=cv2.INTER_AREA)
        scale, start = scale / step, (start + 0.5) / step - 0.5
    motion = np.column_stack([scale, start])
    wood = cv2.warpAffine(pixels, motion, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)
    cover = np.clip(cv2.resize(part.mask, size, interpolation=cv2.INTER_CUBIC), 0, 1)[..., None]
    if part.cut == "bookmatch":
        wood, cover = np.concatenate([wood[:, ::-1], wood], 1), np.concatenate([cover[:, ::-1], cover], 1)
    elif part.cut == "slipmatch":
        wood, cover = np.concatenate([wood, wood], 1), np.concatenate([cover, cover], 1)
    codes = encode_srgb(wood.astype(np.float32) / 65535) * 255
    return np.rint(codes * cover + np.float32(_GROUND) * (1 - cover)).astype(np.uint8)


def thumbnails(pixels: Array, mm_per_pixel: float, part: Pattern, places: Sequence[Place], *, height: int = 420) -> Array:
    """All places in a row, the best first, each with its number, reasons and place on the board; (H, W, 3) uint8 sRGB."""
    high = part.mask.shape[0] / part.px_per_mm
    face = cv2.FontFace("sans")
    cells = []
    h, w = pixels.shape[:2]
    for number, place in enumerate(places, 1):
        picture = cut_out(pixels, mm_per_pixel, part, place, height / high)
        wide = max(picture.shape[1], 210) + 40
        cell = np.empty((height + 250, wide, 3), np.uint8)
        cell[:] = _GROUND
        x = (wide - picture.shape[1]) // 2
        cell[20:20 + picture.shape[0], x:x + picture.shape[1]] = picture
        alike = f"   alike {max(place.symmetry, 0) * 100:.0f} %" if part.cut == "single" else ""
        lines = [f"{number}", f"at {place.at[0]:g}, {place.at[1]:g}  turn {place.turn:g}",
                 f"figure {place.figure:.2f}" + alike,
                 f"grain {place.off_grain:.1f} degrees off"]
        for k, words in enumerate(lines):
            cv2.putText(cell, words, (20, height + 52 + 24 * k), _INK if k == 0 else _PALE, face, 20 if k == 0 else 15,
                        600 if k == 0 else 400)
        small = _on_board(pixels, mm_per_pixel, part, place, wide - 40, 96)
        cell[height + 140:height + 140 + small.shape[0], 20:20 + small.shape[1]] = small
        cells.append(cell)
    return np.concatenate(cells, 1)


def _on_board(pixels: Array, mm_per_pixel: float, part: Pattern, place: Place, wide: int, high: int) -> Array:
    """The board, small, with the part's outline on it."""
    scale = min(wide / pixels.shape[1], high / pixels.shape[0])
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    picture = np.rint(encode_srgb(small.astype(np.float32) / 65535) * 255).astype(np.uint8)
    contours, _ = cv2.findContours((part.mask > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    c, s = np.cos(np.radians(place.turn)), np.sin(np.radians(place.turn))
    for line in contours:
        mm = (line[:, 0] + 0.5) / part.px_per_mm - part.anchor
        board = np.array(place.at) + mm @ np.array([[c, s], [-s, c]])
        px = np.rint((board / mm_per_pixel * scale - 0.5) * 16).astype(np.int32)
        cv2.polylines(picture, [px], True, (255, 255, 255), 2, cv2.LINE_AA, 4)
        cv2.polylines(picture, [px], True, (200, 30, 30), 1, cv2.LINE_AA, 4)
    return picture
