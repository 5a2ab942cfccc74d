"""What years do to a finished board: an estimate, with its sources and how far it may be off.

Wood under a clear film and room light changes as its own absorption grows (or
fades); oil films yellow, most in the dark. Both approach an end, fast at
first. The amounts come from a few published colour differences; the rest is
direction and judgement, and every result says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..colour.difference import ciede2000
from ..errors import MockupError
from .axes import WoodAxes
from .reach import Lab, Places, board_lab
from .steps import Burst, Coat, Film, Finish, Stain, StainStep, Tint

__all__ = ["Aged", "MOST_YEARS", "WOODS", "WoodAgeing", "aged", "with_years"]

MOST_YEARS = 60.0
# Years after which two thirds of the change is done, indoors, out of the sun.
WOOD_YEARS, OIL_YEARS = 4.0, 3.0
# Under clear lacquers maple changed 0.55 times as much as bare (Torcatoru and Timar); colour lags behind dose.
UNDER_FILM = 0.35
UNSURE = 0.5  # share of the change by which it may be less or more


@dataclass(frozen=True, slots=True)
class WoodAgeing:
    """End of a wood's change: absorption added per band (units of its scattering), scattering added (bleaching), and the source."""

    absorb: tuple[float, float, float]
    bleach: float
    source: str


WOODS: dict[str, WoodAgeing] = {
    "maple": WoodAgeing((0.034, 0.104, 0.59), 0.0, "maple: ΔE*ab 19 bare after 36 months of indoor sun (Dudiak 2022), about half under clear "
                        "water-borne lacquer (Torcatoru and Timar); direction: yellower and darker"),
    "ash": WoodAgeing((0.039, 0.112, 0.63), 0.0, "ash: bare 8.4 against maple's 9.4 ΔE*ab in 72 h of light through glass (Torcatoru and Timar)"),
    "spruce": WoodAgeing((0.047, 0.14, 0.74), 0.0, "spruce: 12 to 20 ΔE*ab under UV (Wood Research, abstract); direction: yellower and darker"),
    "alder": WoodAgeing((0.10, 0.26, 0.85), 0.0, "alder: by judgement, between maple and cherry"),
    "cherry": WoodAgeing((0.36, 0.95, 2.9), 0.0, "cherry: darkens and reddens (trade accounts, direction only)"),
    "mahogany": WoodAgeing((0.26, 0.70, 2.1), 0.0, "mahogany: darkens and reddens (trade accounts, direction only)"),
    "walnut": WoodAgeing((0.0, 0.0, 0.15), 0.5, "walnut: lightens and yellows (trade accounts); bare 6.2 ΔE*ab in 72 h of light (Torcatoru and Timar)"),
}
_OTHER = WoodAgeing((0.08, 0.17, 0.55), 0.0, "this wood: by judgement, less than maple")
# Film by the word its name holds: how many times its fresh absorption per band it ends with, in the dark and in light.
_FILMS = {"oil": ((1.3, 1.8, 2.6), (1.15, 1.3, 1.6)), "shellac": ((1.05, 1.1, 1.2),) * 2, "lacquer": ((1.3, 1.9, 2.4),) * 2,
          "water-borne": ((1.0, 1.0, 1.05),) * 2}
_FILM_SOURCE = ("oil films yellow in the dark and bleach back in light, with oxidation rather than heat or driers "
                "(Mallegol, Lemaire and Gardette, abstract; conservators' accounts); amounts by judgement")


@dataclass(frozen=True, slots=True)
class Aged:
    """A board's colour after some years; Lab D65.

    finish      stands for the aged board: bake it as any other.
    less, more  the colours if the change is half as large, and half as large again.
    change      CIEDE2000 from new.
    sources     what it rests on, one phrase each; always an estimate.
    """

    finish: Finish
    years: float
    lab: Lab
    less: Lab
    more: Lab
    change: float
    sources: tuple[str, ...]

    def words(self) -> str:
        new = "as new" if self.change < 0.5 else f"ΔE00 {self.change:.0f} from new, between {' '.join(f'{v:.0f}' for v in self.less)} " \
            f"and {' '.join(f'{v:.0f}' for v in self.more)}"
        return f"After {self.years:g} years Lab {' '.join(f'{v:.0f}' for v in self.lab)} ({new}; an estimate)"


def _kind(wood: str) -> tuple[str, WoodAgeing]:
    words = wood.lower()
    return next(((name, a) for name, a in WOODS.items() if name in words), ("", _OTHER))


def with_years(finish: Finish, wood: str, years: float, *, dark: bool = False, amount: float = 1.0) -> Finish:
    """A finish that stands for the same one after some years.

    wood    in words; "flame maple" ages as maple.
    dark    True when it lies in its case: wood keeps, oil yellows more.
    amount  of the whole change, 1 as estimated.

    The change of the wood is written as an even stain under all others, that
    of the films into their absorption. MockupError for years out of range.
    """
    if not 0 <= years <= MOST_YEARS:
        raise MockupError(f"Age is {years:g} years.", fix=f"Use 0 to {MOST_YEARS:g}.")
    if years == 0 or amount == 0:
        return finish
    _, ageing = _kind(wood)
    covered = any(isinstance(s, Coat | Tint | Burst) for s in finish.steps)
    light = amount * (1 - np.exp(-years / WOOD_YEARS)) * (0.04 if dark else 1.0) * (UNDER_FILM if covered else 1.0)
    first: tuple[StainStep, ...] = ()
    if light > 0:
        a, b, c = (float(v * light) for v in ageing.absorb)
        stain = Stain(name="age", words="age of the wood", absorb=(a, b, c), hide=(float(ageing.bleach * light),) * 3, uptake=0.0,
                      basis="estimate", spread=0.0)
        first = (StainStep(stain=stain),)
    oil = amount * (1 - np.exp(-years / OIL_YEARS))

    def film(f: Film) -> Film:
        ends = next((ends for word, ends in _FILMS.items() if word in f.name or word in f.words), None)
        if ends is None:
            return f
        a, b, c = (v * (1 + (end - 1) * float(oil)) for v, end in zip(f.absorb, ends[0 if dark else 1], strict=True))
        return replace(f, absorb=(a, b, c))

    return replace(finish, steps=first + tuple(replace(s, film=film(s.film)) if isinstance(s, Coat) else s for s in finish.steps))


def aged(finish: Finish, axes: WoodAxes, wood: str, years: float, *, dark: bool = False, places: Places | None = None) -> Aged:
    """The estimated colour of a finished board after some years, with its range and sources."""
    end = with_years(finish, wood, years, dark=dark)
    new, lab, less, more = (board_lab(f, axes, places) for f in (
        finish, end, with_years(finish, wood, years, dark=dark, amount=1 - UNSURE), with_years(finish, wood, years, dark=dark, amount=1 + UNSURE)))
    sources = [_kind(wood)[1].source]
    if any(isinstance(s, Coat) for s in finish.steps):
        sources.append(_FILM_SOURCE)
    return Aged(end, years, lab, less, more, round(float(ciede2000(np.array(lab), np.array(new))), 2), tuple(sources))
