"""The head of a neck, its tuner posts, and the way each string takes to its post."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mockup.outline.cut import width_at
from mockup.outline.figures import many, outline
from mockup.outline.flatten import bezier_points
from mockup.outline.neck import Layout
from mockup.outline.shape import Shape

__all__ = ["ROUND", "Post", "crowding", "plain_head", "posts", "stub"]

ROUND = 2.2  # mm beside its middle that a string meets its post
APART = 10.4  # mm between the middles of two posts: their washers are 10
TOUCH = 3.9  # mm from the middle of a post to the edge of its nut
CLEAR = 6.6  # mm from a string to the middle of a post it passes: the nut around that is 3.9, and 2 are air


@dataclass(frozen=True)
class Post:
    """A tuner: its post, the edge of the head beside it, and -1 for the left side, 1 for the right."""

    at: tuple[float, float]
    edge: float
    side: int


def plain_head(layout: Layout, length: float, width: float, end: float, nut: float) -> Shape:
    """A plain paddle: it swells from the neck to ``width``, tapers to ``end`` and closes in a shallow arc.

    length  from the fretboard side of the nut to the tip; nut its thickness.
    """
    (ax, ay), (bx, by) = layout.fret_line(0)
    c, tip = layout.centre, min(ay, by) - length
    swell = min(34.0, length * 0.3)
    right = _side((bx, by - nut), (c + width / 2, by - nut - swell), (c + end / 2, tip + 6))
    left = _side((ax, ay - nut), (c - width / 2, ay - nut - swell), (c - end / 2, tip + 6))
    arc = bezier_points(np.array([right[-1], (c + end / 6, tip - 3), (c - end / 6, tip - 3), left[-1]]), 40)
    ring = np.concatenate(([(bx, by)], right, arc, left[::-1][1:], [(ax, ay)]))
    return outline(ring[np.r_[True, np.abs(np.diff(ring, axis=0)).max(axis=1) > 1e-7]])


def _side(start, wide, last) -> np.ndarray:
    """From the nut out to the widest place in an S, then along the taper."""
    (x0, y0), (x1, y1) = start, wide
    swell = np.array([start, (x0, y0 + 0.55 * (y1 - y0)), (x1, y1 + 0.5 * (y0 - y1)), wide])
    taper = np.array([wide, (x1, y1 - 0.25 * (y1 - last[1])), (last[0], last[1] + 0.4 * (y1 - last[1])), last])
    return np.concatenate(([start], bezier_points(swell, 60), bezier_points(taper, 60)))


def stub(layout: Layout, length: float) -> Shape:
    """The end of a neck without a head, ``length`` mm above the nut."""
    (a, b), (d, c) = layout.fret_line(0, -length), layout.fret_line(0)
    body = outline([a, b, c, d])
    soft = body.inset(3.0)
    return many([outline([((a[0] + d[0]) / 2, (a[1] + d[1]) / 2), ((b[0] + c[0]) / 2, (b[1] + c[1]) / 2), c, d]),
                 soft.inset(-3.0) if soft is not None else body])


def _passes(slot: np.ndarray, end: tuple[float, float], post: tuple[float, float]) -> float:
    """mm between the middle of a post and a string from its slot in the nut to where it meets its own."""
    run = np.array(end) - slot
    t = float(np.clip(np.dot(np.array(post) - slot, run) / np.dot(run, run), 0, 1))
    return float(np.hypot(*(slot + t * run - post)))


def posts(head: Shape, layout: Layout, left: int, right: int, *, first: float, pitch: float, inset: float) -> tuple[Post, ...]:
    """Posts of the strings in their order, lowest first; None is left out where the head ends before.

    first  mm from the nut to the nearest posts; pitch between those of one side; inset from the edge.
    The lowest string takes the left post nearest the nut, the highest the right one. A post
    moves further in where its string would else touch one it passes.
    """
    found: list[Post] = []
    nut, _ = layout.ends()
    for side, count in ((-1, left), (1, right)):
        row: list[Post] = []
        for n in range(count):
            y = layout.fret_line(0)[0 if side < 0 else 1][1] - first - n * pitch
            edges = width_at(head, y)
            if edges is None:
                return ()
            edge = edges[0] if side < 0 else edges[1]
            x, slot = edge - side * inset, nut[n if side < 0 else layout.strings - 1 - n]
            while any(_passes(slot, (x - side * ROUND, y), p.at) < CLEAR for p in row) and abs(x - edge) < 0.45 * (edges[1] - edges[0]):
                x -= side * 0.25
            row.append(Post((x, y), edge, side))
        # On the right the highest string is nearest the nut.
        found += row if side < 0 else row[::-1]
    return tuple(found)


def crowding(found: Sequence[Post], layout: Layout) -> str:
    """What is in the way on a head with these posts, lowest string first, in a sentence; "" where all have room."""
    nut, _ = layout.ends()
    for n, post in enumerate(found):
        for k in range(n):
            away = float(np.hypot(*np.subtract(post.at, found[k].at)))
            if away < APART:
                return f"The posts of strings {k + 1} and {n + 1} stand {away:.1f} mm apart."
    for n, post in enumerate(found):
        end = (post.at[0] - post.side * ROUND, post.at[1])
        for k, other in enumerate(found):
            if k != n and _passes(nut[n], end, other.at) < TOUCH:
                return f"String {n + 1} runs over the post of string {k + 1}."
    return ""
