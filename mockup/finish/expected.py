"""How far off a predicted colour may be, and what light and dark ends of that range look like."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..colour.difference import ciede2000
from .axes import WoodAxes
from .reach import Lab, Places, board_lab
from .steps import Burst, Coat, Finish, Paint, StainStep, Step, Tint

__all__ = ["Expected", "expected", "more_or_less"]

# A step that hardly changes the wood can hardly be wrong by much: its spread
# counts in full from this ΔE00 of effect, and in proportion below.
FULL_EFFECT = 12.0
PAINT = 2.0  # ΔE00 that paint mixed to a given colour keeps within, 95 of 100; from memory
MOST = 6.0  # times the dose, the furthest that a light or dark end is looked for


@dataclass(frozen=True, slots=True)
class Expected:
    """A predicted colour and its range; Lab D65.

    spread    CIEDE2000 within which 95 % of finished pieces should lie.
    light     the colour if it comes out lighter: less of what darkens, more of a pigment that lightens; dark the other way.
    fitted    True when every stain and film in it was fitted to a test board.
    basis     in words.
    """

    lab: Lab
    light: Lab
    dark: Lab
    spread: float
    light_finish: Finish
    dark_finish: Finish
    fitted: bool
    basis: str

    def words(self) -> str:
        """"Lab 58 22 41 expected, 63 21 42 if light, 53 23 40 if dark (95 % within ΔE00 6.1; library estimate)"."""
        a, b, c = (" ".join(f"{v:.0f}" for v in lab) for lab in (self.lab, self.light, self.dark))
        return f"Lab {a} expected, {b} if light, {c} if dark (95 % within ΔE00 {self.spread:.1f}; {self.basis})"


def more_or_less(finish: Finish, dose: float, lightens: frozenset[int] = frozenset()) -> Finish:
    """The same finish with ``dose`` times as much of every stain and film; paint and sanding stay.

    lightens  steps, by index, that are divided by the dose instead: dose below 1 then makes all of it lighter.
    """
    def step(s: Step, dose: float) -> Step:
        match s:
            case StainStep() | Tint() | Burst():
                return replace(s, strength=s.strength * dose)
            case Coat(film=film):
                a, b, c = (v * dose for v in film.absorb)
                # How well a film wets varies less than how deep a stain goes.
                return replace(s, film=replace(film, absorb=(a, b, c), wet=min(0.5, film.wet * dose**0.5)))
        return s

    other = min(MOST, 1 / max(dose, 1e-6))
    return replace(finish, steps=tuple(step(s, other if i in lightens else dose) for i, s in enumerate(finish.steps)))


def _named(step: Step):
    match step:
        case StainStep(stain=value) | Tint(stain=value) | Burst(stain=value) | Coat(film=value):
            return value
    return None


def expected(finish: Finish, axes: WoodAxes, places: Places | None = None, *, board_spread: float = 0.0) -> Expected:
    """The colour of a board under a finish, and how far off it may be.

    board_spread  CIEDE2000 within which 95 % of the board's own patches lie, where it counts.

    Spreads of different stains and films are taken as independent and added
    in squares; that of a stain in the wood counts by how much it changes it.
    """
    lab = board_lab(finish, axes, places)
    squares, named, lightens = board_spread**2, {}, set()
    for i, step in enumerate(finish.steps):
        if isinstance(step, Paint):
            # What lies under covering paint no longer matters; the paint's own mixing does.
            squares = squares * (1 - step.cover) ** 2 + (PAINT * step.cover) ** 2
        value = _named(step)
        if value is None:
            continue
        named[value.name] = value
        if isinstance(step, Burst):
            continue  # off at the edge, not over the board
        without = replace(finish, steps=(*finish.steps[:i], *finish.steps[i + 1:]))
        before = board_lab(without, axes, places)
        if before[0] < lab[0]:
            lightens.add(i)
        effect = float(ciede2000(np.array(lab), np.array(before)))
        squares += (value.spread * min(1.0, effect / FULL_EFFECT)) ** 2
    spread = float(np.sqrt(squares))
    ends = [_end(finish, frozenset(lightens), axes, places, lab, spread, lighter) for lighter in (True, False)]
    fitted = bool(named) and all(v.basis.startswith("fitted") for v in named.values())
    painted = any(isinstance(s, Paint) for s in finish.steps)
    known = [v.name for v in named.values() if v.basis.startswith("fitted")]
    basis = "library estimate" if painted and not fitted else "bare wood" if not named else "fitted to a test board" if fitted else \
        f"{', '.join(known)} fitted, the rest library estimates" if known else "library estimate"
    return Expected(lab, ends[0][0], ends[1][0], round(spread, 2), ends[0][1], ends[1][1], fitted, basis)


def _end(finish: Finish, lightens: frozenset[int], axes: WoodAxes, places: Places | None, lab: Lab, spread: float,
         lighter: bool) -> tuple[Lab, Finish]:
    """The end of the range on one side, and the finish with so much less or more in it that comes nearest to it."""
    centre = np.array(lab)

    def off(dose: float) -> float:
        return float(ciede2000(np.array(board_lab(more_or_less(finish, dose, lightens), axes, places)), centre))

    low, high = (0.0, 1.0) if lighter else (1.0, MOST)
    far = low if lighter else high
    if off(far) > spread:
        for _ in range(24):
            middle = (low + high) / 2
            inside = off(middle) < spread
            low, high = (low, middle) if inside == lighter else (middle, high)
        far = (low + high) / 2
    there = more_or_less(finish, far, lightens)
    end = np.array(board_lab(there, axes, places))
    if off(far) < 0.8 * spread:
        # More dye cannot make it darker, or less lighter: other wood or light can, so lightness alone moves.
        step = np.array([1.0 if lighter else -1.0, 0, 0])
        a, b = 0.0, 40.0
        for _ in range(30):
            m = (a + b) / 2
            a, b = (m, b) if float(ciede2000(centre + m * step, centre)) < spread else (a, m)
        end = centre + a * step
        end[0] = np.clip(end[0], 0, 100)
    x, y, z = end.tolist()
    return (x, y, z), there
