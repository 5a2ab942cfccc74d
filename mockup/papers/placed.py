"""Items of a drawing, in its own mm, brought to a scale and a place on a page."""

from __future__ import annotations

from dataclasses import replace

from .page import Box, Image, Item, Line, Path, Text

__all__ = ["placed"]


def placed(item: Item, scale: float, dx: float, dy: float) -> Item:
    """An item of a drawing at 1 : scale on the page."""
    match item:
        case Path():
            return replace(item, lines=tuple(line / scale + (dx, dy) for line in item.lines), width=item.width / scale,
                           dash=tuple(v / scale for v in item.dash))
        case Text():
            return replace(item, x=item.x / scale + dx, y=item.y / scale + dy, size=item.size / scale)
        case Line():
            return replace(item, x0=item.x0 / scale + dx, y0=item.y0 / scale + dy, x1=item.x1 / scale + dx, y1=item.y1 / scale + dy,
                           width=item.width / scale)
        case Box() | Image():
            return replace(item, x=item.x / scale + dx, y=item.y / scale + dy, width=item.width / scale, height=item.height / scale)
    raise TypeError(f"not in a scaled drawing: {item!r}")
