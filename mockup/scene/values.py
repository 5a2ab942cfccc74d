"""A scene as frozen values, made once and checked by then.

Lengths are mm, angles degrees clockwise as seen, y runs down, colours Lab D65.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..errors import MockupError, nearest
from ..finish.steps import Finish
from ..outline.shape import Shape

__all__ = ["Binding", "BoardRef", "Edge", "Part", "Placement", "Scene", "Variant"]

Lab = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardRef:
    """A calibrated picture of wood, known but not yet read.

    path          the picture.
    mm_per_pixel  of that picture, both ways.
    wood          its kind, in words.
    actual        True when this very board will be used; False when it stands for its kind.
    grain         degrees; 0 = along x of the picture, 90 = along y.
    size_mm       (width, height) of the picture.
    """

    name: str
    path: Path
    mm_per_pixel: float
    wood: str
    actual: bool
    grain: float
    size_mm: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Placement:
    """Where on its board a part is cut.

    A drawing point p lies over the board point ``at + R (p - anchor)``, R a
    turn by ``turn``. The anchor is the middle of the outline's box for a
    single piece; for two matched pieces it is the point of the joint line at
    the middle height of that box.

    The piece right of the joint lies on the board as drawn; the left one is of
    the same wood, so the board need only hold the wider of the two.

    at     x, y on the board from the top left corner of its picture.
    turn   degrees, the part on the board, clockwise as seen.
    cut    "single", "bookmatch" (the left piece is the right one mirrored) or
           "slipmatch" (the left piece is the right one slid across).
    joint  x of the joint line in the drawing.
    slip   how far down the board, along the joint, the left piece is taken.
    """

    at: tuple[float, float]
    turn: float
    cut: str
    joint: float
    slip: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Edge:
    """How the edge is broken: radius of the roundover in mm, 0 for a sharp edge."""

    roundover: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Binding:
    """A strip let into the edge: its width, its colour, and the dark line inside it (0 for none)."""

    width: float
    lab: Lab
    line: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Part:
    """One piece of the instrument as it is seen.

    shape   in drawing mm, already mirrored for the left hand.
    height  of its top surface above the bench, for shadows.
    side    "front", "back" or "both": the views it is seen in.
    """

    name: str
    title: str
    shape: Shape
    board: str
    placement: Placement
    finish: Finish
    edge: Edge
    binding: Binding | None
    height: float
    side: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Variant:
    """The scene with some values changed, by their paths in the file."""

    name: str
    title: str
    why: str
    changes: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """One instrument, with one choice of every value.

    parts     back to front.
    variants  all that the file names.
    variant   the one whose changes are in force, None for the file as it stands.
    sources   every file read for this choice, by the name used in the scene.
    resolved  every value after defaults, plain and JSON-ready; no path of this machine.
    views     variant name to the scene with it applied; made when the file was checked.
    """

    name: str
    title: str
    revision: str
    client: str
    date: str | None
    hand: str
    centre: float
    ground: Lab
    folder: Path
    file: Path
    boards: Mapping[str, BoardRef]
    parts: tuple[Part, ...]
    variants: tuple[Variant, ...]
    sources: Mapping[str, Path]
    resolved: dict[str, Any]
    variant: Variant | None = None
    views: Mapping[str, Scene] = field(default_factory=lambda: MappingProxyType({}), repr=False)

    def with_variant(self, name: str) -> Scene:
        """The scene with that variant's changes in place of any now in force; MockupError for an unknown name."""
        try:
            return self.views[name]
        except (KeyError, TypeError):
            fix = nearest(str(name)[:60], self.views) or "Add it under [variants] in the scene file."
            raise MockupError(f'There is no variant "{str(name)[:60]}".', fix=fix, where=self.file.name) from None
