"""What a finisher does to bare wood, as frozen values.

A finish is a tuple of these steps, first applied first. They carry numbers
only; ``engine`` gives them their effect. Values per band are in the order red,
green, blue, for the bands of ``bands``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["Burst", "Coat", "Film", "Finish", "GrainFill", "Paint", "RubbedEdge", "SandBack", "Stain", "StainStep",
           "Step", "Tint"]

Bands = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Stain:
    """A dye or pigment as it colours wood at strength 1.

    absorb   Kubelka-Munk absorption added per band, in units of the wood's
             own scattering, inside its surface.
    hide     0 for a dye; a pigment adds this much scattering per band and so
             hides figure.
    uptake   how strongly the place decides: 0 even, 1 follows figure, pores
             and earlywood as a water dye does.
    bend     per band, the power of the dose that absorption follows: 1 by
             Beer's law; less for a band that is wide against the dye's own.
    basis    where the values come from, in words.
    spread   CIEDE2000 within which 95 % of what this stain predicts should
             lie: measured where it was fitted, else stated by the library.
    """

    name: str
    words: str
    absorb: Bands
    hide: Bands = (0.0, 0.0, 0.0)
    uptake: float = 1.0
    bend: Bands = (1.0, 1.0, 1.0)
    basis: str = "from memory"
    spread: float = 7.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Film:
    """A clear coat.

    absorb   Beer-Lambert absorption per coat and per single pass, per band.
    wet      0..0.5, how far the first coat closes the step in refractive
             index between wood and air (k of the Saunderson form).
    basis    where the values come from, in words.
    spread   as for a stain.
    """

    name: str
    words: str
    absorb: Bands
    wet: float
    basis: str = "from memory"
    spread: float = 4.0


@dataclass(frozen=True, kw_only=True, slots=True)
class StainStep:
    """Stain over the whole part; strength 0 is bare, 1 the stain as named."""

    stain: Stain
    strength: float = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class SandBack:
    """Sand colour off the dense, raised parts; 0 nothing, 1 all but what soaked in."""

    amount: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GrainFill:
    """Paste in the pores: clear (lab None) or of one colour (Lab, D65); amount 1 fills them flush."""

    lab: tuple[float, float, float] | None = None
    amount: float = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Coat:
    """Coats of one film."""

    film: Film
    coats: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Tint:
    """A stain's colour sprayed in a film over sealed wood: translucent, even, hides nothing."""

    stain: Stain
    strength: float = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Burst:
    """Translucent colour that deepens toward the edge.

    width   mm from the edge at which the colour has faded to nothing.
    edge    mm from the edge within which it is full.
    rubbed  True when it is rubbed into bare wood by hand, not sprayed: it
            soaks in as a stain does and its fade is less even.
    """

    stain: Stain
    strength: float = 1.0
    width: float = 75.0
    edge: float = 8.0
    rubbed: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class RubbedEdge:
    """Colour rubbed through at the edge until bare wood shows; amount 1 all of it, gone ``width`` mm in."""

    width: float = 6.0
    amount: float = 0.7


@dataclass(frozen=True, kw_only=True, slots=True)
class Paint:
    """Paint of one colour (Lab, D65); cover 1 hides the wood, below 1 lets it through."""

    lab: tuple[float, float, float]
    cover: float = 1.0
    words: str = "paint"


Step = StainStep | SandBack | GrainFill | Coat | Tint | Burst | RubbedEdge | Paint


@dataclass(frozen=True, kw_only=True, slots=True)
class Finish:
    """Ordered steps and the sheen of the last surface in gloss units at 60 degrees."""

    steps: tuple[Step, ...] = field(default=())
    sheen: float = 20.0
