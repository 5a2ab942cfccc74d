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
FLANK, DARK, THIN = 0.35, 0.85, 1.0  # share of a string's half width from which its flank darkens, by how much at most, and mm of radius of a string
SIDE = 0.985   # how far up its side a bar is seen: the last hundredth has no width

Rod = tuple[float, float, float, float, float]  # x0, y0, x1, y1, radius in mm


def rod_lighting(rods: Sequence[Rod], gloss: float, picture: Canvas, window: tuple[int, int, int, int],
                 middle: tuple[float, float], *, metal: bool) -> tuple[Coarse, Coarse | None]:
    """Light on bars (x0, y0, x1, y1, radius in mm) over a window of the picture; as ``relief.part_lighting``."""
    s = picture.px_per_mm
    a, b, c, d = window
    origin = (picture.origin[0] + a / s, picture.origin[1] + b / s)
    size = (max(c - a, 1), max(d - b, 1))
    body, gain = np.full(size[::-1], 0.5, np.float32), None if metal else np.zeros(size[::-1], np.float32)
    nearest = np.full(size[::-1], 9.0, np.float32)
    shown = [rod for rod in rods if _window(rod, origin, s, body.shape) is not None]
    for rod, tables in zip(shown, _tables(shown, gloss, picture, middle, 1 / s, gain is None), strict=True):
        _lay(rod, tables, origin, s, body, gain, nearest)
    canvas = Canvas(origin, s, size)
    return Coarse(body, canvas), None if gain is None else Coarse(gain, canvas)


def _direction(rod: Rod) -> tuple[float, float, float]:
    """Length and unit direction."""
    x0, y0, x1, y1, _ = rod
    length = float(np.hypot(x1 - x0, y1 - y0))
    return (length, (x1 - x0) / length, (y1 - y0) / length) if length > 1e-9 else (length, 0.0, 1.0)


def _window(rod: Rod, origin, s: float, shape: tuple[int, ...]) -> tuple[int, int, int, int] | None:
    """Columns a to b and rows c to d that a bar can touch."""
    x0, y0, x1, y1, radius = rod
    pad = radius + 1.5 / s
    height, width = shape
    a = int(np.clip((min(x0, x1) - pad - origin[0]) * s, 0, width))
    b = int(np.clip((max(x0, x1) + pad - origin[0]) * s + 1, 0, width))
    c = int(np.clip((min(y0, y1) - pad - origin[1]) * s, 0, height))
    d = int(np.clip((max(y0, y1) + pad - origin[1]) * s + 1, 0, height))
    return (a, b, c, d) if a < b and c < d else None


def _half_pixel(radius: float, pixel: float) -> float:
    """Half a pixel of ``pixel`` mm in radii; 0 where it is finer than the steps of a table."""
    half = pixel / (2 * radius)
    return half if half > 1 / ACROSS else 0.0


def _lay(rod: Rod, tables: list[np.ndarray | None], origin, s: float, body: np.ndarray, gain: np.ndarray | None, nearest: np.ndarray) -> None:
    x0, y0, _, _, radius = rod
    length, ux, uy = _direction(rod)
    pad = radius + 1.5 / s
    a, b, c, d = _window(rod, origin, s, body.shape)
    x = origin[0] + (np.arange(a, b) + 0.5) / s - x0
    y = (origin[1] + (np.arange(c, d) + 0.5) / s - y0)[:, None]
    across = (-uy * x + ux * y) / radius
    along = ux * x + uy * y
    near = np.abs(across) + np.maximum(np.maximum(-along, along - length), 0)
    here = (np.abs(across) < 1 + 1.5 / (s * radius)) & (along > -pad) & (along < length + pad) & (near < nearest[c:d, a:b])
    if not here.any():
        return
    reach = 1 + _half_pixel(radius, 1 / s)
    t = (np.clip(across[here], -reach, reach) + reach) * (ACROSS / 2 / reach)
    steps = tables[0].shape[0] - 1
    w = np.clip(along[here] / max(length, 1e-9), 0, 1) * steps
    i, j = np.minimum(t.astype(int), ACROSS - 1), np.minimum(w.astype(int), max(steps - 1, 0))
    p, q = t - i, w - j
    upper, lower = j * (ACROSS + 1) + i, np.minimum(j + 1, steps) * (ACROSS + 1) + i
    for field, table in zip((body, gain), tables, strict=True):
        if field is None:
            continue
        flat = table.ravel()
        field[c:d, a:b][here] = (1 - q) * ((1 - p) * flat.take(upper) + p * flat.take(upper + 1)) \
            + q * ((1 - p) * flat.take(lower) + p * flat.take(lower + 1))
    nearest[c:d, a:b][here] = near[here]


