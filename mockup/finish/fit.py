"""Learn a stain from a test board: photographs of one offcut before and after.

The two are laid over each other, cut into small cells, and the stain's
absorption, uptake and (where it shows) hiding power are found that turn the
bare cells into the stained ones through the engine itself. What the result
is worth is measured on patches that took no part in the fit. What both
photographs get wrong alike, such as a difference in exposure, no patch can
tell: the stain's spread allows for it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import linear_to_lab
from ..errors import MockupError
from .axes import WoodAxes
from .bake import engine_colour
from .cells import Cells, cut_cells
from .register import Registered, register
from .steps import Coat, Film, Finish, Stain, StainStep, Step

__all__ = ["Error", "Fitted", "fit_stain"]

Array = np.ndarray

FOLDS = 4
SEARCH = 1200  # cells
LEAST_PATCHES = 12
# A pigment must explain patches that much better than a dye to be believed.
PIGMENT_GAIN = 0.92
# One strength says nothing of others: the bend that strips of invented dyes show on average (``tests``).
USUAL_BEND = (0.93, 0.93, 0.97)
# Two photographs exposed 5 % apart put the whole stain off by about this ΔE00, and no held-out patch can show it.
EXPOSURE = 1.0
CLIPPED, MOST_CLIPPED = 0.995, 0.005


@dataclass(frozen=True, slots=True)
class Error:
    """CIEDE2000 on held-out patches of about 10 mm: mean, 95th percentile, worst, and how many there were."""

    mean: float
    p95: float
    worst: float
    patches: int

    def words(self) -> str:
        """"held-out ΔE00 mean 0.6, 95 % 1.3, worst 2.1 over 96 patches"."""
        return f"held-out ΔE00 mean {self.mean:.1f}, 95 % {self.p95:.1f}, worst {self.worst:.1f} over {self.patches} patches"


@dataclass(frozen=True, eq=False)
class Fitted:
    """A stain, and the film if a coated photograph was given, with what they are worth."""

    stain: Stain
    error: Error
    film: Film | None
    film_error: Error | None
    registered: Registered
    notes: tuple[str, ...]


def fit_stain(bare: Array, stained: Array, coated: Array | None = None, *, name: str, mm_per_pixel: float | None = None,
              strengths: tuple[float, ...] = (1.0,), coats: int = 3, wood: str = "", pigment: bool | None = None) -> Fitted:
    """The stain that turned ``bare`` into ``stained``; the film that turned that into ``coated``.

    bare, stained, coated  (H, W, 3) linear sRGB 0..1 of the same offcut, any sizes, in the same light.
    mm_per_pixel  of ``bare``; left out, its longer side is taken as 200 mm.
    strengths     of a strip's steps in order along its longer side, equal lengths; 0 is a bare step.
    coats         of the film in ``coated``.
    wood          words for the basis.
    pigment       True or False where it is known; None lets the photographs tell.

    MockupError for photographs of different boards, clipped or swapped ones,
    and steps that say nothing.
    """
    _check(strengths, coats)
    for picture, what in ((bare, "bare"), (stained, "stained"), (coated, "coated")):
        if picture is not None:
            _check_picture(picture, what)
    notes = []
    if mm_per_pixel is None:
        mm_per_pixel = 200.0 / max(bare.shape[:2])
        notes.append("No scale given: the longer side of the bare photograph is taken as 200 mm.")
    over = register(bare, stained)
    if linear_to_lab(over.picture[over.inside].mean(axis=0))[0] > linear_to_lab(bare[over.inside].mean(axis=0))[0] + 1.5 and not pigment:
        raise MockupError("The stained photograph is lighter than the bare one.",
                          fix="Give the bare photograph first, taken in the same light and exposure; "
                              "a white or liming pigment needs to be called a pigment.")
    cells = cut_cells(bare, over.picture, over.inside, mm_per_pixel, strengths)
    if cells.patches < LEAST_PATCHES:
        raise MockupError(f"The two photographs share only {cells.patches} patches of 10 mm.",
                          fix="Photograph a larger piece, at least 60 x 40 mm, or check the size you gave.")

    fits = [_Dye(bends=_distinct(strengths) > 1, hides=h) for h in ((bool(pigment),) if pigment is not None else (False, True))]
    errors = [_held_out(fit, cells, name) for fit in fits]
    best = 1 if len(fits) > 1 and errors[1].mean < PIGMENT_GAIN * errors[0].mean else 0
    stain = fits[best].solve(cells, np.ones(len(cells.t), bool), name)
    error = errors[best]
    basis = f"fitted on {wood or 'a test board'}: {error.words()}"
    stain = replace(stain, basis=basis, spread=_spread(error))

    if _distinct(strengths) == 1:
        notes.append("One strength was seen: others are read from it by the bend usual for dyes; a strip of three or more measures it.")

    film = film_error = None
    if coated is not None:
        again = register(bare, coated)
        film_cells = cut_cells(bare, again.picture, again.inside, mm_per_pixel, strengths)
        fit = _Clear(stain, coats)
        film_error = _held_out(fit, film_cells, name)
        film = replace(fit.solve(film_cells, np.ones(len(film_cells.t), bool), name),
                       basis=f"fitted on {wood or 'a test board'}, {coats} coats: {film_error.words()}",
                       spread=_spread(film_error))
    return Fitted(stain, error, film, film_error, over, tuple(notes))


def _spread(error: Error) -> float:
    return round(float(np.hypot(error.p95, EXPOSURE)), 2)


def _distinct(strengths: tuple[float, ...]) -> int:
    return len({s for s in strengths if s > 0})


def _check(strengths: tuple[float, ...], coats: int) -> None:
    if not strengths or any(not 0 <= s <= 1 for s in strengths):
        bad = next((s for s in strengths if not 0 <= s <= 1), None)
        raise MockupError("No strength is given." if bad is None else f"Strength is {bad:g}.",
                          fix="Use 0 (bare wood) to 1 (the stain as it comes) for each step of the strip.")
    if max(strengths) == 0:
        raise MockupError("Every step of the strip has strength 0.", fix="Name the strength of each stained step, as 0.25, 0.5, 1.")
    if len(strengths) > 1 and _distinct(strengths) < 2:
        raise MockupError("The strip has one stained step.",
                          fix="Give two or more strengths, or leave strengths out for a board of one strength.")
    if not 1 <= coats <= 30:
        raise MockupError(f"The film has {coats} coats.", fix="Use 1 to 30.")


def _check_picture(picture: Array, what: str) -> None:
    if picture.ndim != 3 or picture.shape[2] != 3 or min(picture.shape[:2]) < 80:
        raise MockupError(f"The {what} photograph is too small.", fix="Use at least 80 pixels each way, better 1000.")
    clipped = float((picture >= CLIPPED).any(axis=2).mean())
    if clipped > MOST_CLIPPED:
        raise MockupError(f"In the {what} photograph {clipped:.0%} of the pixels are clipped to white.",
                          fix="Photograph it again with less exposure, or turn it so that no glare falls on it.")


# -- models: a few numbers, and the finish they stand for ------------------------


@dataclass(frozen=True)
class _Dye:
    """Absorption, uptake, perhaps bend and hiding."""

    bends: bool
    hides: bool

    def start(self, cells: Cells) -> Array:
        return np.concatenate([np.log(cells.first_absorb), [1.0], [0.85] * 3 * self.bends, [0.15] * self.hides])

    def bounds(self) -> tuple[Array, Array]:
        low = [np.log(1e-4)] * 3 + [0.0] + [0.35] * 3 * self.bends + [0.0] * self.hides
        high = [np.log(200.0)] * 3 + [3.0] + [1.3] * 3 * self.bends + [6.0] * self.hides
        return np.array(low), np.array(high)

    def value(self, x: Array, name: str, digits: int | None = 4) -> Stain:
        absorb = _bands(np.exp(x[:3]), digits)
        bend = _bands(x[4:7], digits) if self.bends else USUAL_BEND
        hide = _bands(np.repeat(x[-1], 3), digits) if self.hides else (0.0, 0.0, 0.0)
        return Stain(name=name, words=f"{name} {'pigment stain' if self.hides else 'dye'}", absorb=absorb, hide=hide,
                     uptake=_bands(x[[3, 3, 3]], digits)[0], bend=bend)

    def steps(self, value: Stain, strength: float) -> tuple[Step, ...]:
        return (StainStep(stain=value, strength=strength),)

    def solve(self, cells: Cells, use: Array, name: str) -> Stain:
        return _solve(self, cells, use, name)


@dataclass(frozen=True)
class _Clear:
    """Wet strength and absorption of a film over a known stain."""

    stain: Stain
    coats: int

    def start(self, cells: Cells) -> Array:
        return np.array([0.3, *np.log([0.001, 0.003, 0.008])])

    def bounds(self) -> tuple[Array, Array]:
        return np.array([0.0, *[np.log(1e-5)] * 3]), np.array([0.5, *[np.log(0.3)] * 3])

    def value(self, x: Array, name: str, digits: int | None = 4) -> Film:
        return Film(name=f"{name} film", words="clear coat", absorb=_bands(np.exp(x[1:]), digits), wet=_bands(x[[0, 0, 0]], digits)[0])

    def steps(self, value: Film, strength: float) -> tuple[Step, ...]:
        return StainStep(stain=self.stain, strength=strength), Coat(film=value, coats=self.coats)

    def solve(self, cells: Cells, use: Array, name: str) -> Film:
        return _solve(self, cells, use, name)


def _bands(values: Array, digits: int | None) -> tuple[float, float, float]:
    # Written to so many digits in the file; the search itself must not feel the steps.
    a, b, c = (float(v) if digits is None else float(f"{v:.{digits}g}") for v in values)
    return a, b, c


def _predicted(model, value, cells: Cells, use: Array) -> Array:
    """Linear reflectance (n, 3) of the cells in ``use`` under what ``value`` says."""
    out = np.empty((int(use.sum()), 3))
    strength = cells.strength[use]
    axes: WoodAxes = cells.axes
    t, c, w, r = (v[use] for v in (cells.t, cells.c, cells.w, cells.r))
    for s in np.unique(strength):
        at = strength == s
        out[at] = engine_colour(Finish(steps=model.steps(value, float(s))), axes, t[at], c[at], w[at], r[at])
    return out


def _solve(model, cells: Cells, use: Array, name: str):
    from scipy.optimize import least_squares

    # Many cells make a search slow and hardly better; held-out patches are judged on all of theirs.
    use = use & (np.cumsum(use) % max(1, int(use.sum()) // SEARCH) == 0)
    seen = linear_to_lab(cells.after[use])

    def off(x: Array) -> Array:
        lab = linear_to_lab(_predicted(model, model.value(x, name, digits=None), cells, use))
        # Chroma differences count less, as in CIEDE2000.
        chroma = 1 + 0.045 * np.hypot(seen[:, 1], seen[:, 2])
        return ((lab - seen) / np.stack([np.ones_like(chroma), chroma, chroma], axis=1)).ravel()

    low, high = model.bounds()
    x0 = np.clip(model.start(cells), low + 1e-6, high - 1e-6)
    found = least_squares(off, x0, bounds=(low, high), loss="soft_l1", f_scale=2.0, x_scale=np.maximum(high - low, 0.1) / 10,
                          max_nfev=40, diff_step=1e-4)
    return model.value(found.x, name)


def _held_out(model, cells: Cells, name: str) -> Error:
    """Error on patches of which no cell was fitted, every patch once."""
    fold = cells.patch % FOLDS
    wrong: list[float] = []
    for k in range(FOLDS):
        out = fold == k
        if not out.any() or out.all():
            continue
        value = model.solve(cells, ~out, name)
        predicted, patch = _predicted(model, value, cells, out), cells.patch[out]
        order, index = np.unique(patch, return_inverse=True)
        count = np.bincount(index)
        full = count >= 0.6 * np.median(np.bincount(cells.patch)[np.unique(cells.patch)])
        means = [np.stack([np.bincount(index, weights=v[:, b]) / count for b in range(3)], axis=1) for v in (predicted, cells.after[out])]
        wrong += ciede2000(linear_to_lab(means[0]), linear_to_lab(means[1]))[full].tolist()
    values = np.array(wrong)
    return Error(round(float(values.mean()), 3), round(float(np.percentile(values, 95)), 3), round(float(values.max()), 3), values.size)
