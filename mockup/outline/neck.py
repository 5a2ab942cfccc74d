"""Neck, fretboard, frets and strings, from scale length, nut and bridge.

Coordinates are those of a right-handed instrument seen from the front, neck
up: x right, y down, the lowest string on the left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mockup.outline.figures import outline, strip
from mockup.outline.shape import Shape

__all__ = ["Layout", "fret_distance"]

Point = tuple[float, float]


def fret_distance(scale: float, fret: float) -> float:
    """mm from nut to fret in twelve-tone equal temperament: S (1 - 2^(-k/12))."""
    return scale * -math.expm1(-fret * math.log(2) / 12)


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where strings and frets lie.

    bridge        y at which the scale ends on the centre line, uncompensated.
    scales        scale length of the lowest and of the highest string; the same twice for straight frets.
    square        the fret that stands square to the centre line where the two differ.
    strings       how many there are, each of a pair counted.
    pair          mm between the two strings of a pair; 0 for single strings.
    nut_spread    outer strings at the nut, from centre to centre.
    spread        the same at the bridge.
    nut_width     of the fretboard at the nut.
    heel_width    of the fretboard at its lower end.
    frets         how many; without frets the same number says how long the board is.
    overhang      of the fretboard below its last fret.
    """

    centre: float
    bridge: float
    scales: tuple[float, float]
    square: float
    strings: int
    pair: float
    nut_spread: float
    spread: float
    nut_width: float
    heel_width: float
    frets: int
    overhang: float

    @property
    def fanned(self) -> bool:
        """Whether the two outer strings have scales of their own."""
        return self.scales[0] != self.scales[1]

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Where each string leaves the nut and where its scale ends, lowest string first: two arrays (strings, 2) of mm.

        Straight frets are measured along the centre line, as a board is
        slotted; with two scales each outer string has its own length along itself.
        """
        nut, saddle = self._across(self.nut_spread), self._across(self.spread)
        if not self.fanned:
            return (np.column_stack((nut, np.full(len(nut), self.bridge - self.scales[0]))),
                    np.column_stack((saddle, np.full(len(nut), self.bridge))))
        share = -math.expm1(-self.square * math.log(2) / 12)
        drop = [math.sqrt(s * s - (saddle[k] - nut[k]) ** 2) for s, k in zip(self.scales, (0, -1), strict=True)]
        level = self.bridge - sum(drop) / 2 * (1 - share)  # of the fret that stands square
        at = (nut - nut[0]) / (nut[-1] - nut[0]) if len(nut) > 1 else np.zeros(1)
        top = level - share * (drop[0] + at * (drop[1] - drop[0]))
        end = level + (1 - share) * (drop[0] + at * (drop[1] - drop[0]))
        return np.column_stack((nut, top)), np.column_stack((saddle, end))

    def _across(self, spread: float) -> np.ndarray:
        if not self.pair:
            return self.centre + (np.linspace(-0.5, 0.5, self.strings) * spread if self.strings > 1 else np.zeros(1))
        courses = self.strings // 2
        inner = spread - self.pair
        middle = np.linspace(-0.5, 0.5, courses) * inner if courses > 1 else np.zeros(1)
        return self.centre + (middle[:, None] + np.array([-0.5, 0.5]) * self.pair).ravel()

    def fret_line(self, fret: float, beyond: float = 0.0) -> tuple[Point, Point]:
        """The line of a fret from edge to edge of the fretboard, moved down by ``beyond`` mm; 0 is the nut."""
        nut, saddle = self.ends()
        share = -math.expm1(-fret * math.log(2) / 12)
        left, right = (nut[k] + share * (saddle[k] - nut[k]) for k in (0, -1))
        if self.strings == 1 or not self.fanned:
            left, right = np.array([self.centre - 1, left[1]]), np.array([self.centre + 1, left[1]])
        return self._to_edge(left + (0, beyond), right - left, -1), self._to_edge(left + (0, beyond), right - left, 1)

    @cached_property
    def _slope(self) -> tuple[float, float]:
        """y of the end of the board on the centre line, and what half its width loses per mm upward."""
        top = self.on_centre(0)
        end = self.on_centre(self.frets) + self.overhang
        return end, (self.heel_width - self.nut_width) / 2 / (end - top)

    def on_centre(self, fret: float) -> float:
        """y at which a fret's line crosses the centre line."""
        nut, saddle = self.ends()
        share = -math.expm1(-fret * math.log(2) / 12)
        (x0, y0), (x1, y1) = (nut[k] + share * (saddle[k] - nut[k]) for k in (0, -1))
        return float(y0 + (self.centre - x0) / (x1 - x0) * (y1 - y0)) if x1 > x0 else float(y0)

    def half_width(self, y: float) -> float:
        """Half the width of the fretboard at a height."""
        end, slope = self._slope
        return self.heel_width / 2 - (end - y) * slope

    def _to_edge(self, point: np.ndarray, run: np.ndarray, side: int) -> Point:
        # x = centre + side (w - (end - y) slope), on the line point + t run.
        end, slope = self._slope
        start = side * (point[0] - self.centre) - self.heel_width / 2 + (end - point[1]) * slope
        t = -start / (side * run[0] - run[1] * slope)
        return float(point[0] + t * run[0]), float(point[1] + t * run[1])

    def fretboard(self, above: float = 0.0) -> Shape:
        """The board from the nut, or ``above`` mm over it, to its end."""
        (a, b), (d, c) = self.fret_line(0, -above), self.fret_line(self.frets, self.overhang)
        return outline([a, b, c, d])

    def fret(self, number: int, inset: float = 1.45) -> tuple[Point, Point]:
        """The two ends of a fret's crown, ``inset`` mm within the edges of the board."""
        a, b = (np.array(p) for p in self.fret_line(number))
        unit = (b - a) / np.hypot(*(b - a))
        a, b = a + inset * unit, b - inset * unit
        return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))

    def nut(self, thick: float) -> Shape:
        """The nut: a band above the end of the board, as wide as it."""
        (a, b), (d, c) = self.fret_line(0, -thick), self.fret_line(0)
        return outline([a, b, c, d])

    def marker(self, fret: int, aside: float = 0.0, *, stop: bool = False) -> Point:
        """The middle between a fret and the one before it, or with ``stop`` the fret itself, ``aside`` mm beside the centre line; slanted frets
        take it along."""
        if stop:
            a, b = self.fret_line(fret)
            return self.centre + aside, self.on_centre(fret) + (b[1] - a[1]) / (b[0] - a[0]) * aside
        lines = [self.fret_line(k) for k in (fret - 1, fret)]
        slope = sum((b[1] - a[1]) / (b[0] - a[0]) for a, b in lines) / 2
        return self.centre + aside, (self.on_centre(fret - 1) + self.on_centre(fret)) / 2 + slope * aside

    def between_strings(self, y: float) -> float:
        """How far from the centre line the two dots of an octave stand at a height: half way to the board's edge, or about there, between two strings."""
        away = 0.5 * self.half_width(y)
        nut, saddle = self.ends()
        x = np.sort(nut[:, 0] + (y - nut[:, 1]) / (saddle[:, 1] - nut[:, 1]) * (saddle[:, 0] - nut[:, 0])) - self.centre
        gaps = np.diff(x)
        # Not between the two strings of a pair, nor in the middle.
        open_ = np.abs((x[:-1] + x[1:]) / 2)[gaps > 0.6 * gaps.max(initial=0.0)]
        open_ = open_[open_ > 0.4 * away]
        return float(open_[np.argmin(np.abs(open_ - away))]) if len(open_) else away

    def shaft(self, above: float, heel: float) -> Shape:
        """The neck under the board: from ``above`` mm over the nut to the height ``heel``, as wide as the board."""
        (a, b) = self.fret_line(0, -above)
        w = self.half_width(heel)
        return outline([a, b, (self.centre + w, heel), (self.centre - w, heel)])

    def nose(self, top: float, heel: float) -> Shape:
        """The heel of a neck: as wide as the board, from a round end at ``top`` down to ``heel``."""
        turn = np.linspace(-math.pi / 2, math.pi / 2, 61)
        round_ = min(1.1 * self.half_width(top), 26.0)
        # Squarer than half an ellipse: its sides run out along the neck's.
        x = np.sign(np.sin(turn)) * np.abs(np.sin(turn)) ** 0.8
        y = top + round_ * (1 - np.abs(np.cos(turn)) ** 0.8)
        end = [(self.centre + s * self.half_width(heel), heel) for s in (1, -1)]
        return outline([*((self.centre + a * self.half_width(b), b) for a, b in zip(x, y, strict=True)), *end])

    def scarf(self, beyond: float, half: float) -> Shape:
        """The line of a scarf joint across the neck, ``beyond`` mm below the nut, 0.2 mm wide, ``half`` mm to either side."""
        return strip(self._scarf(beyond, half), 0.2)

    def above_scarf(self, beyond: float) -> Shape:
        """All that lies on the head's side of that line."""
        line = self._scarf(beyond, 200.0)
        return outline([*line, (line[-1][0], line[-1][1] - 2000.0), (line[0][0], line[0][1] - 2000.0)])

    def _scarf(self, beyond: float, half: float) -> list[Point]:
        y = self.on_centre(0) + beyond
        across = self.half_width(y)
        x = np.linspace(-half, half, 61)
        # The slanted cut through a round back shows as a shallow arch.
        t = np.clip(x / across, -1.2, 1.2)
        return [(float(a), float(b)) for a, b in zip(self.centre + x, y + 7 * (t * t - 0.5), strict=True)]