def _tables(rods: Sequence[Rod], gloss: float, picture: Canvas, middle, pixel: float, metal: bool) -> list[list[np.ndarray | None]]:
    """For each bar light by place along (rows) and across (columns), averaged over the share of a pixel of ``pixel`` mm that it covers, and what
    its surface adds. Columns run from where a pixel touches one side of the bar to where it touches the other."""
    if not rods:
        return []
    ways = [_direction(rod) for rod in rods]
    counts = [max(1, round(length / ALONG)) + 1 for length, _, _ in ways]
    # All of them in one go: each is so little work that the steps would cost more than what they do.
    bar = np.repeat(np.arange(len(rods)), counts)
    share = np.concatenate([np.linspace(0, 1, n) for n in counts])
    x0, y0, x1, y1, radius = np.array(rods, np.float64).T
    unit = np.array([way[1:] for way in ways])
    t = np.linspace(-SIDE, SIDE, ACROSS + 1)
    nz = np.broadcast_to(np.sqrt(1 - t * t), (len(bar), len(t)))
    nx, ny = (n[bar, None] * t for n in (-unit[:, 1], unit[:, 0]))
    x, y = (np.broadcast_to((a[bar] + share * (b - a)[bar] - m)[:, None], nz.shape) for a, b, m in ((x0, x1, middle[0]), (y0, y1, middle[1])))
    nx, ny = picture.in_room(nx, ny)
    x, y = picture.in_room(x, y)
    found = (mirror(nx, ny, nz, x, y, gloss), None) if metal else (diffuse(nx, ny, nz), shine(nx, ny, nz, x, y, gloss))
    if metal:
        # The flanks of a string mirror the dark between it and what it lies over: without that a thin one is lost over bright metal.
        flank = np.clip((np.abs(t) - FLANK) / (1 - FLANK), 0, 1)
        found = found[0] * np.where(radius[bar, None] < THIN, 1 - DARK * flank * flank * (3 - 2 * flank), 1), None
    half = np.array([_half_pixel(r, pixel) for r in radius])[bar, None]
    centre = (np.linspace(-1, 1, ACROSS + 1) * (1 + 0.999 * half) + 1) * (ACROSS / 2)
    low, high = (np.clip(centre + side * half * (ACROSS / 2), 0, ACROSS) for side in (-1, 1))
    averaged = [np.where(half > 0, _mean(table, low, high), table) if table is not None else None for table in found]
    split = np.cumsum(counts)[:-1]
    pieces = [[None] * len(rods) if table is None else np.split(table, split) for table in averaged]
    return [list(pair) for pair in zip(*pieces, strict=True)]


def _mean(table: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """The mean of each row of a table from ``low`` to ``high``, counted in columns, linear between them."""
    sums = np.concatenate((np.zeros((len(table), 1)), np.cumsum((table[:, 1:] + table[:, :-1]) / 2, axis=1, dtype=np.float64)), axis=1)

    def upto(end: np.ndarray) -> np.ndarray:
        i = np.minimum(end.astype(int), ACROSS - 1)
        a, b = np.take_along_axis(sums, i, axis=1), np.take_along_axis(sums, i + 1, axis=1)
        return a + (end - i) * (b - a)

    return (upto(high) - upto(low)) / np.maximum(high - low, 1e-9)
