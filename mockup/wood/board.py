"""A board from a species, a cut and a seed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from mockup.colour.spaces import XYZ_TO_SRGB, WHITE, linear_to_lab
from mockup.errors import MockupError, nearest
from mockup.wood.faults import FAULTS, FaultField
from mockup.wood.figure import figure_field
from mockup.wood.light import rake
from mockup.wood.log import CUTS, Log
from mockup.wood.pores import pore_marks, ray_marks
from mockup.wood.species import Species, load_species
from mockup.wood.streams import Lattice, Noise, stream

__all__ = ["Board", "LIGHTS", "make_board"]

Array = np.ndarray

LIGHTS = ("flat", "raking")
STRIP = 640          # lattice rows worked at a time
SIDE = (2.0, 4000.0)  # mm, shortest and longest side
PIXELS = 150_000_000

# Fibre noise: mm across, mm along, weight. The last two are short, like cloth:
# wood is streaked along the grain, but not smooth.
OCTAVES = ((0.09, 2.2, 0.50), (0.25, 7.0, 0.50), (0.7, 21.0, 0.45))
STREAKS = ((2.2, 66.0, 0.7), (8.0, 170.0, 0.7))
MOTTLE = ((0.09, 0.28, 0.70), (0.22, 1.0, 0.65), (0.9, 2.6, 0.30))


@dataclass(frozen=True, slots=True)
class Board:
    """A generated board; x across and y down the picture, the grain runs along y.

    reflectance    (H, W, 3) float32, linear sRGB, D65, 1 = perfect white diffuser.
    direction      (H, W) float32, degrees clockwise as seen, 90 = along y.
    dip            (H, W) float32, degrees, angle of the fibre out of the plane.
    pores          (H, W) float32, 0..1, share of open pore.
    figure         (H, W) float32, unit variance, dark side of the figure positive.
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
        faults = "" if self.faults == "natural" else \
            f", faults {self.faults if isinstance(self.faults, str) else ' '.join(self.faults)}"
        return f"generated: species {self.species.name}, cut {self.cut}, seed {self.seed}{faults}, {self.px_per_mm:g} px/mm"


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
    report     called with the share done, 0..1.

    Raises MockupError for an unknown wood, cut, fault or light, a size outside
    2 mm to 4 m or above 150 megapixels, and a seed that is no whole number.
    """
    species = load_species(species) if not isinstance(species, Species) else species
    cut = species.cut if cut is None else cut
    width, height = _checked_size(size_mm, px_per_mm)
    faults = _checked(cut, seed, faults, light)
    seed = int(seed)
    saw = _Saw(species, Lattice(width, height), cut, seed, faults)
    shape = (max(1, round(height * px_per_mm)), max(1, round(width * px_per_mm)))
    reflectance = np.empty((*shape, 3), np.float32)
    maps = {name: np.empty(shape, np.float32) for name in ("direction", "dip", "pores", "figure")}
    step = max(1, int(STRIP * saw.lattice.dv * px_per_mm))
    for top in range(0, shape[0], step):
        rows = slice(top, min(top + step, shape[0]))
        out = saw.cut_rows(rows, shape, px_per_mm)
        if light == "raking":
            yaw = np.radians(90 - out["direction"])
            out["reflectance"] = rake(out["reflectance"], out["dip"], yaw, species.light.fibre, species.light.beta)
        reflectance[rows] = out.pop("reflectance")
        for name, values in out.items():
            maps[name][rows] = values
        if report is not None:
            report(rows.stop / shape[0])
    return Board(species, cut, seed, faults, float(px_per_mm), (width, height), reflectance, **maps)


class _Saw:
    """Everything drawn once per board, expanded strip by strip."""

    def __init__(self, species: Species, lattice: Lattice, cut: str, seed: int, faults: str | tuple[str, ...]) -> None:
        self.species, self.lattice, self.cut = species, lattice, cut
        noise = lambda layer, sx, sy: Noise(lattice, stream(seed, layer), sx, sy)
        self.log = Log(species, lattice, cut, seed)
        f = species.fibres
        self.fibres = [(noise(f"fibre {i}", sx, sy), w) for i, (sx, sy, w) in enumerate(OCTAVES)]
        self.fibres += [(noise(f"streak {i}", sx, sy), w * f.streak) for i, (sx, sy, w) in enumerate(STREAKS)]
        self.mottle = [(noise(f"mottle {i}", sx, sy), w * f.mottle) for i, (sx, sy, w) in enumerate(MOTTLE)]
        self.blotch = noise("blotch", 25, 60), noise("blotch small", 7, 16)
        self.wander = (noise("wander", 60, 120), f.wander), (noise("wander small", 12, 45), 0.12 * f.wander)
        self.plain = noise("run-out", 30, 80)
        self.figure = figure_field(species.figure, lattice, seed)
        self.pores = [(p, pore_marks(p, lattice, seed, i)) for i, p in enumerate(species.pores)]
        longest = max([p.length for p in species.pores] + [1.6 * species.rays.length])
        self.halo = int(0.5 * longest / lattice.dv) + 3
        self.clump = noise("pore clumps", 0.8, 15)
        self.rays = ray_marks(species.rays, lattice, seed) if species.rays.density and cut != "quarter" else None
        fleck = species.rays.fleck * {"quarter": 1.0, "rift": 0.4, "flat": 0.0}[cut]
        self.fleck = (noise("fleck", *species.rays.fleck_size), fleck) if fleck else None
        self.ink_fade = noise("ink fade", 2.5, 90), noise("ink fray", 0.3, 18)
        self.faults = FaultField(species, self.log, seed, faults)
        shift = stream(seed, "board colour").standard_normal(3) * 0.7
        self.lab = np.float32(species.lab) + np.float32(shift * species.board)
        self.lab += self._correction()

    def _correction(self) -> Array:
        """(3,) Lab: what pores and figure take from the mean, measured on a few rows and given back.

        Measured without sapwood and streaks: they are meant to change the mean.
        """
        rows = 24
        starts = np.linspace(0, self.lattice.rows - rows, 6).astype(int)[1:-1]
        seen = np.concatenate([self.straight(k, k + rows, faults=False)[..., :3].reshape(-1, 3) for k in starts])
        return self.lab - linear_to_lab(seen[::3].astype(np.float64)).mean(0).astype(np.float32)

    def straight(self, first: int, last: int, faults: bool = True) -> Array:
        """(rows, cols, 7) float32: linear reflectance, dip, pores, figure and rows of the straight-grained board."""
        species, lattice = self.species, self.lattice
        # Pores that begin outside these rows reach in, and must know the wood they begin in.
        halo = self.halo
        first, last = first - halo, last + halo
        v = lattice.v(first, last)
        lift = self.figure.lift_rows(v) if self.figure else None
        radius = self.log.radius(v, lift, self.faults.push(v))
        index = self.log.index(radius)
        tables = self.log.tables
        late = tables.late[index]
        fibre = _sum(self.fibres, v)
        mottle = _sum(self.mottle, v)
        both = fibre + mottle
        wave = self.figure.rows(v) if self.figure else None
        dip = self.plain.rows(v) * np.float32(species.fibres.plain) + both * np.float32(0.8)
        if wave is not None:
            top = np.float32(species.figure.limit)
            dip += top * np.tanh(wave * np.float32(species.figure.amplitude / species.figure.limit))
        layers = [(late, species.rings.lab), (tables.bands[index], species.bands.lab),
                  (both, species.fibres.lab),
                  (0.8 * self.blotch[0].rows(v) + 0.5 * self.blotch[1].rows(v), species.fibres.blotch)]
        if wave is not None:
            layers.append((_flat(wave), species.figure.lab))
        if species.ink.share > 0:
            layers.append((self._ink(tables.ink[index], v), species.ink.lab))
        if self.fleck:
            noise, amount = self.fleck
            shine = np.clip(noise.rows(v) - 1.1, 0, 1.2)
            layers.append((shine, (amount, -0.1 * amount, 0.1 * amount)))
        if faults:
            layers += self.faults.layers(v, radius)
        out = np.empty((*late.shape, 6), np.float32)
        pores, absorb, lit = self._marks(first, last, v, tables.early[index], dip, mottle)
        linear = _linear(layers, self.lab)
        for c in range(3):
            out[..., c] = linear[c] * np.exp(lit - absorb[c])
        out[..., 3], out[..., 4] = dip, pores
        out[..., 5] = wave if wave is not None else 0
        return out[halo: len(out) - halo]

    def _ink(self, band: Array, v: Array) -> Array:
        """0..1: dark streaks; their threshold wavers along the grain, so that they begin and end."""
        from statistics import NormalDist
        level = NormalDist().inv_cdf(1 - min(self.species.ink.share, 0.9))
        wide, fray = self.ink_fade
        value = band + 0.45 * wide.rows(v) + 0.12 * fray.rows(v) - np.float32(1.1 * level)
        return 1 / (1 + np.exp(-np.clip(value / np.float32(0.4 * self.species.ink.soft), -30, 30)))

    def _marks(self, first: int, last: int, v: Array, early: Array, dip: Array, mottle: Array):
        """Pore map, absorption per channel and the lit walls of the pores."""
        cover = np.zeros(early.shape, np.float32)
        absorb = np.zeros((3, *early.shape), np.float32)
        lit = np.zeros(early.shape, np.float32)
        if self.pores:
            clump = np.exp(0.45 * self.clump.rows(v) - 0.1)
            lean = np.abs(dip) if self.figure else None
        uneven = np.clip(1 + 0.35 * mottle, 0.2, 1.8)
        for pores, marks in self.pores:
            keep = (pores.late + (pores.early - pores.late) * early) * clump
            mass = marks.draw(first, last, keep, lean) * uneven
            hole = 1 - np.exp(-mass)
            cover = cover + hole - cover * hole
            for c in range(3):
                absorb[c] += hole * np.float32(pores.dark * pores.tint[c])
            if pores.lit:
                lit += cv2.Sobel(mass, -1, 1, 0, ksize=3, scale=0.25) * np.float32(pores.lit)
        if self.rays is not None:
            rays = self.species.rays
            mass = self.rays.draw(first, last, np.ones_like(early)) * uneven
            for c, tint in enumerate((0.85, 1.0, 1.2)):
                absorb[c] += (1 - np.exp(-mass)) * np.float32(rays.dark * tint)
        return cover, absorb, np.clip(lit, -0.15, 0.15)

    def cut_rows(self, rows: slice, shape: tuple[int, int], px_per_mm: float) -> dict[str, Array]:
        """Rows of the picture: the straight board seen through the wandering of its grain."""
        lattice = self.lattice
        y = (np.arange(rows.start - 1, rows.stop + 1) + 0.5) / px_per_mm
        x = (np.arange(shape[1]) + 0.5) / px_per_mm - 0.5 * lattice.width
        column = np.clip(np.rint((x - lattice.u0) / lattice.du - 0.5), 0, lattice.cols - 1).astype(np.int32)
        bend = sum(noise.rows(y)[:, column] * np.float32(amount) for noise, amount in self.wander)
        u = x[None, :].astype(np.float32) - bend
        u = self.faults.around_knots(u, x, y)
        across = np.gradient(u, axis=1) * px_per_mm
        along = (u[2:] - u[:-2]) * np.float32(px_per_mm / 2)
        u = u[1:-1]
        reach = 4 + int(1.5 / (px_per_mm * lattice.dv))
        first = int((y[0] + lattice.margin) / lattice.dv) - reach
        last = int((y[-1] + lattice.margin) / lattice.dv) + reach
        strip = self.straight(first, last)
        # A picture gathers light over a pixel, not at a point.
        sigma = 0.42 / px_per_mm
        sx, sy = (np.sqrt(max((sigma / d) ** 2 - 0.1, 0)) for d in (lattice.du, lattice.dv))
        map_x = (u - np.float32(lattice.u0)) / np.float32(lattice.du) - np.float32(0.5)
        map_y = ((y[1:-1] + lattice.margin) / lattice.dv - 0.5 - first).astype(np.float32)
        map_y = np.ascontiguousarray(np.broadcast_to(map_y[:, None], u.shape))
        planes = []
        for part in (strip[..., :3], strip[..., 3:]):
            part = np.ascontiguousarray(part)
            if max(sx, sy) > 0.2:
                part = cv2.GaussianBlur(part, (0, 0), max(sx, 0.01), sigmaY=max(sy, 0.01))
            planes.append(cv2.remap(part, map_x, map_y, cv2.INTER_CUBIC if px_per_mm > 3.5 else cv2.INTER_LINEAR,
                                    borderMode=cv2.BORDER_REFLECT))
        colour = self.faults.paint_knots(planes[0], x, y[1:-1])
        direction = 90 + np.degrees(np.arctan2(along, np.maximum(across[1:-1], 0.2)))
        return {"reflectance": np.clip(colour, 0.002, 0.98), "direction": direction.astype(np.float32),
                "dip": planes[1][..., 0], "pores": np.clip(planes[1][..., 1], 0, 1), "figure": planes[1][..., 2]}


def _linear(layers: list[tuple[Array, Array]], lab: Array) -> list[Array]:
    """Linear R, G, B of a base colour and its layered Lab changes (planes; inverse of CIE 15)."""
    planes = []
    for c in range(3):
        plane = np.full(layers[0][0].shape, lab[c], np.float32)
        for values, change in layers:
            if change[c]:
                plane += values * np.float32(change[c])
        planes.append(plane)
    fy = (planes[0] + np.float32(16)) * np.float32(1 / 116)
    xyz = []
    for f, white in zip((fy + planes[1] * np.float32(1 / 500), fy, fy - planes[2] * np.float32(1 / 200)), WHITE):
        # Below f = 6/29 the curve is a line; wood that dark is a pore, where the cube is near enough.
        f = np.maximum(f, np.float32(0.12))
        xyz.append(f * f * f * np.float32(white))
    return [np.clip(sum(np.float32(row[k]) * xyz[k] for k in range(3)), 0.002, 0.97) for row in XYZ_TO_SRGB]


def _sum(parts: list[tuple[Noise, float]], v: Array) -> Array:
    out = None
    for noise, weight in parts:
        rows = noise.rows(v) * np.float32(weight)
        out = rows if out is None else out.__iadd__(rows)
    return out


def _flat(wave: Array) -> Array:
    """A stripe in flat light: its dark side narrower and stronger, both softly limited."""
    soft = 2.3 * np.tanh(wave / np.float32(2.3))
    return soft + np.float32(0.16) * (soft * soft - np.float32(0.85))


def _checked_size(size_mm, px_per_mm) -> tuple[float, float]:
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
    if pixels > PIXELS or width * height > 2.5e6:
        raise MockupError(f"A board of {width:g} x {height:g} mm at {density:g} px/mm has {pixels / 1e6:.0f} megapixels.",
                          fix=f"Stay below {PIXELS / 1e6:.0f} megapixels and 2.5 m².", where="size")
    return width, height


def _checked(cut, seed, faults, light) -> str | tuple[str, ...]:
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
            raise MockupError(f'There is no fault "{name}".', fix=nearest(name, (*FAULTS, "natural", "none")), where="faults")
    return faults
