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

__all__ = ["Binding", "BoardRef", "Contour", "CutOut", "Edge", "Fitting", "Form", "Material", "Part", "Placement", "Scene", "Variant"]

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
    unmeasured    its colour is as a camera showed it: nothing in the photo told what it really is.
    """

    name: str
    path: Path
    mm_per_pixel: float
    wood: str
    actual: bool
    grain: float
    size_mm: tuple[float, float]
    unmeasured: bool = False


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
    behind x of the mirror when the part is seen from behind, else None.
    """

    at: tuple[float, float]
    turn: float
    cut: str
    joint: float
    slip: float
    behind: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Edge:
    """How the edge is broken: radius of the roundover in mm, 0 for a sharp edge; or the width of a flat bevel."""

    roundover: float
    bevel: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Contour:
    """Wood cut away in a smooth hollow: deepest (``depth`` mm) far inside ``shape``, nothing at its edge.

    The shape reaches beyond the part, so that the hollow runs out over the edge:
    a belly cut on the back, a rest for the forearm on the front.
    """

    shape: Shape
    depth: float
    side: str


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Form:
    """The shape of a face where it is not flat.

    dome      mm by which a carved top rises toward its middle; ``reach`` is how far in from the edge it does so.
    radius    of a fretboard's face, a cylinder along y over the line x = ``axis``; 0 for a flat one.
    barrel    from which y to which y the back of a neck is round, or None; seen from behind only.
    contours  hollows.
    """

    dome: float = 0.0
    reach: float = 60.0
    radius: float = 0.0
    axis: float = 0.0
    barrel: tuple[float, float] | None = None
    contours: tuple[Contour, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Material:
    """What a fitting is made of.

    kind   "metal" (mirrors the room, tinted) or "plastic" (a colour under a clear surface).
    lab    of the metal's reflectance, or of the plastic.
    gloss  gloss units at 60 degrees as for a finish; metals use it for how sharply they mirror.
    """

    name: str
    kind: str
    lab: Lab
    gloss: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Binding:
    """A strip let into the edge: its width and colour, and what lies inside it: one dark line, or purfling.

    line      mm of the dark line, 0 for none.
    purfling  in place of one line, several side by side, from the binding inward: (mm, Lab) each.
    """

    width: float
    lab: Lab
    line: float
    purfling: tuple[tuple[float, Lab], ...] = ()

    @property
    def depth(self) -> float:
        """mm from the edge to the wood inside all of it."""
        return self.width + self.line + sum(width for width, _ in self.purfling)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Part:
    """One piece of the instrument as it is seen.

    shape   in drawing mm, already mirrored for the left hand.
    height  of its top surface above the bench, for shadows; ``below`` that of its lower one.
    side    "front", "back" or "both": the views it is seen in.
    whole   the shape whose edge and form the part's light follows, where the part is a strip of it.
    lines   x of glue lines along the part.
    edged   the shape whose edge the part has, where it goes on under another (a heel under the body, a fretboard under the nut), or
            where it stands on its whole.
    of_neck whether the program made it as part of the neck.
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
    below: float = 0.0
    form: Form = Form()
    whole: Shape | None = None
    lines: tuple[float, ...] = ()
    edged: Shape | None = None
    of_neck: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class CutOut:
    """A picture of a part, cut out of its background: lit already, so that only shadows fall on it.

    at      the drawing point under the picture's middle; turn degrees clockwise as seen.
    behind  x of the mirror when it is seen from behind, else None.
    """

    path: Path
    mm_per_pixel: float
    at: tuple[float, float]
    turn: float
    behind: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Fitting:
    """A piece that is not of wood: of one material, flat with a rounded edge, or made of round bars.

    part    name of the table of ``[parts]`` it comes from; several pieces may share one.
    rods    straight bars, each x0, y0, x1, y1, radius in mm, that ``shape`` is the outline of.
    spun    turned on a lathe.
    photo   a picture that fills it in place of its material.
    height, below, side, form  as for a part.
    """

    name: str
    part: str
    title: str
    shape: Shape
    material: Material
    edge: Edge
    height: float
    below: float
    side: str
    rods: tuple[tuple[float, float, float, float, float], ...] = ()
    spun: bool = False
    form: Form = Form()
    photo: CutOut | None = None


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

    parts     of wood, back to front.
    fittings  the rest: metal, bone, plastic; back to front.
    order     parts and fittings together, back to front.
    variants  all that the file names.
    variant   the one whose changes are in force, None for the file as it stands.
    sources   every file read for this choice, by the name used in the scene.
    resolved  every value after defaults, plain and JSON-ready; no path of this machine.
    notes     what was done to its drawings, in words.
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
    order: tuple[Part | Fitting, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        # A scene made with other parts than another (``replace``) keeps that one's fittings.
        if tuple(p for p in self.order if isinstance(p, Part)) != self.parts:
            named = {p.name: p for p in self.parts}
            if [p.name for p in self.order if isinstance(p, Part)] == list(named):
                order = tuple(named[p.name] if isinstance(p, Part) else p for p in self.order)
            else:
                order = (*self.parts, *(p for p in self.order if isinstance(p, Fitting)))
            object.__setattr__(self, "order", order)

    @property
    def fittings(self) -> tuple[Fitting, ...]:
        """What is not of wood, back to front."""
        return tuple(p for p in self.order if isinstance(p, Fitting))

    def with_variant(self, name: str) -> Scene:
        """The scene with that variant's changes in place of any now in force; MockupError for an unknown name."""
        try:
            return self.views[name]
        except (KeyError, TypeError):
            fix = nearest(str(name)[:60], self.views) or "Add it under [variants] in the scene file."
            raise MockupError(f'There is no variant "{str(name)[:60]}".', fix=fix, where=self.file.name) from None
