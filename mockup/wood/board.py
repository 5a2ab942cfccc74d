"""A board from a species, a cut and a seed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from mockup.errors import MockupError, nearest
from mockup.wood.faults import FAULTS
from mockup.wood.light import rake
from mockup.wood.log import CUTS
from mockup.wood.saw import Saw
from mockup.wood.species import Species, load_species
from mockup.wood.streams import Lattice

__all__ = ["Board", "LIGHTS", "make_board"]

Array = np.ndarray

LIGHTS = ("flat", "raking")
STRIP = 420           # lattice rows worked at a time
WORKERS = 2           # strips at once; each needs about 100 MB per 300 mm of width
SIDE = (2.0, 3000.0)  # mm, shortest and longest side
PIXELS = 60e6
AREA = 1.2e6          # mm²
LONGEST = 30_000      # pixels a side, what the resampling can address


@dataclass(frozen=True, slots=True)
class Board:
    """A generated board; x across and y down the picture, the grain runs along y.

    reflectance    (H, W, 3) float32, linear sRGB, D65, 1 = perfect white diffuser.
    direction      (H, W) float32, degrees clockwise as seen, 90 = along y.
    dip            (H, W) float32, degrees, angle of the fibre out of the plane.
    pores          (H, W) float32, 0..1, share of open pore.
    figure         (H, W) float32, about unit variance, dark side of the figure positive; 0 on plain wood.
    """

    species: Species
    cut: str
    seed: int
    faults: str | tuple[str, ...]
    px_per_mm: float
    size_mm: tuple[float, float]
    reflectance: Array
    direction: Array
    dip: Array
    pores: Array
    figure: Array

    @property
    def made(self) -> str:
        """How to make it again, in words."""
        faults = self.faults if isinstance(self.faults, str) else " ".join(self.faults) or "none"
        words = "" if faults == "natural" else f", faults {faults}"
        return f"generated: species {self.species.name}, cut {self.cut}, seed {self.seed}{words}, {self.px_per_mm:g} px/mm"


def make_board(species: str | Species, *, size_mm: tuple[float, float], cut: str | None = None, seed: int = 0,
               px_per_mm: float = 6, faults: str | Iterable[str] = "natural", light: str = "flat",
               report: Callable[[float], None] | None = None) -> Board:
    """Saw a board.

    species    a name from :func:`species_names`, or a :class:`Species`.
    size_mm    width (across the grain) and length (along it), mm.
    cut        "flat", "rift" or "quarter"; None takes the usual one of the species.
    seed       whole number, 0 or more; the same seed is the same board at any resolution.
    faults     "natural" (as often as the species has them), "none", or names out of
               "mineral", "knot", "sapwood" that the board must have.
    light      "flat" (reflectance) or "raking" (a low window, to show the figure).
    report     called with the share done, 0..1, from this thread.

    Raises MockupError for an unknown wood, cut, fault or light, a size outside
    2 mm to 3 m, more than 60 megapixels or 1.2 m², and a seed that is no whole number.
    """
    species = load_species(species) if not isinstance(species, Species) else species
    cut = species.cut if cut is None else cut
    width, height = _checked_size(size_mm, px_per_mm)
    faults = _checked(cut, seed, faults, light)
    seed, density = int(seed), float(px_per_mm)
    # The grain may wander in from beside the board.
    lattice = Lattice(width, height, margin=max(8.0, 4 * species.fibres.wander))
    saw = Saw(species, lattice, cut, seed, faults)
    shape = (max(1, round(height * density)), max(1, round(width * density)))
    board = Board(species, cut, seed, faults, density, (width, height), np.empty((*shape, 3), np.float32),
                  *(np.empty(shape, np.float32) for _ in range(4)))

    def work(rows: slice) -> float:
        strip = saw.cut_rows(rows, shape, density)
        if light == "raking":
            yaw = np.radians(90 - strip["direction"])
            strip["reflectance"] = rake(strip["reflectance"], strip["dip"], yaw, species.light.fibre, species.light.beta,
                                        species.lab)
        for name, values in strip.items():
            getattr(board, name)[rows] = values
        return (rows.stop - rows.start) / shape[0]

    step = max(1, int(STRIP * lattice.dv * density))
    strips = [slice(top, min(top + step, shape[0])) for top in range(0, shape[0], step)]
    done = 0.0
    # Strips know nothing of each other, so their order does not matter.
    with ThreadPoolExecutor(WORKERS) as pool:
        for share in pool.map(work, strips):
            done += share
            if report is not None:
                report(min(done, 1.0))
    return board


def _checked_size(size_mm: tuple[float, float], px_per_mm: float) -> tuple[float, float]:
    """Width and height in mm, or MockupError."""
    fix = f"Give width and length between {SIDE[0]:g} and {SIDE[1]:g} mm, as in 300x600."
    try:
        width, height = (float(s) for s in size_mm)
        density = float(px_per_mm)
    except (TypeError, ValueError):
        raise MockupError(f"The size {size_mm!r} at {px_per_mm!r} px/mm cannot be read.", fix=fix, where="size") from None
    for side in (width, height):
        if not SIDE[0] <= side <= SIDE[1]:
            raise MockupError(f"A board of {width:g} x {height:g} mm cannot be sawn.", fix=fix, where="size")
    if not 0.2 <= density <= 24:
        raise MockupError(f"{density:g} pixels per mm is outside what can be drawn.", fix="Use 0.2 to 24.",
                          where="px_per_mm")
    pixels = width * height * density ** 2
    if pixels > PIXELS or width * height > AREA:
        raise MockupError(f"A board of {width:g} x {height:g} mm at {density:g} px/mm has {pixels / 1e6:.0f} megapixels.",
                          fix=f"Stay below {PIXELS / 1e6:.0f} megapixels and {AREA / 1e6:g} m².", where="size")
    if max(width, height) * density > LONGEST:
        raise MockupError(f"The board would be {max(width, height) * density:.0f} pixels long.",
                          fix=f"Stay below {LONGEST} pixels a side.", where="size")
    return width, height


def _checked(cut: str, seed: int, faults: str | Iterable[str], light: str) -> str | tuple[str, ...]:
    """Raise MockupError for what no board can be made of; the faults in one form."""
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)) or seed < 0:
        raise MockupError(f"The seed {seed!r} is not a whole number from 0 up.", fix="Use a number such as 7.", where="seed")
    if cut not in CUTS:
        raise MockupError(f'There is no cut "{cut}".', fix=nearest(cut, CUTS), where="cut")
    if light not in LIGHTS:
        raise MockupError(f'There is no light "{light}".', fix=nearest(light, LIGHTS), where="light")
    if isinstance(faults, str):
        if faults in ("natural", "none"):
            return faults
        faults = [faults]
    faults = tuple(faults)
    for name in faults:
        if name not in FAULTS:
            raise MockupError(f'There is no fault "{name}".', fix=nearest(name, (*FAULTS, "natural", "none")),
                              where="faults")
    return faults
