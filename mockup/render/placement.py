"""From the drawing to the board: which piece of wood lies under each point of a part."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import Problem, listed
from ..outline.shape import Shape
from ..scene.values import Part

__all__ = ["Leaf", "leaves", "missing_wood"]


@dataclass(frozen=True)
class Leaf:
    """A piece of board in a part: ``board = matrix @ drawing + offset`` in mm, for drawing x within ``span``.

    second  True for the other leaf of a matched pair.
    """

    matrix: np.ndarray
    offset: np.ndarray
    span: tuple[float, float]
    second: bool = False

    def to_board(self, points: np.ndarray) -> np.ndarray:
        """Drawing points (..., 2) in mm to board points in mm."""
        return points @ self.matrix.T + self.offset


def leaves(part: Part) -> tuple[Leaf, ...]:
    """One leaf for a single piece, two for a matched pair split at the joint.

    The part is turned clockwise on the board by ``turn``; its anchor lies on
    ``at``. In a bookmatch the left leaf is the right one seen in a mirror
    that stands on the joint; in a slipmatch it is the right one slid over by
    its own width. Either is moved along the joint by ``slip``.
    """
    p, (x0, y0, x1, y1) = part.placement, (part.whole or part.shape).bounds
    if p.behind is not None:
        x0, x1 = 2 * p.behind - x1, 2 * p.behind - x0
    angle = math.radians(p.turn)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    if p.turn % 90 == 0:
        turn = np.round(turn)  # exact, so that straight cuts copy pixels
    matched = p.cut != "single"
    anchor = np.array([p.joint if matched else (x0 + x1) / 2, (y0 + y1) / 2])
    at = np.array(p.at, np.float64)
    if not matched:
        return _seen(p.behind, (Leaf(turn, at - turn @ anchor, (-math.inf, math.inf)),))
    right = Leaf(turn, at - turn @ anchor, (p.joint, math.inf))
    if p.cut == "bookmatch":
        mirror = np.diag([-1.0, 1.0])
        left = Leaf(turn @ mirror, at + turn @ (np.array([2 * p.joint, p.slip]) - anchor), (-math.inf, p.joint), second=True)
    else:
        left = Leaf(turn, at + turn @ (np.array([p.joint - x0, p.slip]) - anchor), (-math.inf, p.joint), second=True)
    return _seen(p.behind, (right, left))


def _seen(behind: float | None, leaves: tuple[Leaf, ...]) -> tuple[Leaf, ...]:
    """Leaves as seen: from behind, in a mirror that stands on x = ``behind``."""
    if behind is None:
        return leaves
    flip = np.diag([-1.0, 1.0])
    return tuple(Leaf(leaf.matrix @ flip, leaf.offset + leaf.matrix @ np.array([2 * behind, 0.0]),
                      (2 * behind - leaf.span[1], 2 * behind - leaf.span[0]), leaf.second) for leaf in leaves)


def _within(ring: np.ndarray, span: tuple[float, float]) -> np.ndarray:
    """The points of a ring inside a span of x, with its crossings of the span's ends."""
    points = [ring[(ring[:, 0] >= span[0]) & (ring[:, 0] <= span[1])]]
    a, b = ring, np.roll(ring, -1, axis=0)
    for end in span:
        if math.isfinite(end):
            cross = (a[:, 0] - end) * (b[:, 0] - end) < 0
            share = (end - a[cross, 0]) / (b[cross, 0] - a[cross, 0])
            points.append(a[cross] + share[:, None] * (b[cross] - a[cross]))
    return np.concatenate(points)


def missing_wood(part: Part, shape: Shape, size_mm: tuple[float, float], board: str) -> list[Problem]:
    """One problem for each leaf that runs off the board, with the mm missing on each side."""
    problems = []
    for leaf in leaves(part):
        points = np.concatenate([_within(ring, leaf.span) for ring in shape.rings])
        if not len(points):
            continue
        on_board = leaf.to_board(points)
        low, high = on_board.min(axis=0), on_board.max(axis=0)
        over = {"left": -low[0], "top": -low[1], "right": high[0] - size_mm[0], "bottom": high[1] - size_mm[1]}
        missing = [f"{mm:.1f} mm on the {side}" for side, mm in over.items() if mm > 0.01]
        if missing:
            need = high - low
            fits = need[0] <= size_mm[0] + 0.01 and need[1] <= size_mm[1] + 0.01
            which = " (the left leaf)" if leaf.second else ""
            # Where it does fit, say how far to slide; where it cannot, say what size it takes.
            shift = [max(-lo, 0) - max(hi - s, 0) for lo, hi, s in zip(low, high, size_mm, strict=True)]
            fix = (f"Move `at` to [{part.placement.at[0] + shift[0]:.1f}, {part.placement.at[1] + shift[1]:.1f}]." if fits else
                   f"The part needs {need[0]:.0f} x {need[1]:.0f} mm and the board is {size_mm[0]:.0f} x {size_mm[1]:.0f} mm: "
                   "turn it, take a larger board, or draw one with \"mockup wood make\".")
            problems.append(Problem(f'The part runs off the board "{board}"{which}: {listed(missing)} missing.', fix,
                                    f"parts.{part.name}.at"))
    return problems
