"""What of a picture changed since the last one on the same canvas, so that one new knob does not draw a whole instrument anew.

Regions of layers are disjoint: a changed layer changes no pixel outside its own region.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..scene.values import Fitting, Part
from .boards import LoadedBoard
from .coarse import Coarse
from .pieces import Pieces

__all__ = ["Face", "Last"]


@dataclass(frozen=True, eq=False)
class Face:
    """A layer on a canvas and all that decides its pixels.

    colour  Lab that fills it, None for the part's own wood.
    fill    values that change with anything in what fills it.
    """

    part: Part | Fitting
    colour: tuple[float, float, float] | None
    board: LoadedBoard | None
    window: tuple[int, int, int, int]
    pieces: Pieces
    lighting: tuple[Coarse, Coarse | None]
    shade: Coarse | None
    fill: tuple

    def looks_like(self, other: Face) -> bool:
        """Whether another face on the same canvas has the same pixels."""
        # Fields come out of a Kept, so that the same ones are the same objects.
        return (self.pieces is other.pieces and self.lighting is other.lighting and self.shade is other.shade
                and self.fill == other.fill)


class Last:
    """The last picture of one side on one canvas, and the faces it was drawn from."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._held: tuple[tuple[Any, ...], tuple[Face, ...], np.ndarray] | None = None

    @property
    def empty(self) -> bool:
        """Whether there is no last picture."""
        return self._held is None

    def changed(self, base: tuple[Any, ...], faces: Sequence[Face]) -> tuple[np.ndarray | None, dict[int, tuple[int, int]] | None]:
        """The pixels to start from, and of each band with anything new the columns first..last of it.

        (None, None) when all is to be drawn: nothing is held, or the ground
        (``base``), the number of faces or any of their regions is another.
        """
        with self._lock:
            held = self._held
        if held is None or len(held[1]) != len(faces) or any(a.pieces is not b.pieces for a, b in zip(held[1], faces, strict=True)):
            return None, None
        if held[0][:-1] != base[:-1] or held[0][-1] is not base[-1]:
            return None, None
        dirty: dict[int, tuple[int, int]] = {}
        for old, new in zip(held[1], faces, strict=True):
            if new.looks_like(old):
                continue
            for n, band in enumerate(new.pieces.bands):
                if band:
                    a, b = dirty.get(n, (band[0].first, band[-1].last))
                    dirty[n] = (min(a, band[0].first), max(b, band[-1].last))
        return held[2], dirty

    def keep(self, base: tuple[Any, ...], faces: Sequence[Face], pixels: np.ndarray) -> None:
        """Hold a picture, which nobody may write into any more, in place of the one before."""
        with self._lock:
            self._held = (base, tuple(faces), pixels)
