"""The years of a log as tables by radius: how wide each was, how it began and ended, and the colours that follow it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mockup.wood.species import Rings, Species
from mockup.wood.streams import noise_line, stream

__all__ = ["FLATTEST", "PER_MM", "RingTables", "SLOPES", "STEEPEST", "ring_tables"]

Array = np.ndarray

PER_MM = 100  # entries of a ring table per mm of radius
# How steeply rings leave the face: slope of the radius along the face, in steps of a constant ratio.
STEEPEST, FLATTEST, SLOPES = 1.0, 0.02, 24
USUAL = 0.4   # the slope at which ring lines have their given thickness


@dataclass(frozen=True, slots=True)
class RingTables:
    """Tables by radius, ``PER_MM`` entries per mm.

    crisp  density of the wood, 0 earlywood .. 1 latewood, mean removed, its years ending at a line;
           a row for each of ``SLOPES``, or one for all.
    soft   the same years ending gradually, the line soft on both sides.
    blur   0..1, how much of ``soft`` a year has.
    year   number of the year whose end is nearest.
    early  share of the large pores, 0..1.
    bands  bands of colour, unit variance, two rows that know nothing of each other.
    ink    where dark streaks may run, unit variance.
    """

    crisp: Array
    soft: Array
    blur: Array
    year: Array
    early: Array
    bands: Array
    ink: Array


def ring_tables(species: Species, reach: float, seed: tuple[int, int]) -> RingTables:
    """Draw the years out to ``reach`` mm from the pith."""
    rings = species.rings
    widths = _widths(rings, int(reach / rings.width * 2.5) + 60, seed)
    n = len(widths)
    edges = np.concatenate([[0], np.cumsum(widths)])
    r = (np.arange(int(reach * PER_MM)) + 0.5) / PER_MM
    ring = np.clip(np.searchsorted(edges, r, side="right") - 1, 0, n - 1)
    w = widths[ring]
    t = (r - edges[ring]) / w
    year = np.where(t > 0.5, ring, np.maximum(ring - 1, 0))
    habit = stream(seed, "ring habit")
    sloped = rings.kind in ("diffuse", "semi")
    steps = SLOPES if sloped else 1
    crisp, soft = np.empty((steps, len(r))), np.empty((steps, len(r)))
    draw = _Years(rings, habit, n, stream(seed, "ring strength"))
    for k in range(steps):
        slope = FLATTEST * (STEEPEST / FLATTEST) ** ((k + 0.5) / SLOPES) if sloped else 1.0
        # Where the cut is flat a line of given thickness would smear over centimetres. The wall that
        # ends a ring is a few cells thick, so what is seen as a line there is thinner wood.
        thin = (slope / USUAL) ** 0.8 if sloped else 1.0
        for out, gradual in ((crisp, False), (soft, True)):
            body = draw.body(ring, t, w, thin, gradual)
            body -= body.mean()
            sigma = min(0.05, 0.11 * slope) * PER_MM
            if gradual and not sloped:
                sigma = 0.10 * PER_MM
            taps = int(np.ceil(3 * sigma)) + 1
            smooth = np.exp(-0.5 * (np.arange(-taps, taps + 1) / sigma) ** 2)
            out[k] = np.convolve(body, smooth / smooth.sum(), "same")
    early = _early(rings, ring, t, w, np.clip(1 + 0.45 * stream(seed, "ring pores").standard_normal(n), 0.35, 1.6))
    source = stream(seed, "colour bands")
    bands = np.zeros((2, len(r)))
    weight = sum(share ** 2 for _, share in species.bands.widths)
    for row in bands if weight else ():
        for width, share in species.bands.widths:
            row += share * noise_line(source, width, reach + 1, 1 / PER_MM)[: len(r)] / np.sqrt(weight)
    source = stream(seed, "ink bands")
    ink = sum(share * noise_line(source, width, reach + 1, 1 / PER_MM)[: len(r)]
              for width, share in ((10, 0.55), (2.4, 0.62), (0.8, 0.45), (0.25, 0.33)))
    floats = (a.astype(np.float32) for a in (crisp, soft, draw.blur[year]))
    return RingTables(*floats, year.astype(np.int32), *(a.astype(np.float32) for a in (early, bands, ink)))


def _widths(rings: Rings, n: int, seed: tuple[int, int]) -> Array:
    """(n,) mm: a wet year follows a wet decade, and now and then a tree is shaded for some years."""
    rng = stream(seed, "ring widths")
    logs = np.empty(n)
    logs[0] = 0
    steps = rng.standard_normal(n) * rings.spread
    for i in range(1, n):
        logs[i] = 0.5 * logs[i - 1] + steps[i]
    decades = stream(seed, "decades")
    logs += 0.8 * rings.spread * noise_line(decades, 6.0, n, 1.0)[:n]
    for start in np.flatnonzero(decades.random(n) < 0.035):
        years = int(decades.integers(3, 9))
        logs[start: start + years] -= 1.9 * rings.spread * np.linspace(1, 0.2, years)[: n - start]
    most = 2.2 * rings.spread
    return np.maximum(rings.width * np.exp(most * np.tanh((logs - 1.3 * rings.spread ** 2) / most)), 0.22 * rings.width)


class _Years:
    """What each year is like, and its density from beginning to end."""

    def __init__(self, rings: Rings, rng: np.random.Generator, n: int, strength: np.random.Generator) -> None:
        self.rings = rings
        # Most years end alike, a few strongly, and some can hardly be found.
        self.strength = np.clip(1 + rings.uneven * strength.standard_normal(n), 0.25, 1.7) \
            * np.where(strength.random(n) < (0.0 if rings.kind == "soft" else 0.08), 0.4, 1.0)
        self.thick = np.exp(0.5 * rng.standard_normal(n))
        self.ramp = np.clip(0.15 + 0.18 * rng.standard_normal(n), 0.0, 0.7)
        self.power = np.exp(rng.uniform(-0.3, 1.4, n))          # some darken all year long, some in a week
        self.blur = rng.beta(1.1, 1.1, n) * (0.5 if rings.kind == "soft" else 1.0)
        self.pale = np.where(rng.random(n) < 0.4, rng.uniform(0.1, 0.4, n), 0)     # bleached first wood
        # A late frost or a dry summer draws a second line, close before the end or anywhere.
        self.double = np.where(rng.random(n) < 0.16, rng.uniform(0.3, 0.9, n), 0), rng.uniform(1.8, 4.0, n)
        self.false = np.where(rng.random(n) < 0.25, rng.uniform(0.2, 0.8, n), -9), rng.uniform(0.08, 0.35, n), np.exp(rng.uniform(-0.5, 1.2, n))

    def body(self, ring: Array, t: Array, w: Array, thin: float, gradual: bool) -> Array:
        rings, before = self.rings, np.maximum(ring - 1, 0)
        strength = self.strength[ring]
        if rings.kind in ("diffuse", "semi"):
            line = rings.line * self.thick[ring] * thin
            left, gone = (1 - t) * w, t * w
            body = self.ramp[ring] * t ** self.power[ring]
            peak = 0.9 - self.ramp[ring]
            spread = 2.0 if gradual else 0.8
            share = 0.62 if gradual else 1.0
            body += share * peak * np.exp(-left / (spread * line))
            body += 0.8 * self.double[0][ring] * peak * np.exp(-np.abs(left / line - self.double[1][ring]) * 1.6)
            place, much, long = self.false
            body += much[ring] * np.exp(-0.5 * (np.abs(t - place[ring]) * w / (0.8 * line * long[ring])) ** 2)
            body *= strength
            # What is left of the year before, on the far side of its line.
            line = rings.line * self.thick[before] * thin
            peak = self.strength[before] * (share * (0.9 - self.ramp[before]) + self.ramp[before])
            body += peak * np.exp(-gone / ((1.5 if gradual else 0.5) * line))
            body -= self.pale[before] * np.exp(-gone / (2.5 * line))
            return body
        if rings.kind == "ring":
            edge = np.clip(rings.early / w, 0.08, 0.6)
            steep = np.clip(22 / self.power[ring], 5, 22)
            step = 1 / (1 + np.exp(-np.clip(steep * (t - edge) / edge.clip(0.15), -40, 40)))
            return step * (0.55 + 0.45 * t ** self.power[ring]) * strength + 0.35 * self.ramp[ring] * np.exp(-(1 - t) * w / 0.25)
        late = np.clip(rings.line * np.exp(0.35 * np.log(self.thick[ring]) / 0.5), 0.05, 0.36)
        power = 1.3 + 0.7 * self.power[ring]
        body = np.clip((t - (1 - 2.6 * late)) / (2.6 * late), 0, 1) ** power
        place, much, _ = self.false
        body += 0.8 * much[ring] * np.exp(-0.5 * ((t - place[ring]) * w / 0.09) ** 2)
        return body * strength


def _early(rings: Rings, ring: Array, t: Array, w: Array, rich: Array) -> Array:
    """Share of large pores kept, 0..1, by place in the year."""
    if rings.kind == "diffuse":
        early = 1.05 - t ** 1.6
    elif rings.kind == "ring":
        early = np.clip(1.15 - t / np.clip(rings.early / w, 0.08, 0.6), 0, 1) ** 0.7
    elif rings.kind == "semi":
        early = 0.25 + 0.75 * (1 - t) ** 1.5
    else:
        early = np.zeros_like(t)
    return early * rich[ring]
