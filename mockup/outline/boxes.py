"""Boxes (x0, y0, x1, y1) that meet, or do not."""

from __future__ import annotations

from typing import Any

__all__ = ["Box", "apart"]

Box = tuple[float, float, float, float]


def apart(boxes: list[tuple[Box, list[Any]]]) -> list[tuple[Box, list[Any]]]:
    """Boxes, each with a list, as few that do not meet: those that do become the box around both, with both lists."""
    found: list[tuple[Box, list[Any]]] = []
    for box, own in boxes:
        while True:
            n = next((n for n, (o, _) in enumerate(found) if o[0] < box[2] and o[2] > box[0] and o[1] < box[3] and o[3] > box[1]), None)
            if n is None:
                break
            other, its = found.pop(n)
            box, own = (min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]), max(box[3], other[3])), its + own
        found.append((box, own))
    return found
