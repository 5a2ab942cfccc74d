"""A sample strip: one board, stained in steps of strength, as a finisher makes one."""

from __future__ import annotations

import numpy as np

from .axes import WoodAxes
from .bake import engine_colour
from .reach import Places
from .steps import Coat, Film, Finish, Stain, StainStep

__all__ = ["STRENGTHS", "finish_strip", "stain_strip"]

Array = np.ndarray

STRENGTHS = (0.0, 0.15, 0.35, 0.65, 1.0)
GAP = 0.006  # share of the length that tape kept bare between two steps


def stain_strip(stain: Stain, axes: WoodAxes, places: Places, *, film: Film | None = None, coats: int = 3,
                strengths: tuple[float, ...] = STRENGTHS) -> Array:
    """Finished linear sRGB (H, W, 3) float32 of a piece of a board, stained in equal steps along its longer side.

    places  t, c, w, r (H, W) of the piece.
    film    over all of it; None leaves it dry.
    """
    over = () if film is None else (Coat(film=film, coats=coats),)
    return finish_strip(tuple(Finish(steps=(StainStep(stain=stain, strength=s), *over)) for s in strengths), axes, places,
                        between=Finish(steps=over))


def finish_strip(finishes: tuple[Finish, ...], axes: WoodAxes, places: Places, *, between: Finish | None = None) -> Array:
    """As ``stain_strip``, for any finishes side by side; ``between`` is what the lines under the tape got."""
    height, width = places[0].shape
    along, length = (1, width) if width >= height else (0, height)
    edges = np.round(np.linspace(0, length, len(finishes) + 1)).astype(int)
    gap = max(1, round(GAP * length)) if between is not None and len(finishes) > 1 else 0
    out = np.empty((height, width, 3), np.float32)

    def lay(finish: Finish, first: int, last: int) -> None:
        where = (slice(None), slice(first, last)) if along else (slice(first, last), slice(None))
        out[where] = engine_colour(finish, axes, *(v[where] for v in places))

    for finish, a, b in zip(finishes, edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        lay(finish, a, b)
    if gap and between is not None:
        for edge in edges[1:-1].tolist():
            lay(between, edge - gap // 2, edge - gap // 2 + gap)
    return out
