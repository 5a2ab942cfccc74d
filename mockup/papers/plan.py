"""A drawing at true size, in mm of the instrument or of a board, and what of it shows through a window on paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from .page import INK, WHITE, Box, Image, Item, Line, Path, Text
from .strokes import clipped_runs

__all__ = ["Plan", "outlined", "through_window"]

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """``items`` placed in drawing mm, first at the bottom.

    box         what must be on paper.
    px_per_mm   of its picture; ``origin`` is the drawing point at the outer corner of the picture's first pixel.
    wanted      curves (N, 2) of which something must show for a sheet to be worth printing.
    small       the curves that the map of sheets shows; all that are wanted for ().
    """

    box: Bounds
    items: tuple[Item, ...]
    px_per_mm: float
    origin: tuple[float, float]
    wanted: tuple[np.ndarray, ...] = ()
    small: tuple[np.ndarray, ...] = ()


def outlined(curves: list[np.ndarray], *, pictured: bool) -> list[Item]:
    """Closed curves as thin ink; over a picture on a white bed, so that they show on dark wood too."""
    line = Path(tuple(curves), 0.2, INK, closed=True)
    return [Path(tuple(curves), 0.7, WHITE, closed=True), line] if pictured else [line]


def through_window(items: Iterable[Item], window: Bounds, at: tuple[float, float]) -> list[Item]:
    """The items as seen through a window (x0, y0, x1, y1) whose top left corner lies at ``at`` on the page.

    Paths and rules end at the window, pictures at the pixel nearest to it,
    and words that do not lie in it whole are left out, with the bed under them.
    """
    items = tuple(items)
    x0, y0, x1, y1 = window
    dx, dy = at[0] - x0, at[1] - y0
    seen: list[Item] = []
    for item, after in zip(items, (*items[1:], None), strict=True):
        a, b, c, d = item.bounds
        if a >= x1 or c <= x0 or b >= y1 or d <= y0:
            continue
        whole = a >= x0 and c <= x1 and b >= y0 and d <= y1
        match item:
            case Text():
                if whole:
                    seen.append(replace(item, x=item.x + dx, y=item.y + dy))
            case Line():
                seen.append(replace(item, x0=min(max(item.x0, x0), x1) + dx, x1=min(max(item.x1, x0), x1) + dx,
                                    y0=min(max(item.y0, y0), y1) + dy, y1=min(max(item.y1, y0), y1) + dy))
            case Box():
                if isinstance(after, Text) and _inside(after.bounds, item.bounds) and not _inside(after.bounds, window):
                    continue
                left, top = max(a, x0), max(b, y0)
                seen.append(Box(left + dx, top + dy, min(c, x1) - left, min(d, y1) - top, item.fill))
            case Image():
                seen.append(_cropped(item, window, dx, dy))
            case Path():
                lines = item.lines if whole else clipped_runs(item.lines, window, closed=item.closed)
                if lines:
                    # What is cut open cannot be filled; only marks inside a window are.
                    seen.append(replace(item, lines=tuple(line + (dx, dy) for line in lines), closed=item.closed and whole,
                                        fill=item.fill if whole else None))
    return seen


def _inside(inner: Bounds, outer: Bounds) -> bool:
    return inner[0] >= outer[0] and inner[1] >= outer[1] and inner[2] <= outer[2] and inner[3] <= outer[3]


def _cropped(item: Image, window: Bounds, dx: float, dy: float) -> Image:
    """The pixels of a picture that a window shows, at their own place to the last digit."""
    height, width = item.pixels.shape[:2]
    sx, sy = width / item.width, height / item.height
    left, right = (min(max(round((x - item.x) * sx), 0), width) for x in (window[0], window[2]))
    top, bottom = (min(max(round((y - item.y) * sy), 0), height) for y in (window[1], window[3]))
    right, bottom = max(right, left + 1), max(bottom, top + 1)
    return Image(item.x + left / sx + dx, item.y + top / sy + dy, (right - left) / sx, (bottom - top) / sy,
                 item.pixels[top:bottom, left:right])
