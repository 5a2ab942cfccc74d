"""A species of wood as frozen values, read from a small TOML file.

Copy one of the files in ``mockup/wood/species/``, change its numbers, and a
new wood exists. Everything is in mm and CIE Lab (D65); a table left out keeps
the defaults below.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, field, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from mockup.errors import MockupError, Problem, nearest

__all__ = ["Bands", "Faults", "Fibres", "Figure", "Ink", "Light", "Pores", "Rays", "Rings",
           "Species", "load_species", "read_species", "species_names"]

Lab = tuple[float, float, float]
FOLDER = Path(__file__).parent / "species"


@dataclass(frozen=True, kw_only=True, slots=True)
class Rings:
    """Growth rings: their widths, and the change of colour across each."""

    kind: str = "diffuse"      # diffuse, semi, ring (porous) or soft
    width: float = 2.6         # mean ring width, mm
    spread: float = 0.3        # of the logarithm of the width
    line: float = 0.3          # thickness of the line at ring end, mm (soft: latewood share)
    early: float = 0.8         # earlywood of ring-porous woods, mm
    lab: Lab = (-4.0, 1.5, 3.0)  # latewood minus earlywood
    uneven: float = 0.35       # ring-to-ring variation of that contrast
    lean: float = 0.06         # slope of the pith against the board, makes the arches
    sway: float = 1.2          # mm, waviness of the rings over a hand's width
    ripple: float = 0.28       # mm, over a thumb's width
    ragged: float = 0.06       # mm, furrows along the stem: each year dips where the year before did
    own: float = 0.07          # mm, by which each ring wavers for itself
    torn: float = 0.015        # mm, along single fibres
    kinks: float = 1.5         # per dm²: places where fibres and rings dip together and heal


@dataclass(frozen=True, kw_only=True, slots=True)
class Bands:
    """Colour bands that follow the rings."""

    widths: tuple[tuple[float, float], ...] = ((8.0, 1.0), (2.5, 0.6))  # (mm, weight)
    lab: Lab = (-0.8, 0.2, 0.4)  # change per unit


@dataclass(frozen=True, kw_only=True, slots=True)
class Fibres:
    """Streaks and clouds of the ground, and how straight the grain runs."""

    lab: Lab = (-1.0, 0.2, 0.4)     # change per unit of fibre noise
    mottle: float = 0.4             # weight of short, cloth-like variation
    streak: float = 0.5             # weight of streaks over 2 mm wide
    blotch: Lab = (-0.7, 0.2, 0.3)  # clouds of a hand's width
    hue: tuple[float, float] = (0.35, 0.75)  # a* and b* of streaks that change no lightness
    wander: float = 1.2             # mm, waviness of the grain over the board
    plain: float = 1.2              # degrees, slow run-out of the fibre


@dataclass(frozen=True, kw_only=True, slots=True)
class Pores:
    """One kind of pore; a wood may have several."""

    density: float            # candidates per mm²
    diameter: float           # mm
    length: float             # longest trace on the face, mm
    early: float = 1.0        # share kept in earlywood
    late: float = 0.5         # share kept in latewood
    dark: float = 0.5         # absorption at the middle of a pore
    tint: Lab = (0.85, 1.0, 1.15)  # weights of R, G, B
    lit: float = 0.1          # brightness of the sunlit wall beside it
    string: float = 4.0       # how often one vessel opens to the face, on average


@dataclass(frozen=True, kw_only=True, slots=True)
class Rays:
    """Rays: dashes on a flat-sawn face, silvery fleck on a quartered one."""

    density: float = 0.0      # per mm² on a flat-sawn face
    length: float = 0.5       # mm
    width: float = 0.085      # mm
    dark: float = 0.2
    fleck: float = 0.0        # strength of silvery fleck on a quartered face, L*
    fleck_size: tuple[float, float] = (1.1, 0.22)  # mm across, along the grain
    ripple: float = 0.0       # L* of the fine lines across the grain where rays lie in storeys or the fibre shivers
    storey: float = 1.1       # mm from one such line to the next


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """Waves of the fibres across the grain."""

    kind: str = "none"        # none, flame, quilt, ribbon, birdseye
    spacing: float = 7.0      # mm
    amplitude: float = 6.0    # degrees of fibre dip, standard deviation
    breadth: float = 18.0     # mm, how far a stripe runs across the grain
    limit: float = 10.5       # degrees, soft ceiling of the dip
    lab: Lab = (-1.8, 0.5, 1.0)  # flat light: a dark band, per unit
    patchy: float = 0.3       # how much its strength varies over the board
    density: float = 0.012    # birdseye: eyes per mm²


@dataclass(frozen=True, kw_only=True, slots=True)
class Ink:
    """Dark streaks that follow the rings and fade in and out along them."""

    share: float = 0.0        # share of the face that is streaked
    lab: Lab = (-18.0, -2.0, -5.0)
    soft: float = 0.25        # softness of its edges, units of the band noise
    fade: float = 0.5         # how much a streak comes and goes along the grain, the same units


@dataclass(frozen=True, kw_only=True, slots=True)
class Light:
    """How the fibres answer to raking light."""

    fibre: float = 0.25       # strength of the fibre highlight in raking light
    beta: float = 11.0        # its width, degrees


@dataclass(frozen=True, kw_only=True, slots=True)
class Faults:
    """How often natural faults occur when faults are left to the seed."""

    mineral: float = 0.0      # streaks per dm²
    knot: float = 0.0         # pin knots per dm²
    sapwood: float = 0.0      # share of boards with a sapwood edge
    mineral_lab: Lab = (-14.0, 0.3, -1.0)
    sapwood_lab: Lab = (6.0, -2.0, 0.0)   # sapwood minus heartwood
    sapwood_width: float = 45.0            # mm, at most


@dataclass(frozen=True, kw_only=True, slots=True)
class Species:
    """One wood; ``read_species`` makes it from a TOML file."""

    name: str
    words: str                 # for captions
    lab: Lab                   # mean colour of a freshly sanded board
    board: Lab = (1.2, 0.5, 0.7)  # standard deviation from board to board
    band: tuple[Lab, Lab] | None = None  # published or recalled range of the mean: lowest, highest
    source: str = ""           # where that range comes from
    cut: str = "flat"
    rings: Rings = field(default_factory=Rings)
    bands: Bands = field(default_factory=Bands)
    fibres: Fibres = field(default_factory=Fibres)
    pores: tuple[Pores, ...] = ()
    rays: Rays = field(default_factory=Rays)
    figure: Figure = field(default_factory=Figure)
    ink: Ink = field(default_factory=Ink)
    light: Light = field(default_factory=Light)
    faults: Faults = field(default_factory=Faults)


CHOICES = {"cut": ("flat", "rift", "quarter"), "rings.kind": ("diffuse", "semi", "ring", "soft"),
           "figure.kind": ("none", "flame", "quilt", "ribbon", "birdseye")}
# Smallest and largest value of settings that the model divides by, or that cost time.
LIMITS = {"rings.width": (0.2, 100), "rings.line": (0.01, 50), "rings.early": (0.05, 50), "rings.spread": (0, 1),
          "pores.density": (0, 20), "pores.diameter": (0.01, 2), "pores.length": (0.1, 60), "pores.string": (1, 30),
          "rays.density": (0, 20), "rays.length": (0.1, 30), "rays.width": (0.01, 2), "rays.storey": (0.3, 20), "rings.kinks": (0, 20),
          "figure.spacing": (1, 200), "figure.breadth": (0.5, 500), "figure.limit": (0.5, 45), "figure.density": (0, 0.2),
          "fibres.wander": (0, 20), "ink.share": (0, 0.9), "ink.soft": (0.01, 10), "light.beta": (1, 60),
          "light.fibre": (0, 1), "faults.mineral": (0, 20), "faults.knot": (0, 20), "faults.sapwood": (0, 1)}


@lru_cache(maxsize=1)
def species_names() -> tuple[str, ...]:
    """Names of the built-in species, in order."""
    return tuple(sorted(p.stem for p in FOLDER.glob("*.toml")))


def load_species(name: str) -> Species:
    """A built-in species by name; MockupError offers the nearest when there is none."""
    if name not in species_names():
        raise MockupError(f'There is no wood "{name}".', fix=nearest(name, species_names()), where="species")
    return _built_in(name)


@lru_cache(maxsize=64)
def _built_in(name: str) -> Species:
    return read_species(FOLDER / f"{name}.toml")


def read_species(path: Path) -> Species:
    """A species from a TOML file; every mistake in it at once, as one MockupError."""
    path = Path(path)
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise MockupError(f"{path.name} cannot be read.", fix="Name a species file (TOML, UTF-8).",
                          where=path.name) from error
    except tomllib.TOMLDecodeError as error:
        raise MockupError(f"This is not TOML: {error}.", fix="Compare it with a species file that works.",
                          where=path.name) from error
    problems: list[Problem] = []
    values = _table(Species, {"name": path.stem, **data}, "", problems)
    if problems:
        raise MockupError.several(problems).within(path.name, joint=": ")
    return values


def _table(cls: type, data: dict[str, Any], where: str, problems: list[Problem]) -> Any:
    """Fill a dataclass from a TOML table, collecting problems."""
    hints, out = get_type_hints(cls), {}
    known = {f.name: f for f in fields(cls)}
    for key, value in data.items():
        path = f"{where}.{key}" if where else key
        if key not in known:
            problems.append(Problem(f'"{key}" is not a setting here.', nearest(key, known), path))
        else:
            out[key] = _value(hints[key], value, path, problems)
    for name, f in known.items():
        required = f.default is f.default_factory  # both are MISSING
        if required and name not in data:
            problems.append(Problem(f"{name} is missing.", f"Add a line: {name} = ...", where))
    return cls(**out) if not problems else None


def _value(hint: Any, value: Any, path: str, problems: list[Problem]) -> Any:
    """One value checked against its type hint."""
    def wrong(wanted: str) -> None:
        problems.append(Problem(f"{value!r} does not fit.", f"Use {wanted}.", path))

    if is_dataclass(hint):
        return _table(hint, value, path, problems) if isinstance(value, dict) else wrong("a table")
    if get_origin(hint) not in (tuple, None):  # X | None
        hint = get_args(hint)[0]
    if get_origin(hint) is tuple:
        args = get_args(hint)
        many = args[-1] is Ellipsis
        if not isinstance(value, list) or (not many and len(value) != len(args)):
            return wrong("a list" if many else f"a list of {len(args)}")
        return tuple(_value(args[0] if many else a, v, path, problems)
                     for a, v in zip([args[0]] * len(value) if many else args, value))
    if hint is float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            return wrong("a number")
        low, high = LIMITS.get(path, (-1e4, 1e4))
        if not low <= value <= high:
            return wrong(f"a number from {low:g} to {high:g}")
        return float(value)
    if not isinstance(value, str):
        return wrong("text in quotes")
    if path in CHOICES and value not in CHOICES[path]:
        return wrong("one of " + ", ".join(CHOICES[path]))
    return value
