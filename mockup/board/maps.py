"""A board as a coarse map for choosing a cut: brightness, figure, grain, and what to avoid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from mockup.board.grain import figure_map, grain_angle, grain_map
from mockup.colour.spaces import linear_to_lab, luminance
from mockup.errors import MockupError

__all__ = ["Knot", "WoodMaps", "find_knots", "map_board"]

Array = np.ndarray

_FINE = 2.0     # px/mm at which streaks and knots are looked at
_DEEP = 0.30    # logarithm of darkness that makes a spot a knot


@dataclass(frozen=True, slots=True)
class Knot:
    """A round dark spot: middle and half width, mm on the board."""

    x: float
    y: float
    reach: float


@dataclass(frozen=True, slots=True)
class WoodMaps:
    """Maps of a board at ``px_per_mm``, its top left corner at (0, 0).

    lightness  (H, W) float32, L* of the wood, streaks included.
    strength   (H, W) float32, local strength of the figure, in logarithms of brightness.
    grain      (H, W, 2) float32, twice-angle vectors times their clearness.
    shut       (H, W) bool, no part may lie there: knots, paper, glare, keep-outs.
    along      degrees, the board's own grain.
    """

    px_per_mm: float
    size_mm: tuple[float, float]
    lightness: Array
    strength: Array
    grain: Array
    shut: Array
    along: float
    knots: tuple[Knot, ...]


def find_knots(bright: Array, open_: Array, px_per_mm: float, along: float) -> tuple[Knot, ...]:
    """Knots in logarithms of brightness (H, W); ``along`` is the grain, degrees.

    A knot is much darker than the wood around and about as long as wide; a
    mineral streak is long along the grain, and is left to the maker's eye.
    """
    if not open_.any():
        return ()
    filled = np.where(open_, bright, np.median(bright[open_])).astype(np.float32)
    soft = cv2.GaussianBlur(filled, (0, 0), 0.6 * px_per_mm)
    around = cv2.GaussianBlur(filled, (0, 0), 14 * px_per_mm)
    low = around - soft
    scatter = 1.48 * float(np.median(np.abs(low[open_] - np.median(low[open_]))))
    spots = ((low > max(_DEEP, 4.5 * scatter)) & open_).astype(np.uint8)
    k = 2 * int(round(0.5 * px_per_mm)) + 1
    spots = cv2.morphologyEx(spots, cv2.MORPH_CLOSE, np.ones((k, k), np.uint8))
    count, labels, stats, middles = cv2.connectedComponentsWithStats(spots, connectivity=8)
    out = []
    c, s = np.cos(np.radians(along)), np.sin(np.radians(along))
    for n in range(1, count):
        area = stats[n, cv2.CC_STAT_AREA] / px_per_mm ** 2
        if area < 2.5:
            continue
        y, x = np.nonzero(labels == n)
        x, y = (x + 0.5) / px_per_mm, (y + 0.5) / px_per_mm
        long, wide = np.ptp(x * c + y * s) + 0.5, np.ptp(y * c - x * s) + 0.5
        if long < 4.0 * wide and area > 0.3 * long * wide:
            out.append(Knot(float(middles[n][0] + 0.5) / px_per_mm, float(middles[n][1] + 0.5) / px_per_mm,
                            float(max(long, wide) / 2)))
    return tuple(sorted(out, key=lambda k: -k.reach))


def map_board(pixels: Array, mm_per_pixel: float, *, usable: Array | None = None, grain: float | None = None,
              keep_out: Sequence[tuple[float, float, float]] = (), knots: bool = True,
              px_per_mm: float = 0.5) -> WoodMaps:
    """Maps of a board's picture (H, W, 3) uint16 linear.

    usable    (h, w) bool of any size over the whole picture, False where no part may lie.
    grain     degrees clockwise from x; None measures it.
    keep_out  (x, y, radius) mm the maker marked.
    knots     whether knots found are avoided.

    Raises MockupError for a picture too small to choose from.
    """
    height, width = pixels.shape[:2]
    size = (width * mm_per_pixel, height * mm_per_pixel)
    if min(size) < 30:
        raise MockupError(f"The board is only {size[0]:.0f} x {size[1]:.0f} mm.", fix="Check its mm per pixel.",
                          where="mm_per_pixel")
    fine = min(_FINE, 1 / mm_per_pixel)
    shape = (max(1, round(size[0] * fine)), max(1, round(size[1] * fine)))
    light = cv2.resize(pixels, shape, interpolation=cv2.INTER_AREA).astype(np.float32) / 65535
    open_ = np.ones(shape[::-1], bool) if usable is None else cv2.resize(
        np.asarray(usable).astype(np.uint8), shape, interpolation=cv2.INTER_NEAREST).astype(bool)
    bright = np.log(np.maximum(luminance(light), 1e-3)).astype(np.float32)
    along = grain_angle(bright, open_, fine)[0] if grain is None else float(grain)
    found = find_knots(bright, open_, fine, along) if knots else ()
    figure = figure_map(bright, open_, fine, along)
    strength = np.sqrt(cv2.GaussianBlur(figure * figure, (0, 0), 6.0 * fine))
    vectors, clear = grain_map(bright, open_, fine, along=along)
    coarse = (max(1, round(size[0] * px_per_mm)), max(1, round(size[1] * px_per_mm)))
    down = lambda a: cv2.resize(np.ascontiguousarray(a, np.float32), coarse, interpolation=cv2.INTER_AREA)
    shut = down((~open_).astype(np.float32)) > 0.02
    y, x = np.mgrid[:coarse[1], :coarse[0]]
    x, y = (x + 0.5) * size[0] / coarse[0], (y + 0.5) * size[1] / coarse[1]
    # A knot's grain swerves around it: keep clear of it by half its width.
    for cx, cy, r in (*keep_out, *((k.x, k.y, 1.5 * k.reach) for k in found)):
        shut |= (x - cx) ** 2 + (y - cy) ** 2 < (r + 0.5 / px_per_mm) ** 2
    lightness = linear_to_lab(np.maximum(down(light), 1e-4))[..., 0].astype(np.float32)
    return WoodMaps(px_per_mm, size, lightness, down(strength), down(vectors * clear[..., None]), shut, along, found)
