"""Light on straight round bars: strings, frets, shafts.

A string is thinner than a pixel or a few of them, so its light is not sampled
but averaged across each pixel's width, from a table worked out finely once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .canvas import Canvas
from .coarse import Coarse
from .light import diffuse, mirror, shine

__all__ = ["rod_lighting"]

ACROSS = 256   # steps across a bar
ALONG = 40.0   # mm between the places along a bar at which its light is worked out
SIDE = 0.985   # how far up its side a bar is seen: the last hundredth has no width


def rod_lighting(rods: Sequence[tuple[float, float, float, float, float]], gloss: float, picture: Canvas, window: tuple[int, int, int, int],
                 middle: tuple[float, float], *, metal: bool) -> tuple[Coarse, Coarse | None]:
    """Light on bars (x0, y0, x1, y1, radius in mm) over a window of the picture; as ``relief.part_lighting``."""
    s = picture.px_per_mm
    a, b, c, d = window
    origin = (picture.origin[0] + a / s, picture.origin[1] + b / s)
    size = (max(c - a, 1), max(d - b, 1))
    body, gain = np.full(size[::-1], 0.5, np.float32), None if metal else np.zeros(size[::-1], np.float32)
    nearest = np.full(size[::-1], 9.0, np.float32)
    for rod in rods:
        _lay(rod, gloss, picture, origin, s, middle, body, gain, nearest)
    canvas = Canvas(origin, s, size)
    return Coarse(body, canvas), None if gain is None else Coarse(gain, canvas)


def _lay(rod, gloss: float, picture: Canvas, origin, s: float, middle, body: np.ndarray, gain: np.ndarray | None, nearest: np.ndarray) -> None:
    x0, y0, x1, y1, radius = rod
    length = float(np.hypot(x1 - x0, y1 - y0))
    ux, uy = ((x1 - x0) / length, (y1 - y0) / length) if length > 1e-9 else (0.0, 1.0)
    pad = radius + 1.5 / s
    height, width = body.shape
    a = int(np.clip((min(x0, x1) - pad - origin[0]) * s, 0, width))
    b = int(np.clip((max(x0, x1) + pad - origin[0]) * s + 1, 0, width))
    c = int(np.clip((min(y0, y1) - pad - origin[1]) * s, 0, height))
    d = int(np.clip((max(y0, y1) + pad - origin[1]) * s + 1, 0, height))
    if a >= b or c >= d:
        return
    x = origin[0] + (np.arange(a, b) + 0.5) / s - x0
    y = (origin[1] + (np.arange(c, d) + 0.5) / s - y0)[:, None]
    across = (-uy * x + ux * y) / radius
    along = ux * x + uy * y
    near = np.abs(across) + np.maximum(np.maximum(-along, along - length), 0)
    here = (np.abs(across) < 1 + 1.5 / (s * radius)) & (along > -pad) & (along < length + pad) & (near < nearest[c:d, a:b])
    if not here.any():
        return
    tables = _tables(rod, (ux, uy), length, gloss, picture, middle, 1 / (s * radius), gain is None)
    t = (np.clip(across[here], -1, 1) + 1) * (ACROSS / 2)
    steps = tables[0].shape[0] - 1
    w = np.clip(along[here] / max(length, 1e-9), 0, 1) * steps
    for field, table in zip((body, gain), tables, strict=True):
        if field is None:
            continue
        i, j = np.minimum(t.astype(int), ACROSS - 1), np.minimum(w.astype(int), max(steps - 1, 0))
        p, q = t - i, w - j
        k = np.minimum(j + 1, steps)
        value = (1 - q) * ((1 - p) * table[j, i] + p * table[j, i + 1]) + q * ((1 - p) * table[k, i] + p * table[k, i + 1])
        field[c:d, a:b][here] = value
    nearest[c:d, a:b][here] = near[here]


def _tables(rod, unit, length: float, gloss: float, picture: Canvas, middle, pixel: float, metal: bool):
    """Light by place along (rows) and across (columns), averaged over a pixel of ``pixel`` radii."""
    x0, y0, x1, y1, _ = rod
    places = np.linspace(0, 1, max(1, round(length / ALONG)) + 1)[:, None]
    t = np.linspace(-SIDE, SIDE, ACROSS + 1)[None, :]
    nz = np.sqrt(1 - t * t) + 0 * places
    nx, ny = -unit[1] * t + 0 * places, unit[0] * t + 0 * places
    x, y = x0 + places * (x1 - x0) - middle[0] + 0 * t, y0 + places * (y1 - y0) - middle[1] + 0 * t
    nx, ny = picture.in_room(nx, ny)
    x, y = picture.in_room(x, y)
    found = (mirror(nx, ny, nz, x, y, gloss), None) if metal else (diffuse(nx, ny, nz), shine(nx, ny, nz, x, y, gloss))
    half = min(pixel * ACROSS / 4, ACROSS)
    at = np.arange(ACROSS + 1)
    low, high = np.clip(at - half, 0, ACROSS), np.clip(at + half, 0, ACROSS)
    averaged = []
    for table in found:
        if table is None:
            averaged.append(None)
            continue
        if half < 0.5:
            averaged.append(table)
            continue
        sums = np.concatenate((np.zeros((len(table), 1)), np.cumsum((table[:, 1:] + table[:, :-1]) / 2, axis=1, dtype=np.float64)), axis=1)
        upper = np.stack([np.interp(high, at, row) for row in sums])
        lower = np.stack([np.interp(low, at, row) for row in sums])
        averaged.append((upper - lower) / (high - low))
    return averaged
