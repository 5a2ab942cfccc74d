"""Targets: the strength that brings a board to a colour, and whether dye can."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..errors import MockupError
from .axes import WoodAxes
from .bake import engine_colour
from .steps import Finish, Stain, StainStep, Tint

__all__ = ["REACHED", "Reached", "Places", "board_lab", "dye_for", "reach", "swatch_lab"]

Array = np.ndarray
Lab = tuple[float, float, float]
Places = tuple[Array, Array, Array, Array]

REACHED = 1.0   # ΔE00: closer than this two sprayed coats of one pot differ
STEPS = 41


@dataclass(frozen=True, slots=True)
class Reached:
    """What comes nearest to a target.

    finish  with the strength (or the mixed dye) found.
    lab     mean colour of the board under it, CIE Lab D65.
    off     CIEDE2000 to the target.
    words   one or two sentences for a maker.
    """

    finish: Finish
    strength: float
    lab: Lab
    off: float
    words: str

    @property
    def reached(self) -> bool:
        return self.off <= REACHED


def board_lab(finish: Finish, axes: WoodAxes, places: Places | None = None) -> Lab:
    """Mean colour (Lab of the mean light) of a board under a finish.

    places  t, c, w, r of a sample of the board, any equal shapes; left out, the board's mean colour stands for it.
    """
    if places is None:
        places = (np.zeros(1),) * 4
    linear = engine_colour(finish, axes, *places).reshape(-1, 3).mean(axis=0)
    a, b, c = linear_to_lab(linear).tolist()
    return a, b, c


def _plain(lab: Lab) -> str:
    return " ".join(f"{v:.0f}" for v in lab)


def _best(off: Callable[[float], float], high: float = 1.0) -> float:
    """The strength in 0..high of least ``off``: a coarse walk, then a bounded search around its best step."""
    from scipy.optimize import minimize_scalar

    walk = np.linspace(0, high, STEPS)
    values = [off(s) for s in walk]
    at = int(np.argmin(values))
    found = minimize_scalar(off, bounds=(walk[max(at - 1, 0)], walk[min(at + 1, STEPS - 1)]), method="bounded", options={"xatol": 1e-4})
    return float(found.x) if found.fun < values[at] else float(walk[at])


def reach(finish: Finish, step: int, axes: WoodAxes, target: Lab, places: Places | None = None) -> Reached:
    """The strength of one stain or tint step (by its index) that brings the board nearest to ``target``.

    MockupError when that step is no stain.
    """
    if not 0 <= step < len(finish.steps) or not isinstance(finish.steps[step], StainStep | Tint):
        raise MockupError(f"Step {step + 1} is no stain.", fix="Name a stain or tint step; its strength is what can be solved.")

    def at(strength: float) -> Finish:
        return replace(finish, steps=(*finish.steps[:step], replace(finish.steps[step], strength=strength), *finish.steps[step + 1:]))

    goal = np.array(target)
    strength = round(_best(lambda s: float(ciede2000(np.array(board_lab(at(s), axes, places)), goal))), 3)
    best = at(strength)
    lab, bare = board_lab(best, axes, places), board_lab(at(0.0), axes, places)
    off = float(ciede2000(np.array(lab), goal))
    name = finish.steps[step].stain.name
    words = f"{name.capitalize()} at {strength * 100:.0f} % brings the board to Lab {_plain(lab)}"
    if off <= REACHED:
        words += f", ΔE00 {off:.1f} from the target."
    else:
        words += f", the nearest it comes to Lab {_plain(target)}: ΔE00 {off:.1f}. {_why(target, lab, bare, strength)}"
    return Reached(best, strength, lab, round(off, 2), words)


def _why(target: Lab, lab: Lab, bare: Lab, strength: float) -> str:
    if target[0] > bare[0] + 1:
        return (f"The target is lighter than this wood under its coats (L {bare[0]:.0f}): "
                "no dye lightens wood; use a liming pigment or a covering paint.")
    if strength > 0.995:
        return "It would take more than full strength: choose a stronger stain."
    return "Its colour is another one than this stain makes on this wood: mix stains, or choose one nearer in hue."


def dye_for(axes: WoodAxes, target: Lab, coats: tuple = (), places: Places | None = None, name: str = "mixed") -> Reached:
    """The dye, free in its three bands, that brings the board nearest to ``target`` under the steps ``coats``.

    Tells what any dye can do on this wood: where it stays off, only pigment or paint gets there.
    """
    from scipy.optimize import least_squares

    goal = np.array(target)

    def made(x: Array) -> Finish:
        a, b, c = (float(f"{v:.3g}") for v in np.exp(x))
        dye = Stain(name=name, words=f"{name} dye", absorb=(a, b, c), basis="solved for a target colour on this board")
        return Finish(steps=(StainStep(stain=dye), *coats))

    def off(x: Array) -> Array:
        dye = Stain(name=name, words=name, absorb=tuple(np.exp(x).tolist()))
        return np.array(board_lab(Finish(steps=(StainStep(stain=dye), *coats)), axes, places)) - goal

    found = least_squares(off, np.log([0.3, 0.8, 2.0]), bounds=(np.log(1e-4), np.log(150)), max_nfev=200)
    best = made(found.x)
    lab, bare = board_lab(best, axes, places), board_lab(Finish(steps=tuple(coats)), axes, places)
    away = float(ciede2000(np.array(lab), goal))
    taken = "red {:.2g}, green {:.2g}, blue {:.2g}".format(*best.steps[0].stain.absorb)
    words = f"A dye mixed to it (it takes {taken}) brings the board to Lab {_plain(lab)}"
    words += f", ΔE00 {away:.1f} from the target." if away <= REACHED else \
        f", the nearest any dye comes to Lab {_plain(target)}: ΔE00 {away:.1f}. {_why(target, lab, bare, 0.5)}"
    return Reached(best, 1.0, lab, round(away, 2), words)


def swatch_lab(linear: Array) -> Lab:
    """Colour of a photographed swatch: Lab of the middle of (H, W, 3) linear sRGB, without its brightest and darkest tenth.

    MockupError when the middle is not one colour.
    """
    height, width = linear.shape[:2]
    middle = np.asarray(linear, np.float64)[height // 4:height - height // 4, width // 4:width - width // 4].reshape(-1, 3)
    light = middle.sum(axis=1)
    low, high = np.percentile(light, [10, 90])
    kept = middle[(light >= low) & (light <= high)]
    spread = float(linear_to_lab(kept)[:, 0].std())
    if spread > 6:
        raise MockupError(f"The swatch is not one colour: its lightness varies by {spread:.0f} L*.",
                          fix="Crop the photograph to the swatch, without glare.")
    a, b, c = linear_to_lab(kept.mean(axis=0)).tolist()
    return a, b, c

