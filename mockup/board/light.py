"""Light off: how bright each place of the face was lit, and in what colour.

Bare paper of the strips shows the light as it falls; a grey card and the greys
of a target say how bright it is. Where there is little paper, the wood itself
has to speak, with a soft voice: its own slow changes look just like light.
Everything is solved together as one least-squares fit of logarithms, the
light a low-order polynomial over the face, so that the figure cannot enter it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

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
_TINT_SLOPE = 0.06
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

    shape      (10,) common fall-off; ``tint`` (3, 2) slopes of its colour; level (3,) at the middle:
               logarithms, over ``middle`` and ``reach`` mm.
    basis      what the level rests on: "grey card", "target", "paper" or "nothing".
    residual   rms deviation of the paper from the fit, as a share; None without paper.
    fall       brightest to darkest place of the board.
    covered    share of the board that lies within the paper's reach.
    error      expected error (two standard deviations) of the board's mean colour, ΔE of Lab, camera excluded.
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
    steep: bool = False
    notes: tuple[str, ...] = field(default=())

    def field(self, at: Array) -> Array:
        """Strength of the light at points (..., 2) mm, by channel (..., 3), 1 at the middle of the board."""
        u = (np.asarray(at, np.float64) - self.middle) / self.reach
        return np.exp((_terms(u) @ self.shape)[..., None] + u @ self.tint.T)

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


class _System:
    """Rows of the fit; unknowns: shape 10, tint of red and blue 4, level 3, paper 3, card 3, wood 1."""

    COUNT = 24

    def __init__(self, spots: list[Spots], size_mm: tuple[float, float]) -> None:
        self.middle = (size_mm[0] / 2, size_mm[1] / 2)
        self.reach = float(np.hypot(*size_mm) / 2)
        rows, seen, known, weight, self.kinds = [], [], [], [], []
        for group in spots:
            u = (group.at - self.middle) / self.reach
            terms = _terms(u)
            for c in range(3):
                row = np.zeros((len(u), self.COUNT))
                row[:, :10] = terms
                if c != 1:
                    row[:, 10 + c:12 + c] = u       # red 10, 11; blue 12, 13
                row[:, 14 + c] = 1
                if group.kind == "paper":
                    row[:, 17 + c] = 1
                elif group.kind == "grey":
                    row[:, 20 + c] = 1
                elif group.kind == "wood":
                    row[:, 14:17] = 0
                    row[:, 10:14] = 0               # brightness only: its colour is its own
                    row[:, 23] = 1
                rows.append(row)
                seen.append(group.seen[:, c])
                known.append(np.log(group.known[:, c]) if group.known is not None else np.zeros(len(u)))
                off = _SEEN[group.kind] * (np.sqrt(3) if group.kind == "wood" else 1)
                # Dark greys carry flare and noise.
                weight.append(1 / (off * np.where(group.seen[:, c] < 0.03, 2.5, 1)))
                self.kinds += [group.kind] * len(u)
        self.rows, self.seen = np.concatenate(rows), np.concatenate(seen)
        self.known, self.weight = np.concatenate(known), np.concatenate(weight)
        self.kinds = np.array(self.kinds)
        usable = (self.seen > _LOWEST) & (self.seen < 0.965)
        self.weight = self.weight * np.where(usable, 1, 1e-3)
        self.prior, self.aim = _prior(spots)

    def log(self, tone: Tone) -> Array:
        return np.log(np.maximum(tone.straighten(self.seen), 1e-4)) - self.known

    def solve(self, tone: Tone) -> tuple[Array, Array]:
        """The unknowns, and all whitened misfits."""
        a = np.concatenate([self.rows * self.weight[:, None], self.prior])
        b = np.concatenate([self.log(tone) * self.weight, self.aim])
        x = np.linalg.solve(a.T @ a + 1e-9 * np.eye(self.COUNT), a.T @ b)
        return x, a @ x - b


def _prior(spots: list[Spots]) -> tuple[Array, Array]:
    rows, aims = [], []

    def hold(index, value: float, off: float) -> None:
        row = np.zeros(_System.COUNT)
        for k, sign in index:
            row[k] = sign
        rows.append(row / off)
        aims.append(value / off)

    for k, off in enumerate(_SHAPE):
        hold([(k, 1)], 0, off)
    for k in range(10, 14):
        hold([(k, 1)], 0, _TINT_SLOPE)
    kinds = {group.kind for group in spots}
    for k in range(14, 17):
        hold([(k, 1)], 0, 3.0 if kinds & {"paper", "grey", "neutral"} else 1e-3)
    for first, mean, off, tint in ((17, np.log(PAPER), PAPER_OFF, PAPER_TINT), (20, 0.0, CARD_OFF, CARD_TINT)):
        hold([(first + 1, 1)], mean, off)
        hold([(first, 1), (first + 1, -1)], 0, tint)
        hold([(first + 2, 1), (first + 1, -1)], 0, tint)
    hold([(23, 1)], np.log(0.3), 3.0)
    return np.array(rows), np.array(aims)


def fit_light(spots: list[Spots], size_mm: tuple[float, float], wood_rgb: Array) -> Light:
    """Find the light on a board of ``size_mm``.

    spots     what was sampled; may be wood only.
    wood_rgb  (3,) mean of the board as the photo's file says it, 0..1, for the expected error.
    """
    kinds = {group.kind for group in spots}
    system = _System(spots, size_mm)
    free = bool(kinds & {"paper", "grey", "neutral"})
    lift, bend = _fit_tone(system) if free else (0.0, 0.0)
    tone = Tone(lift, bend) if free else PLAIN
    for _ in range(3):  # a spot in shadow or under a finger must not bend the light
        x, off = system.solve(tone)
        off = np.abs(off[:len(system.rows)])
        loose = (system.kinds == "paper") & (off > 4 + 2 * np.median(off[system.kinds == "paper"] if "paper" in kinds else [0]))
        if not loose.any() or loose.sum() > 0.3 * (system.kinds == "paper").sum():
            break
        system.weight = np.where(loose, system.weight * 0.05, system.weight)
        if free:
            tone = Tone(*_fit_tone(system))
    paper = (system.kinds == "paper") & (system.weight > 5)
    residual = float(np.sqrt(np.mean((off[paper] / system.weight[paper]) ** 2))) if paper.any() else None
    tint = np.array([x[10:12], (0, 0), x[12:14]])
    basis = ("target" if "neutral" in kinds else "grey card" if "grey" in kinds else "paper" if "paper" in kinds else "nothing")
    light = Light(tone, system.middle, system.reach, x[:10], tint, x[14:17], basis, residual, 1.0, 0.0, 0.0)
    w, h = size_mm
    grid = np.stack(np.meshgrid(np.linspace(0, w, 13), np.linspace(0, h, 13)), -1).reshape(-1, 2)
    strength = light.field(grid)[:, 1]
    places = [g.at for g in spots if g.kind in ("paper", "grey")]
    covered = _covered(grid, np.concatenate(places), 0.35 * light.reach) if places else 0.0
    error = _error(system, tone, x, np.asarray(wood_rgb, float), free)
    # The level is set at the middle; a field that is not 1 there would shift it.
    return Light(tone, system.middle, system.reach, x[:10], tint, x[14:17], basis, residual,
                 float(strength.max() / strength.min()), covered, error)


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


def _error(system: _System, tone: Tone, x: Array, wood: Array, free: bool) -> float:
    """Two standard deviations of the board's mean colour, from the spread of the unknowns."""
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
    slope[:, 14:17] = -np.eye(3)
    if free:
        for k, step in enumerate(((1e-3, 0), (0, 1e-3))):
            slope[:, -2 + k] = (np.log(Tone(tone.lift + step[0], tone.bend + step[1]).straighten(wood)) - base) / 1e-3
    log_spread = slope @ spread @ slope.T
    colour = np.clip(np.exp(base - x[14:17]), 1e-3, 1.2)
    lab = linear_to_lab(colour)
    to_lab = np.stack([(linear_to_lab(colour * np.exp(1e-4 * e)) - lab) / 1e-4 for e in np.eye(3)], 1)
    return float(2 * np.sqrt(np.trace(to_lab @ log_spread @ to_lab.T)))
