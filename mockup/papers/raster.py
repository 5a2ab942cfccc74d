"""A page to pixels."""

from __future__ import annotations

import functools
import math

import cv2
import numpy as np
from PIL import Image as Pil
from PIL import ImageDraw, ImageFont

from ..outline.coverage import coverage
from ..outline.shape import Shape
from .face import PT, face, run
from .page import Box, Image, Line, Page, Path, Text
from .strokes import filled_shape, stroked_shape

__all__ = ["raster"]

OVER = 4  # samples per pixel, both ways: glyphs stand at quarters of a pixel


def raster(page: Page) -> np.ndarray:
    """The page as (H, W, 3) uint8 sRGB at its own pixels per mm."""
    s = page.px_per_mm
    out = np.full((round(page.height * s), round(page.width * s), 3), 255, np.uint8)
    for item in page.items:
        match item:
            case Image():
                _picture(out, item, s)
            case Box():
                _fill(out, item.bounds, item.fill, s)
            case Line(x0=x0, y0=y0, x1=x1, y1=y1, width=width, colour=colour):
                half = max(width, 1 / s) / 2
                if y0 == y1:
                    _rule(out, (min(x0, x1), y0 - half, max(x0, x1), y0 + half), colour, s, level=True)
                else:
                    _rule(out, (x0 - half, min(y0, y1), x0 + half, max(y0, y1)), colour, s, level=False)
            case Path():
                if item.fill is not None and (shape := filled_shape(item)) is not None:
                    _cover(out, shape, item.fill, s)
                if item.colour is not None and (shape := stroked_shape(item, least=0.7 / s)) is not None:
                    _cover(out, shape, item.colour, s)
            case Text():
                _text(out, item, s)
    return out


def _cover(out: np.ndarray, shape: Shape, colour: tuple[int, int, int], s: float) -> None:
    """Lay a colour over the part of the page that a shape covers."""
    left, top, right, bottom = shape.bounds
    x0, y0 = max(math.floor(left * s), 0), max(math.floor(top * s), 0)
    x1, y1 = min(math.ceil(right * s), out.shape[1]), min(math.ceil(bottom * s), out.shape[0])
    if x0 >= x1 or y0 >= y1:
        return
    share = coverage(shape, origin=(x0 / s, y0 / s), px_per_mm=s, size=(x1 - x0, y1 - y0))[..., None]
    under = out[y0:y1, x0:x1]
    out[y0:y1, x0:x1] = np.rint(under + share * (np.float32(colour) - under)).astype(np.uint8)


def _picture(out: np.ndarray, item: Image, s: float) -> None:
    x, y = round(item.x * s), round(item.y * s)
    width, height = round(item.width * s), round(item.height * s)
    pixels = item.pixels
    if pixels.shape[:2] != (height, width):
        smaller = pixels.shape[1] > width
        pixels = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA if smaller else cv2.INTER_CUBIC)
    _window(out, x, y, pixels)


def _window(out: np.ndarray, x: int, y: int, pixels: np.ndarray) -> None:
    """Lay pixels down, cut to the page."""
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + pixels.shape[1], out.shape[1]), min(y + pixels.shape[0], out.shape[0])
    if x0 < x1 and y0 < y1:
        out[y0:y1, x0:x1] = pixels[y0 - y:y1 - y, x0 - x:x1 - x]


def _fill(out: np.ndarray, bounds: tuple[float, float, float, float], colour: tuple[int, int, int], s: float) -> None:
    # Whole pixels: a swatch is of one colour to its edge.
    x0, y0, x1, y1 = (round(v * s) for v in bounds)
    out[max(y0, 0):max(y1, y0 + 1, 0), max(x0, 0):max(x1, x0 + 1, 0)] = colour


def _rule(out: np.ndarray, bounds: tuple[float, float, float, float], colour: tuple[int, int, int], s: float, *, level: bool) -> None:
    """A rule of whole pixels, so that all rules of a page look alike."""
    x0, y0, x1, y1 = bounds
    thick = max(1, round((y1 - y0 if level else x1 - x0) * s))
    if level:
        top = round((y0 + y1) / 2 * s - thick / 2)
        out[max(top, 0):max(top + thick, 0), max(round(x0 * s), 0):max(round(x1 * s), 0)] = colour
    else:
        left = round((x0 + x1) / 2 * s - thick / 2)
        out[max(round(y0 * s), 0):max(round(y1 * s), 0), max(left, 0):max(left + thick, 0)] = colour


@functools.lru_cache(maxsize=64)
def _font(weight: str, size: float) -> ImageFont.FreeTypeFont:
    # The basic engine is in every build of Pillow; kerning comes from ``face``.
    return ImageFont.truetype(str(face(weight).path), size, layout_engine=ImageFont.Layout.BASIC)


def _text(out: np.ndarray, item: Text, s: float) -> None:
    f, line = face(item.weight), run(item.text, item.weight)
    em = item.size * PT * s  # pixels
    if not line.glyphs:
        return
    left, base = item.left * s, item.y * s
    pad = math.ceil(em * 0.3) + 1
    x0, y0 = math.floor(left) - pad, math.floor(base - em * f.box[3] / f.units) - 1
    width = math.ceil(line.width * em) + 2 * pad + 1
    height = math.ceil(base - em * f.box[1] / f.units) + 1 - y0
    mask = Pil.new("L", (width * OVER, height * OVER), 0)
    draw, font = ImageDraw.Draw(mask), _font(item.weight, em * OVER)
    for character, start in zip(line.text, line.starts, strict=True):
        if not character.isspace():
            draw.text((round((left + start * em - x0) * OVER), round((base - y0) * OVER)), character, fill=255, font=font, anchor="ls")
    cover = np.asarray(mask.reduce(OVER), np.float32)[..., None] / 255
    x1, y1 = min(x0 + width, out.shape[1]), min(y0 + height, out.shape[0])
    cx, cy = max(x0, 0), max(y0, 0)
    if cx >= x1 or cy >= y1:
        return
    under = out[cy:y1, cx:x1]
    cover = cover[cy - y0:y1 - y0, cx - x0:x1 - x0]
    out[cy:y1, cx:x1] = np.rint(under + cover * (np.float32(item.colour) - under)).astype(np.uint8)
