"""The same finish under another light.

Three bands cannot tell what a warm lamp does. So wood, stains and films are
each given the smoothest spectrum that fits their three values, the engine is
run on those, and only the change from daylight to the other light is taken
from it. Where no spectrum was measured this is an estimate, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations

import numpy as np

from ..colour.difference import ciede2000
from ..colour.light import adaptation
from ..colour.spaces import WHITE, XYZ_TO_SRGB, linear_to_lab
from ..errors import MockupError, nearest
from .axes import WoodAxes
from .bake import NODES, Baked, bake, engine_colour
from .bands import Medium, from_bands, to_bands
from .reach import Lab, Places
from .spectra import LIGHTS, observer, to_linear
from .steps import Burst, Coat, Film, Finish, Stain, StainStep, Step, Tint

__all__ = ["Parting", "bake_under", "colours_under", "light_shift", "parting", "smoothest", "under_light"]

Array = np.ndarray

BASIS = "estimate: spectra guessed from three bands"
# Where the bands of the engine lie, nm.
CENTRES = (455.0, 540.0, 605.0)
# Options are said to match below, and to part above, these ΔE00.
MATCH, PART = 2.0, 3.0
# Lights as they are called in a sentence.
CALLED = {"daylight": "daylight", "warm lamp": "a warm lamp", "LED": "a white LED"}
COARSE = 9  # nodes of the table of light changes: they are smooth


@cache
def smoothest() -> Array:
    """(3, N): linear sRGB to the reflectance spectrum of least slope that has this colour in daylight.

    Burns 2020, "Numerical methods for smoothest reflectance reconstruction",
    Color Research & Application 45(1), 8-21: least slope squared, which is
    linear. White gives a flat spectrum of 1; strong colours may leave 0..1.
    """
    sight = observer()
    see = sight.weights["daylight"] @ adaptation(sight.white("daylight"), WHITE).T @ XYZ_TO_SRGB.T  # (N, 3)
    n = len(sight.nm)
    slope = 2 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    slope[0, 0] = slope[-1, -1] = 1
    system = np.block([[slope, see], [see.T, np.zeros((3, 3))]])
    return np.linalg.solve(system, np.vstack([np.zeros((n, 3)), np.eye(3)]))[:n].T


def _medium(light: str) -> Medium:
    return Medium(lambda linear: np.clip(linear @ smoothest(), 2e-3, 0.985), lambda spectra: to_linear(spectra, light))


def _spread_out(bands: tuple[float, ...]) -> tuple[float, ...]:
    """Absorption per band to absorption per wavelength: straight in its logarithm between the bands, level beyond."""
    r, g, b = np.log(np.maximum(bands, 1e-5))
    return tuple(np.exp(np.interp(observer().nm, CENTRES, (b, g, r))).tolist())


def _spectral(step: Step) -> Step:
    def stain(s: Stain) -> Stain:
        r, g, b = s.bend
        return replace(s, absorb=_spread_out(s.absorb), hide=_spread_out(s.hide) if any(s.hide) else (0.0,),
                       bend=tuple(np.interp(observer().nm, CENTRES, (b, g, r)).tolist()))

    def film(f: Film) -> Film:
        return replace(f, absorb=_spread_out(f.absorb))

    match step:
        case StainStep(stain=s) | Tint(stain=s) | Burst(stain=s):
            return replace(step, stain=stain(s))
        case Coat(film=f):
            return replace(step, film=film(f))
    return step


def _known(light: str) -> str:
    if light not in LIGHTS:
        raise MockupError(f'There is no light named "{light[:40]}".', fix=nearest(light, LIGHTS))
    return light


def _change(finish: Finish, axes: WoodAxes, places: Places, light: str) -> Array:
    """What a light does to each of the engine's bands, (..., 3), against daylight."""
    spectral = replace(finish, steps=tuple(_spectral(s) for s in finish.steps) or (StainStep(stain=_NOTHING),))
    seen = [np.maximum(to_bands(engine_colour(spectral, axes, *places, medium=_medium(name))), 1e-4) for name in (light, "daylight")]
    return np.clip(seen[0] / seen[1], 0.2, 5)


