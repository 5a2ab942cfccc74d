"""Which way the grain runs, and how strong the figure is."""

from __future__ import annotations

import cv2
import numpy as np

__all__ = ["figure_map", "grain_angle", "grain_map"]

Array = np.ndarray


def _tensor(bright: Array, open_: Array, px_per_mm: float, along: float) -> tuple[Array, Array, Array]:
    """Structure tensor of streaks (Bigun and Granlund 1987), xx, yy, xy, in axes of the picture.

    Curl lies across the grain and is often stronger; it is averaged out first,
    along the direction ``along``, degrees, that the grain is thought to have.
    """
    sigma = max(0.3 * px_per_mm, 0.6)
    soft = cv2.GaussianBlur(bright.astype(np.float32), (0, 0), sigma) - cv2.GaussianBlur(
        bright.astype(np.float32), (0, 0), 2.0 * px_per_mm)
    soft = cv2.filter2D(soft, cv2.CV_32F, _streak(2.6 * px_per_mm, along), borderType=cv2.BORDER_REFLECT)
    dx, dy = cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)
    k = 2 * int(np.ceil(2 * px_per_mm)) + 1
    inner = cv2.erode(open_.astype(np.uint8), np.ones((k, k), np.uint8), borderValue=0).astype(np.float32)
    return dx * dx * inner, dy * dy * inner, dx * dy * inner


def _streak(sigma: float, angle: float) -> Array:
    """A Gaussian line of that length and direction, for filter2D."""
    r = int(np.ceil(2.5 * sigma))
    y, x = np.mgrid[-r:r + 1, -r:r + 1].astype(np.float64)
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    line = np.exp(-0.5 * ((x * c + y * s) / sigma) ** 2 - 0.5 * ((y * c - x * s) / 0.6) ** 2)
    return (line / line.sum()).astype(np.float32)


def grain_angle(bright: Array, open_: Array, px_per_mm: float) -> tuple[float, float]:
    """The board's grain, degrees clockwise from x in -90..90, and how clear it is, 0..1.

    bright  (H, W) logarithm of brightness, light off; open_ (H, W) bool, where it is wood.

    Boards are cut along the grain: it is looked for within 35 degrees of the long side.
    """
    long = 0.0 if bright.shape[1] >= bright.shape[0] else 90.0
    turn, clear = 0.0, 0.0
    for _ in range(3):
        xx, yy, xy = (float(t.sum()) for t in _tensor(bright, open_, px_per_mm, long + turn))
        if xx + yy <= 0:
            return long, 0.0
        # The tensor points across the streaks.
        across = 0.5 * np.degrees(np.arctan2(2 * xy, xx - yy))
        turn = float((across + 90 - long + 90) % 180 - 90)
        clear = float(np.hypot(xx - yy, 2 * xy) / (xx + yy))
        if abs(turn) > 35:
            return long, 0.0
    return float((long + turn + 89.999) % 180 - 89.999), clear


def grain_map(bright: Array, open_: Array, px_per_mm: float, *, along: float = 0.0,
              reach: float = 12.0) -> tuple[Array, Array]:
    """The grain's direction at each place: twice-angle vectors (H, W, 2) float32, and their clearness (H, W).

    Averaged over ``reach`` mm, about the board's own direction ``along``. The
    vector is (cos 2a, sin 2a), so that a line and its reverse agree.
    """
    xx, yy, xy = (cv2.GaussianBlur(t, (0, 0), reach * px_per_mm) for t in _tensor(bright, open_, px_per_mm, along))
    total = np.maximum(xx + yy, 1e-12)
    double = np.stack([-(xx - yy), -2 * xy], -1)
    length = np.linalg.norm(double, axis=2)
    return double / np.maximum(length, 1e-12)[..., None], length / total


def figure_map(bright: Array, open_: Array, px_per_mm: float, grain: float = 0.0) -> Array:
    """Brightness of the figure, (H, W) float32: what changes over 2 to 12 mm along the grain, streaks averaged out.

    grain  degrees clockwise from x.
    """
    filled = np.where(open_, bright, np.median(bright[open_]) if open_.any() else 0).astype(np.float32)
    # Along the streaks there is no change but the figure's; a short average across them leaves them out.
    turned = filled if abs(grain) < 45 else filled.T
    s = px_per_mm
    fine = cv2.GaussianBlur(turned, (0, 0), sigmaX=0.8 * s, sigmaY=2.5 * s)
    slow = cv2.GaussianBlur(turned, (0, 0), sigmaX=5.0 * s, sigmaY=2.5 * s)
    out = fine - slow
    out = out if abs(grain) < 45 else out.T
    return np.ascontiguousarray(np.where(open_, out, 0), np.float32)
