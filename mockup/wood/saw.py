"""One board being sawn: layer upon layer on the straight lattice, then bent and sampled to pixels."""

from __future__ import annotations

from statistics import NormalDist

import cv2
import numpy as np

from mockup.colour.spaces import WHITE, XYZ_TO_SRGB, linear_to_lab
from mockup.wood.faults import FaultField
from mockup.wood.figure import figure_field
from mockup.wood.log import Log
from mockup.wood.pores import pore_marks, ray_marks
from mockup.wood.species import Species
from mockup.wood.streams import Lattice, Noise, board_seed, stream

__all__ = ["Saw"]

Array = np.ndarray

# Fibre noise: mm across, mm along, weight. Mottle is as short as wide, like
# cloth: wood is streaked along the grain, but it is not smooth there.
OCTAVES = ((0.10, 2.6, 0.30), (0.25, 8.0, 0.42), (0.7, 24.0, 0.48))
STREAKS = ((2.2, 66.0, 0.7), (8.0, 170.0, 0.7))
MOTTLE = ((0.10, 0.15, 1.2), (0.14, 0.40, 0.9), (0.35, 1.1, 0.65), (0.9, 2.6, 0.4))

RAY_TINT = (0.85, 1.0, 1.2)


class Saw:
    """Everything drawn once per board, expanded strip by strip; its methods change nothing."""

    def __init__(self, species: Species, lattice: Lattice, cut: str, seed: int, faults: str | tuple[str, ...]) -> None:
        seed = board_seed(seed, species.name)

        def noise(layer: str, sx: float, sy: float) -> Noise:
            return Noise(lattice, stream(seed, layer), sx, sy)

        self.species, self.lattice, fibres = species, lattice, species.fibres
        self.log = Log(species, lattice, cut, seed)
        self.fibres = [(noise(f"fibre {i}", sx, sy), w) for i, (sx, sy, w) in enumerate(OCTAVES)]
        self.fibres += [(noise(f"streak {i}", sx, sy), w * fibres.streak) for i, (sx, sy, w) in enumerate(STREAKS)]
        self.mottle = [(noise(f"mottle {i}", sx, sy), w * fibres.mottle) for i, (sx, sy, w) in enumerate(MOTTLE)]
        self.blotch = [(noise("blotch", 25, 60), 0.8), (noise("blotch small", 7, 16), 0.5)]
        # From heart to bark a board slowly changes its colour.
        self.trend, self.middle = stream(seed, "trend").normal(0, 0.011), float(np.hypot(self.log.cx0, self.log.cz0))
        self.hue = [[(noise("hue b fine", 0.45, 12), 0.60), (noise("hue b broad", 2.6, 48), 0.50), (noise("hue b patch", 2.5, 7), 0.62)],
                    [(noise("hue a fine", 0.45, 12), 0.70), (noise("hue a broad", 2.6, 48), 0.70)]]
        # Bands of colour run into each other and come apart: two sets, each strong where it likes.
        self.merge = [noise("bands one", 5, 75), noise("bands two", 3, 55)]
        self.stray = noise("bands stray", 2.2, 45)
        self.wander = [(noise("wander", 60, 120), fibres.wander), (noise("wander middle", 22, 40), 0.35 * fibres.wander),
                       (noise("wander small", 6, 18), 0.05 * fibres.wander + 0.10)]
        self.tilt = noise("cross tilt", 55, 80)
        self.plain = noise("run-out", 30, 80)
        # The ground is livelier in one place than in the next.
        self.lively = noise("lively", 24, 40)
        self.figure = figure_field(species.figure, lattice, seed)
        self.pores = [(p, pore_marks(p, lattice, seed, i)) for i, p in enumerate(species.pores)]
        self.clump = [(noise("pore clumps", 0.8, 15), 0.75), (noise("pore flocks", 5, 22), 0.55)]
        self.rays = ray_marks(species.rays, lattice, seed) if species.rays.density and cut != "quarter" else None
        fleck = species.rays.fleck * {"quarter": 1.0, "rift": 0.4, "flat": 0.0}[cut]
        self.fleck = (noise("fleck", *species.rays.fleck_size), fleck) if fleck else None
        self.ripple = None
        if species.rays.ripple:
            self.ripple = noise("ripple", 2.6, 0.32 * species.rays.storey), noise("ripple short", 0.8, 0.25 * species.rays.storey), \
                noise("ripple where", 9, 16)
        fade = species.ink.fade
        self.ink_edge = [(noise("ink fade", 3.5, 55), 0.55 * fade), (noise("ink run", 6, 240), 0.83 * fade),
                         (noise("ink fork", 0.9, 38), 0.5 * fade), (noise("ink fray", 0.22, 12), 0.15 + 0.1 * fade)]
        self.ink_stray = [(noise("ink stray", 1.6, 34), 0.3), (noise("ink stray broad", 5, 90), 0.9)]
        self.faults = FaultField(species, self.log, seed, faults)
        longest = max([p.length for p in species.pores] + [1.6 * species.rays.length])
        self.halo = max(8, int(0.5 * longest / lattice.dv) + 3)
        shift = np.clip(stream(seed, "board colour").standard_normal(3), -1.8, 1.8) * species.board
        self.lab = (np.array(species.lab) + 0.7 * shift).astype(np.float32)
        self.lab += self._correction()

    def _correction(self) -> Array:
        """(3,) Lab: what pores and figure take from the mean, measured on a few rows and given back.

        Measured without sapwood and dark streaks: they are meant to change the mean.
        """
        rows = 24
        starts = np.linspace(0, self.lattice.rows - rows, 6).astype(int)[1:-1]
        seen = np.concatenate([self.straight(k, k + rows, faults=False)[0].reshape(-1, 3)[::3] for k in starts])
        return self.lab - linear_to_lab(seen.astype(np.float64)).mean(0).astype(np.float32)

    def straight(self, first: int, last: int, faults: bool = True) -> tuple[Array, Array]:
        """Lattice rows of the straight-grained board.

        Returns linear reflectance (rows, cols, 3) and (rows, cols, 3) of dip in
        degrees, pore share and figure, float32.
        """
        species, halo = self.species, self.halo
        # Pores that begin outside these rows reach in, and must know the wood they begin in.
        first, last = first - halo, last + halo
        lift = self.figure.lift_rows(first, last) if self.figure else None
        push, ripple = self.faults.push(first, last), None
        if self.ripple is not None:
            ripple = self._ripple(first, last)
            # The fibres that shiver carry the ring lines with them.
            shiver = ripple * np.float32(0.009 * min(species.rays.storey, 2.0))
            push = shiver if push is None else push + shiver
        radius, slope = self.log.radius(first, last, lift, push)
        index, tables = self.log.index(radius), self.log.tables
        # A ring line is not drawn with one pen: it comes and goes along the grain, each for itself.
        late = self.log.late(index, slope, self.log.voice.rows(first, last))
        mottle = _sum(self.mottle, first, last)
        lively = np.clip(1 + np.float32(0.25) * self.lively.rows(first, last), 0.3, 2)
        fibre = (_sum(self.fibres, first, last) + mottle) * lively
        layers = [(late, species.rings.lab), (self._bands(radius, first, last), species.bands.lab), (fibre, species.fibres.lab),
                  (cv2.addWeighted(_sum(self.blotch, first, last), 1.0, radius, self.trend, -self.trend * self.middle), species.fibres.blotch),
                  (_sum(self.hue[0], first, last), (0, 0, species.fibres.hue[1])),
                  (_sum(self.hue[1], first, last), (0, species.fibres.hue[0], 0))]
        dip = self.plain.rows(first, last) * np.float32(species.fibres.plain) + fibre * np.float32(0.8)
        wave = None
        if self.figure is not None:
            wave = self.figure.rows(first, last)
            top = np.float32(species.figure.limit)
            dip += top * np.tanh(wave * np.float32(species.figure.amplitude / species.figure.limit))
            layers.append((_flat(self.figure.seen_rows(first, last, wave)), species.figure.lab))
        if self.fleck:
            shine = np.clip(self.fleck[0].rows(first, last) - np.float32(1.1), 0, 1.2)
            layers.append((shine, (self.fleck[1], -0.1 * self.fleck[1], 0.1 * self.fleck[1])))
        if ripple is not None:
            layers.append((ripple, (species.rays.ripple, -0.15 * species.rays.ripple, -0.2 * species.rays.ripple)))
        if faults:
            if species.ink.share > 0:
                layers.append((self._ink(radius, first, last) * np.clip(1 + np.float32(0.16) * fibre, 0.3, 1.5), species.ink.lab))
            layers += self.faults.layers(first, last)
        core = slice(halo, last - first - halo)
        colour = _linear([(values[core], change) for values, change in layers], self.lab)
        pores, light = self._marks(first, last, tables.early[index], dip, mottle, core)
        colour *= light
        maps = cv2.merge([dip[core], pores, wave[core] if wave is not None else np.zeros_like(pores)])
        return colour, maps

    def _bands(self, radius: Array, first: int, last: int) -> Array:
        """Bands of colour, about unit variance: they follow the years, but taper, fork and merge along the grain."""
        index = self.log.index(radius + np.float32(0.45) * self.stray.rows(first, last))
        one, two = (np.clip(np.float32(0.75) + np.float32(0.6) * m.rows(first, last), 0, 2) for m in self.merge)
        return np.take(self.log.tables.bands[0], index) * one * np.float32(0.76) + np.take(self.log.tables.bands[1], index) * two * np.float32(0.76)

    def _ink(self, radius: Array, first: int, last: int) -> Array:
        """0..1: dark streaks; their threshold wavers along the grain, so that they begin, fork and taper out."""
        ink = self.species.ink
        band = np.take(self.log.tables.ink, self.log.index(radius + _sum(self.ink_stray, first, last)))
        level = NormalDist(0, np.sqrt(1 + 1.25 * ink.fade ** 2)).inv_cdf(1 - ink.share)
        value = (band + _sum(self.ink_edge, first, last) - np.float32(level)) / np.float32(0.4 * ink.soft)
        return 1 / (1 + cv2.exp(-np.clip(value, -30, 30)))

    def _ripple(self, first: int, last: int) -> Array:
        """Fine lines across the grain, in patches, about unit variance where they are strong."""
        half = max(1, round(0.5 * self.species.rays.storey / self.lattice.dv))
        long, short, where = self.ripple
        # A noise less itself half a storey further on has lines a storey apart, none exactly.
        lines = 0.55 * long.rows(first, last + half) + np.float32(0.35) * short.rows(first, last + half)
        return (lines[:-half] - lines[half:]) * np.clip(np.float32(0.45) + np.float32(0.6) * where.rows(first, last), 0.05, 2)

    def _marks(self, first: int, last: int, early: Array, dip: Array, mottle: Array, core: slice) -> tuple[Array, Array]:
        """Pores and rays on the core rows: the share of open pore, and the light they leave, per channel."""
        uneven = np.clip(1 + np.float32(0.5) * mottle[core], 0.1, 2.2)
        cover = np.zeros(uneven.shape, np.float32)
        lit = np.zeros(uneven.shape, np.float32)
        absorb: dict[tuple[float, float, float], Array] = {}
        kinds = [(p, marks, p.dark, p.tint) for p, marks in self.pores]
        if kinds:
            clump = _sum(self.clump, first, last)
            lean = dip
        if self.rays is not None:
            kinds.append((None, self.rays, self.species.rays.dark, RAY_TINT))
        for pores, marks, dark, tint in kinds:
            if pores is None:
                mass = marks.draw(first, last, None, None)[core] * uneven
            else:
                # Pores that belong to the earlywood line up there; others come in flocks.
                loose = min(1.0, 0.4 + 1.2 * pores.late)
                keep = cv2.exp(clump * np.float32(loose) - np.float32(0.6 * loose ** 2)) \
                    * (np.float32(pores.late) + np.float32(pores.early - pores.late) * early)
                mass = marks.draw(first, last, keep, lean)[core] * uneven
            hole = 1 - cv2.exp(-mass)
            if tint in absorb:
                absorb[tint] = cv2.scaleAdd(hole, dark, absorb[tint])
            else:
                absorb[tint] = hole * np.float32(dark)
            if pores is not None:
                cover += hole - cover * hole
                if pores.lit:
                    # The far wall of an open pore catches the light.
                    lit += cv2.Sobel(mass, -1, 1, 0, ksize=3, scale=0.25 * pores.lit)
        lit = np.clip(lit, -0.15, 0.15)
        planes = []
        for c in range(3):
            depth = lit
            for tint, amount in absorb.items():
                depth = cv2.scaleAdd(amount, -tint[c], depth)
            planes.append(cv2.exp(depth))
        return cover, cv2.merge(planes)

    def cut_rows(self, rows: slice, shape: tuple[int, int], px_per_mm: float) -> dict[str, Array]:
        """Rows of the picture: the straight board seen through the wandering of its grain.

        Returns reflectance (h, W, 3), direction, dip, pores and figure (h, W), float32.
        """
        lattice = self.lattice
        y = (np.arange(rows.start - 1, rows.stop + 1) + 0.5) / px_per_mm
        x = (np.arange(shape[1]) + 0.5) / px_per_mm - 0.5 * lattice.width
        column = np.clip(np.rint((x - lattice.u0) / lattice.du - 0.5), 0, lattice.cols - 1).astype(np.int32)
        bend = sum(np.take(noise.at(y), column, axis=1) * np.float32(amount) for noise, amount in self.wander)
        u = self.faults.around(x[None, :].astype(np.float32) - bend, x, y)
        across = np.gradient(u[1:-1], axis=1) * np.float32(px_per_mm) if shape[1] > 1 else np.ones_like(u[1:-1])
        along = (u[2:] - u[:-2]) * np.float32(px_per_mm / 2)
        # u is constant along a fibre: its direction follows from the slopes of u.
        direction = 90 + np.degrees(np.arctan2(along, np.maximum(across, 0.2)))
        u = u[1:-1]
        # What runs across the grain is not quite square to it.
        cross = np.clip(np.take(self.tilt.at(y[1:-1]), column, axis=1), -3, 3) * np.float32(1.1)
        reach = 4 + int((1.5 / px_per_mm + np.abs(cross).max()) / lattice.dv)
        first = int((y[0] + lattice.margin) / lattice.dv) - reach
        last = int((y[-1] + lattice.margin) / lattice.dv) + reach
        colour, maps = self.straight(first, last)
        # A picture gathers light over a pixel, not at a point.
        blur = [np.sqrt(max((0.42 / px_per_mm / d) ** 2 - 0.1, 0)) for d in (lattice.du, lattice.dv)]
        map_x = (u - np.float32(lattice.u0)) / np.float32(lattice.du) - np.float32(0.5)
        map_y = ((y[1:-1] + lattice.margin) / lattice.dv - 0.5 - first).astype(np.float32)
        map_y = map_y[:, None] + cross * np.float32(1 / lattice.dv)
        way = cv2.INTER_CUBIC if px_per_mm > 3.5 else cv2.INTER_LINEAR
        if max(blur) > 0.2:
            sx, sy = (max(b, 0.01) for b in blur)
            colour, maps = (cv2.GaussianBlur(plane, (0, 0), sx, sigmaY=sy) for plane in (colour, maps))
        colour = cv2.remap(colour, map_x, map_y, way, borderMode=cv2.BORDER_REFLECT)
        maps = cv2.remap(maps, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
        colour = self.faults.paint_knots(colour, x, y[1:-1])
        return {"reflectance": np.clip(colour, 0.002, 0.98, out=colour), "direction": direction.astype(np.float32),
                "dip": maps[..., 0], "pores": np.clip(maps[..., 1], 0, 1), "figure": maps[..., 2]}


def _sum(parts: list[tuple[Noise, float]], first: int, last: int) -> Array:
    """Weighted sum of noises on lattice rows."""
    out = None
    for noise, weight in parts:
        rows = noise.rows(first, last)
        out = rows * np.float32(weight) if out is None else cv2.scaleAdd(rows, float(weight), out)
    return out


def _flat(wave: Array) -> Array:
    """A stripe in flat light: softly limited on both sides."""
    soft = np.float32(2.1) * np.tanh(wave / np.float32(2.1))
    return soft + np.float32(0.07) * (soft * soft - np.float32(0.85))


def _linear(layers: list[tuple[Array, tuple[float, float, float]]], lab: Array) -> Array:
    """Linear RGB (rows, cols, 3) of a base colour and its layered Lab changes (inverse of CIE 15)."""
    planes = []
    for c in range(3):
        plane = np.full(layers[0][0].shape, lab[c], np.float32)
        for values, change in layers:
            if change[c]:
                plane = cv2.scaleAdd(values, float(change[c]), plane)
        planes.append(plane)
    fy = (planes[0] + np.float32(16)) * np.float32(1 / 116)
    xyz = []
    for f, white in zip((cv2.scaleAdd(planes[1], 1 / 500, fy), fy, cv2.scaleAdd(planes[2], -1 / 200, fy)), WHITE):
        # Below f = 6/29 the curve is a line; wood that dark is a pore, where the cube is near enough.
        f = np.maximum(f, np.float32(0.12))
        xyz.append(f * f * f * np.float32(white))
    linear = cv2.transform(cv2.merge(xyz), XYZ_TO_SRGB)
    return np.clip(linear, 0.002, 0.97, out=linear)