_NOTHING = Stain(name="", words="", absorb=(0.0,))  # no steps would skip the engine, and with it the spectra


def under_light(finish: Finish, axes: WoodAxes, light: str, places: Places | None = None) -> Array:
    """Finished linear sRGB (..., 3) of places of a board as an eye used to ``light`` sees it.

    light  one of spectra.LIGHTS; MockupError for another.
    """
    places = (np.zeros(1),) * 4 if places is None else tuple(np.broadcast_arrays(*places))
    linear = engine_colour(finish, axes, *places)
    if _known(light) == "daylight":
        return linear
    return from_bands(to_bands(linear) * _change(finish, axes, places, light))


def bake_under(finish: Finish, axes: WoodAxes, light: str) -> Baked:
    """As ``bake``, for another light."""
    baked = bake(finish, axes)
    if _known(light) == "daylight":
        return baked
    span = [axes.low[i] + (axes.high[i] - axes.low[i]) * np.linspace(0, 1, COARSE) for i in range(3)]
    t, c, w = np.meshgrid(*span, indexing="ij")
    change = _change(finish, axes, (t, c, w, np.zeros_like(t)), light)
    # Linear between the coarse nodes, axis by axis.
    at = np.linspace(0, COARSE - 1, NODES)
    finer = np.maximum(0, 1 - np.abs(at[:, None] - np.arange(COARSE)))
    change = np.einsum("ia,jb,kc,abcn->ijkn", finer, finer, finer, change, optimize=True)
    return replace(baked, table=from_bands(to_bands(baked.table) * change).astype(np.float32))


def colours_under(finish: Finish, axes: WoodAxes, places: Places | None = None) -> dict[str, Lab]:
    """Mean colour of a board (Lab, adapted to each light) by the light's name."""
    out: dict[str, Lab] = {}
    for light in LIGHTS:
        linear = under_light(finish, axes, light, places).reshape(-1, 3).mean(axis=0)
        a, b, c = linear_to_lab(linear).tolist()
        out[light] = (a, b, c)
    return out


def light_shift(finish: Finish, axes: WoodAxes, places: Places | None = None) -> dict[str, float]:
    """CIEDE2000 between daylight and each other light, the eye adapted to each."""
    colours = colours_under(finish, axes, places)
    home = np.array(colours["daylight"])
    return {light: round(float(ciede2000(home, np.array(lab))), 2) for light, lab in colours.items() if light != "daylight"}


@dataclass(frozen=True, slots=True)
class Parting:
    """Two options that look alike under one light and not under another."""

    first: str
    second: str
    alike: str
    alike_off: float
    apart: str
    apart_off: float

    def words(self) -> str:
        """"Honey and Amber match under daylight (ΔE00 0.8) and part under a warm lamp (ΔE00 4.1); estimate: ..."."""
        near, far = (CALLED.get(light, light) for light in (self.alike, self.apart))
        return (f"{self.first} and {self.second} match under {near} (ΔE00 {self.alike_off:.1f}) "
                f"and part under {far} (ΔE00 {self.apart_off:.1f}); {BASIS}.")


def parting(options: Mapping[str, Mapping[str, Lab]]) -> tuple[Parting, ...]:
    """Pairs of options that match under one light and part under another.

    options  by name, the colours of the same part as ``colours_under`` gives them.
    """
    found = []
    for first, second in combinations(options, 2):
        off = {light: float(ciede2000(np.array(options[first][light]), np.array(options[second][light]))) for light in options[first]}
        near, far = min(off, key=off.__getitem__), max(off, key=off.__getitem__)
        if off[near] < MATCH and off[far] > PART:
            found.append(Parting(first, second, near, round(off[near], 2), far, round(off[far], 2)))
    return tuple(found)
