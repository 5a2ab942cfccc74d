"""Light off: how bright each place of the face was lit, and in what colour.

Bare paper of the strips shows the light as it falls; a grey card and the greys
of a target say how bright it is. Where there is little paper, the wood itself
has to speak, with a soft voice: its own slow changes look just like light.
Of its colour only what changes along the grain is taken for light; across the
grain lies heartwood beside sapwood, and that is the board's own. Everything
is solved together as one least-squares fit of logarithms, the light a
low-order polynomial over the face, so that the figure cannot enter it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mockup.board.tone import PLAIN, PRIOR, SPREAD, Tone
from mockup.colour.light import D65, adaptation
from mockup.colour.spaces import SRGB_TO_XYZ, XYZ_TO_SRGB, linear_to_lab

__all__ = ["Light", "Spots", "fit_light"]

Array = np.ndarray

# One standard deviation of what is not known, in natural logarithms.
PAPER, PAPER_OFF, PAPER_TINT = 0.86, 0.05, 0.025  # white office paper (common practice)
CARD_OFF, CARD_TINT = 0.02, 0.008
_SEEN = {"paper": 0.010, "grey": 0.012, "neutral": 0.025, "wood": 0.5}
_SHAPE = (1.0, 1.0, 0.5, 0.5, 0.5, 0.12, 0.12, 0.12, 0.12, 0.15)  # of the terms of ``_terms``
_TINT = (0.06, 0.06, 0.03, 0.03, 0.03)
_TINT_ALONE = (0.25, 0.12)  # along the grain, first and second order, when the wood speaks alone
_LOWEST = 0.004   # light below which a sample says nothing


@dataclass(frozen=True, slots=True)
class Spots:
    """Samples of one kind.

    kind   "paper", "grey", "neutral" or "wood".
    at     (N, 2) mm on the face.
    seen   (N, 3) linear light as the photo's file says it, 0..1.
    known  (N, 3) reflectance, for "grey" and "neutral".
    """

    kind: str
    at: Array
    seen: Array
    known: Array | None = None


@dataclass(frozen=True, slots=True)
class Light:
    """The light on a face, and the tone curve it came through.

    shape      (10,) common fall-off; ``tint`` (3, 5) drift of its colour; level (3,) at the middle:
               logarithms, over ``middle`` and ``reach`` mm.
    basis      what the level rests on: "grey card", "target", "paper" or "nothing".
    residual   rms deviation of the paper from the fit, as a share; None without paper.
    fall       brightest to darkest place of the board.
    covered    share of the board that lies within the paper's reach.
    error      expected error (two standard deviations) of the board's mean colour, ΔE of Lab, camera excluded.
    contrast   expected error (two standard deviations) of the figure's contrast, as a share; None without a reference.
    """

    tone: Tone
    middle: tuple[float, float]
    reach: float
    shape: Array
    tint: Array
    level: Array
    basis: str
    residual: float | None
    fall: float
    covered: float
    error: float
    contrast: float | None = None

    def field(self, at: Array) -> Array:
        """Strength of the light at points (..., 2) mm, by channel (..., 3), 1 at the middle of the board."""
        u = (np.asarray(at, np.float64) - self.middle) / self.reach
        terms = _terms(u)
        return np.exp((terms @ self.shape)[..., None] + terms[..., :5] @ self.tint.T)

    def white(self) -> Array:
        """(3, 3) matrix from even, straightened light to reflectance: cast taken off, level set (Bradford)."""
        cast = np.exp(self.level)
        xyz = SRGB_TO_XYZ @ cast
        return XYZ_TO_SRGB @ adaptation(xyz, D65) @ SRGB_TO_XYZ


def _terms(u: Array) -> Array:
    """Polynomial terms (..., 10) without the constant."""
    x, y = u[..., 0], u[..., 1]
    r2 = x * x + y * y
    return np.stack([x, y, x * x, x * y, y * y, x ** 3, x * x * y, x * y * y, y ** 3, r2 * r2], -1)


_RED, _BLUE, _LEVEL, _PAPER, _CARD, _WOOD = 10, 15, 20, 23, 26, 29  # where their unknowns begin


class _System:
    """Rows of the fit; unknowns: shape 10, drift of red and blue 5 each, level 3, paper 3, card 3, wood 3."""

    COUNT = 32

    def __init__(self, spots: list[Spots], size_mm: tuple[float, float], along: float) -> None:
        self.middle = (size_mm[0] / 2, size_mm[1] / 2)
        self.reach = float(np.hypot(*size_mm) / 2)
        alone = {group.kind for group in spots} <= {"wood", "grey"}
        rows, seen, known, weight, self.kinds = [], [], [], [], []
        for group in spots:
            terms = _terms((group.at - self.middle) / self.reach)
            values = group.seen
            if group.kind == "wood" and not alone:  # paper tells the light's colour; the wood's is its own
                values = np.repeat((values @ SRGB_TO_XYZ[1])[:, None], 3, 1)
            for c in range(3):
                row = np.zeros((len(terms), self.COUNT))
                row[:, :10] = terms
                if c != 1 and (group.kind != "wood" or alone):
                    first = _RED if c == 0 else _BLUE
                    row[:, first:first + 5] = terms[:, :5]
                if group.kind == "wood":
                    row[:, _WOOD + (c if alone else 1)] = 1
                else:
                    row[:, _LEVEL + c] = 1
                if group.kind in ("paper", "grey"):
                    row[:, (_PAPER if group.kind == "paper" else _CARD) + c] = 1
                rows.append(row)
                seen.append(values[:, c])
                known.append(np.log(group.known[:, c]) if group.known is not None else np.zeros(len(terms)))
                off = 0.15 if group.kind == "wood" and alone else _SEEN[group.kind] * (
                    np.sqrt(3) if group.kind == "wood" else 1)
                # Dark greys carry flare and noise.
                weight.append(1 / (off * np.where(values[:, c] < 0.03, 2.5, 1)))
                self.kinds += [group.kind] * len(terms)
        self.rows, self.seen = np.concatenate(rows), np.concatenate(seen)
        self.known, self.weight = np.concatenate(known), np.concatenate(weight)
        self.kinds = np.array(self.kinds)
        usable = (self.seen > _LOWEST) & (self.seen < 0.965)
        self.weight = self.weight * np.where(usable, 1, 1e-3)
        self.prior, self.aim = _prior({group.kind for group in spots}, alone, along)

    def log(self, tone: Tone) -> Array:
        return np.log(np.maximum(tone.straighten(self.seen), 1e-4)) - self.known

    def solve(self, tone: Tone) -> tuple[Array, Array]:
        """The unknowns, and all whitened misfits."""
        a = np.concatenate([self.rows * self.weight[:, None], self.prior])
        b = np.concatenate([self.log(tone) * self.weight, self.aim])
        x = np.linalg.solve(a.T @ a + 1e-9 * np.eye(self.COUNT), a.T @ b)
        return x, a @ x - b


def _prior(kinds: set[str], alone: bool, along: float) -> tuple[Array, Array]:
    """Rows that hold the unknowns to what is likely, in standard deviations."""
    rows, aims = [], []

    def hold(index, value: float, off: float) -> None:
        row = np.zeros(_System.COUNT)
        for k, sign in index:
            row[k] = sign
        rows.append(row / off)
        aims.append(value / off)

    for k, off in enumerate(_SHAPE):
        hold([(k, 1)], 0, off)
    tint = _TINT
    if alone:
        first, second = _TINT_ALONE
        tint = (first, 1e-3, second, 1e-3, 1e-3) if abs(along) < 45 else (1e-3, first, 1e-3, 1e-3, second)
    for start in (_RED, _BLUE):
        for k, off in enumerate(tint):
            hold([(start + k, 1)], 0, off)
    for k in range(3):
        hold([(_LEVEL + k, 1)], 0, 3.0 if kinds & {"paper", "grey", "neutral"} else 1e-3)
        hold([(_WOOD + k, 1)], np.log(0.3), 3.0)
    for first, mean, off, tinge in ((_PAPER, np.log(PAPER), PAPER_OFF, PAPER_TINT), (_CARD, 0.0, CARD_OFF, CARD_TINT)):
        hold([(first + 1, 1)], mean, off)
        hold([(first, 1), (first + 1, -1)], 0, tinge)
        hold([(first + 2, 1), (first + 1, -1)], 0, tinge)
    return np.array(rows), np.array(aims)


def fit_light(spots: list[Spots], size_mm: tuple[float, float], wood_rgb: Array, *, along: float = 0.0, straight: bool = False) -> Light:
    """Find the light on a board of ``size_mm``.

    spots     what was sampled; may be wood only.
    wood_rgb  (3,) mean of the board as the photo's file says it, 0..1, for the expected error.
    along     degrees, about how the grain runs.
    straight  whether the photo is known to have no tone curve.
    """
    kinds = {group.kind for group in spots}
    system = _System(spots, size_mm, along)
    known = bool(kinds & {"paper", "grey", "neutral"})
    free = known and not straight
    given = system.weight.copy()
    tone = Tone(*PRIOR) if free else PLAIN
    # Shadows first, or the tone curve would be bent to explain them.
    for _ in range(2 if free else 1):
        _distrust(system, tone, given)
        if free:
            tone = Tone(*_fit_tone(system))
    x, off = system.solve(tone)
    off = np.abs(off[:len(system.rows)])
    paper = (system.kinds == "paper") & (system.weight > 0.5 * given) & (given > 5)
    residual = float(np.sqrt(np.mean((off[paper] / system.weight[paper]) ** 2))) if paper.any() else None
    tint = np.array([x[_RED:_RED + 5], np.zeros(5), x[_BLUE:_BLUE + 5]])
    level = x[_LEVEL:_LEVEL + 3]
    basis = ("target" if "neutral" in kinds else "grey card" if "grey" in kinds else "paper" if "paper" in kinds else "nothing")
    light = Light(tone, system.middle, system.reach, x[:10], tint, level, basis, residual, 1.0, 0.0, 0.0)
    w, h = size_mm
    grid = np.stack(np.meshgrid(np.linspace(0, w, 13), np.linspace(0, h, 13)), -1).reshape(-1, 2)
    strength = light.field(grid)[:, 1]
    places = [g.at for g in spots if g.kind in ("paper", "grey")]
    covered = _covered(grid, np.concatenate(places), 0.35 * light.reach) if places else 0.0
    error, contrast = _error(system, tone, x, np.asarray(wood_rgb, float), free)
    return Light(tone, system.middle, system.reach, x[:10], tint, level, basis, residual,
                 float(strength.max() / strength.min()), covered, error, contrast if known else None)


def _distrust(system: _System, tone: Tone, given: Array) -> None:
    """Lower the weights of paper spots in a shadow or under a finger (Huber's, repeated)."""
    is_paper = system.kinds == "paper"
    if is_paper.sum() < 15:
        return
    for _ in range(15):
        _, off = system.solve(tone)
        off = np.abs(off[:len(system.rows)]) * given / system.weight
        limit = 3 * max(1.48 * float(np.median(off[is_paper])), 1.0)
        share = np.where(is_paper & (off > limit), limit / np.maximum(off, 1e-9), 1.0) ** 2
        if np.allclose(given * share, system.weight, rtol=0.02):
            break
        system.weight = given * share


def _covered(grid: Array, paper: Array, reach: float) -> float:
    """Share of points inside the convex hull of the paper, widened by ``reach``."""
    from scipy.spatial import ConvexHull, QhullError

    near = (np.linalg.norm(grid[:, None] - paper[None], axis=2).min(1) < reach)
    try:
        hull = ConvexHull(paper)
    except (QhullError, ValueError):
        return float(near.mean())
    inside = (grid @ hull.equations[:, :2].T + hull.equations[:, 2] < 0.1 * reach).all(1)
    return float((near | inside).mean())


def _fit_tone(system: _System) -> tuple[float, float]:
    from scipy.optimize import least_squares

    def misfit(t: Array) -> Array:
        _, off = system.solve(Tone(*t))
        return np.append(off, (t - PRIOR) / SPREAD)

    # Within these bounds the curve rises everywhere.
    done = least_squares(misfit, PRIOR, bounds=([-0.45, -0.35], [0.45, 0.85]), diff_step=1e-3, xtol=1e-6)
    lift, bend = (float(v) for v in done.x)
    while not Tone(lift, bend).sound:
        lift, bend = 0.9 * lift, 0.9 * bend
    return lift, bend


def _steepness(tone: Tone, level: float) -> float:
    """How much a small contrast at that light grows when it is straightened."""
    return float(np.log(tone.straighten(level * 1.02) / tone.straighten(level / 1.02)) / np.log(1.02 ** 2))


def _error(system: _System, tone: Tone, x: Array, wood: Array, free: bool) -> tuple[float, float]:
    """Two standard deviations of the board's mean colour and of its contrast, from the spread of the unknowns."""
    rows = np.concatenate([system.rows * system.weight[:, None], system.prior])
    extra = np.zeros((len(rows) + 2, 2))
    if free:
        for k, step in enumerate(((1e-3, 0), (0, 1e-3))):
            moved = Tone(tone.lift + step[0], tone.bend + step[1])
            extra[:len(system.rows), k] = (system.log(tone) - system.log(moved)) / 1e-3 * system.weight
        extra[-2, 0], extra[-1, 1] = 1 / SPREAD[0], 1 / SPREAD[1]
    else:
        extra[-2, 0], extra[-1, 1] = 1e6, 1e6
    a = np.concatenate([np.concatenate([rows, np.zeros((2, rows.shape[1]))]), extra], 1)
    spread = np.linalg.inv(a.T @ a + 1e-9 * np.eye(a.shape[1]))
    wood = np.clip(wood, 1e-3, 0.99)
    base = np.log(tone.straighten(wood))
    slope = np.zeros((3, a.shape[1]))
    slope[:, _LEVEL:_LEVEL + 3] = -np.eye(3)
    if free:
        for k, step in enumerate(((1e-3, 0), (0, 1e-3))):
            slope[:, -2 + k] = (np.log(Tone(tone.lift + step[0], tone.bend + step[1]).straighten(wood)) - base) / 1e-3
    log_spread = slope @ spread @ slope.T
    colour = np.clip(np.exp(base - x[_LEVEL:_LEVEL + 3]), 1e-3, 1.2)
    lab = linear_to_lab(colour)
    to_lab = np.stack([(linear_to_lab(colour * np.exp(1e-4 * e)) - lab) / 1e-4 for e in np.eye(3)], 1)
    level = float(wood @ SRGB_TO_XYZ[1])
    now = _steepness(tone, level)
    steep = np.array([(_steepness(Tone(tone.lift + a, tone.bend + b), level) / now - 1) / 1e-3
                      for a, b in ((1e-3, 0), (0, 1e-3))])
    contrast = float(2 * np.sqrt(steep @ spread[-2:, -2:] @ steep))
    return float(2 * np.sqrt(np.trace(to_lab @ log_spread @ to_lab.T))), contrast
