"""Where a drawn outline lies in a squared-up photograph: found by its edge, then placed along it.

An outline is a long run over which colour changes across it. For every turn
the energy of edges that lie across the outline's own normals is a correlation,
so that all places are tried at once; the best are then placed to a fraction
of a millimetre by where the edge stands along each normal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Fit", "fit_outline", "lay"]

COARSE = 0.2          # px/mm at which all places are tried
STEP = 12.0           # mm by which the ends of an outline move from one turn tried to the next
FEWEST, MOST = 90, 240  # turns tried, a full circle
TRIED = 10            # best places that are looked at closely
EDGE = 6.0            # ΔE (CIE76) across an edge that counts as one
BAND = 2.5            # mm on either side that are compared
BESIDE = (2.5, 7.0)   # mm from the edge between which wood and bench are held against each other
CLEAR = 5.0           # ΔE by which they must differ
ON = 1.5              # mm within which an edge lies on the outline
WINDOWS = (16.0, 14.0, 12.0, 9.0, 7.0, 5.0, 4.0, 3.0, 2.5, 2.5, 2.5)  # mm searched to each side, one pass after another
MOST_SCALE = 0.08     # share by which a part that lies above or below the markers looks larger or smaller
LEAST_SEEN, LEAST_ON, LEAST_CLEAR, MOST_OFF = 0.45, 0.7, 0.6, 1.3


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """An outline laid on a photo.

    matrix  (2, 3): drawing mm to mm of the photo.
    seen    share of the outline that is neither covered nor outside the photo.
    on      share of that which has an edge within 1.5 mm.
    clear   share of that at which wood and what lies beside it differ.
    off     mm, root mean square of how far the edge lies off.
    """

    matrix: np.ndarray
    seen: float
    on: float
    clear: float
    off: float

    @property
    def turn(self) -> float:
        """Degrees clockwise."""
        return math.degrees(math.atan2(self.matrix[1, 0], self.matrix[0, 0]))

    @property
    def scale(self) -> float:
        return float(np.hypot(self.matrix[0, 0], self.matrix[1, 0]))

    @property
    def good(self) -> bool:
        """Whether the outline can be taken to lie there."""
        return self.seen >= LEAST_SEEN and self.on >= LEAST_ON and self.clear >= LEAST_CLEAR and self.off <= MOST_OFF and \
            abs(math.log(self.scale)) < MOST_SCALE


def lay(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points (N, 2) of the drawing in mm of the photo."""
    return points @ matrix[:, :2].T + matrix[:, 2]


def fit_outline(lab: np.ndarray, hidden: np.ndarray, px_per_mm: float, rings: Sequence[np.ndarray]) -> Fit | None:
    """The best place of an outline in a squared-up view; None where there is no room for it at all.

    lab     (H, W, 3) float32, CIE Lab or near it; its (0, 0) is the outer corner of the first pixel.
    hidden  (H, W) bool: paper, or outside the photo.
    rings   closed curves (N, 2), drawing mm.
    """
    points, normals = _sampled(rings, 3.0)
    if len(points) < 12:
        return None
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    smooth = cv2.GaussianBlur(lab, (0, 0), max(0.5, 0.6 * px_per_mm))
    best: Fit | None = None
    for turn, at in _places(smooth, hidden, px_per_mm, points - middle, normals):
        found = _placed(smooth, hidden, px_per_mm, points - middle, normals, turn, at)
        if found is not None and (best is None or _rank(found) > _rank(best)):
            best = found
    if best is None:
        return None
    moved = best.matrix.copy()
    moved[:, 2] -= moved[:, :2] @ middle
    return Fit(moved, best.seen, best.on, best.clear, best.off)


def _rank(fit: Fit) -> float:
    return fit.seen**0.5 * fit.on * (0.3 + fit.clear)


def _sampled(rings: Sequence[np.ndarray], step: float) -> tuple[np.ndarray, np.ndarray]:
    """Points (N, 2) every ``step`` mm along closed curves, and the unit normals there."""
    points, normals = [], []
    for ring in rings:
        closed = np.concatenate([ring, ring[:1]])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
        count = max(6, round(along[-1] / step))
        at = np.arange(count) * along[-1] / count

        def curve(s: np.ndarray, along=along, closed=closed) -> np.ndarray:
            s = np.mod(s, along[-1])
            return np.stack([np.interp(s, along, closed[:, k]) for k in (0, 1)], axis=-1)

        way = curve(at + step) - curve(at - step)
        long = np.hypot(*way.T)
        points.append(curve(at))
        normals.append(np.stack([way[:, 1], -way[:, 0]], axis=-1) / np.maximum(long, 1e-9)[:, None])
    # Outward or inward is the same to an edge, but not to what lies beside it: larger signed area decides.
    p, n = np.concatenate(points), np.concatenate(normals)
    area = sum(float((r[:, 0] * np.roll(r[:, 1], -1) - np.roll(r[:, 0], -1) * r[:, 1]).sum()) for r in rings)
    return p, n if area > 0 else -n


def _tensor(lab: np.ndarray, hidden: np.ndarray, px_per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Edges as a tensor (3, h, w) of xx, xy, yy, 0..1, at COARSE px/mm; and what of each pixel is seen."""
    share = COARSE / px_per_mm
    reach = max(1, round(BAND * px_per_mm))
    kernel = np.concatenate([-np.ones(reach), [0.0], np.ones(reach)]) / reach
    even = np.ones(reach) / reach
    dx, dy = cv2.sepFilter2D(lab, cv2.CV_32F, kernel, even), cv2.sepFilter2D(lab, cv2.CV_32F, even, kernel)
    j = np.stack([(dx * dx).sum(2), (dx * dy).sum(2), (dy * dy).sum(2)])
    trace = j[0] + j[2]
    j /= trace + (1.5 * EDGE) ** 2
    wide = cv2.dilate(hidden.astype(np.uint8), np.ones((2 * reach + 3,) * 2, np.uint8)).astype(bool)
    j[:, wide] = 0
    size = tuple(max(8, round(n * share)) for n in hidden.shape[::-1])
    small = np.stack([cv2.GaussianBlur(cv2.resize(v.astype(np.float32), size, interpolation=cv2.INTER_AREA), (0, 0), 1.0) for v in j])
    return small, 1 - cv2.resize(wide.astype(np.float32), size, interpolation=cv2.INTER_AREA)


def _places(lab: np.ndarray, hidden: np.ndarray, px_per_mm: float, points: np.ndarray, normals: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Turns (degrees) and middles (mm of the view) with the most edge under the outline, best first."""
    j, seen = _tensor(lab, hidden, px_per_mm)
    h, w = seen.shape
    reach = int(np.ceil(np.hypot(*points.T).max() * COARSE)) + 2
    size = (cv2.getOptimalDFTSize(h + 2 * reach), cv2.getOptimalDFTSize(w + 2 * reach))
    padded = [np.fft.rfft2(np.pad(v, ((reach, size[0] - h - reach), (reach, size[1] - w - reach))).astype(np.float32)) for v in (*j, seen)]
    found: list[tuple[float, float, np.ndarray]] = []
    turns = int(np.clip(2 * np.pi * np.hypot(*points.T).max() / STEP, FEWEST, MOST))
    for turn in np.arange(turns) * 360.0 / turns:
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        spin = np.array([[c, s], [-s, c]])
        at = np.rint(points @ spin * COARSE).astype(int)
        n = normals @ spin
        kernels = np.zeros((4, *size), np.float32)
        rows, cols = at[:, 1] % size[0], at[:, 0] % size[1]
        for k, weight in enumerate((n[:, 0] ** 2, 2 * n[:, 0] * n[:, 1], n[:, 1] ** 2, np.ones(len(n)))):
            np.add.at(kernels[k], (rows, cols), weight)
        turned = [np.conj(np.fft.rfft2(k)) for k in kernels]
        edge = np.fft.irfft2(sum(a * b for a, b in zip(padded[:3], turned[:3], strict=True)), size)
        open_ = np.fft.irfft2(padded[3] * turned[3], size)
        score = edge / np.maximum(open_, LEAST_SEEN * len(points))
        # A few of each turn: the best of all may be one of chance.
        for _ in range(3):
            row, col = np.unravel_index(int(score.argmax()), score.shape)
            found.append((float(score[row, col]), float(turn), (np.array([col, row]) - reach) / COARSE))
            score[max(row - 8, 0):row + 9, max(col - 8, 0):col + 9] = 0
    found.sort(key=lambda f: -f[0])
    kept: list[tuple[float, np.ndarray]] = []
    for _, turn, at in found:
        if all(abs((turn - t + 180) % 360 - 180) > 2.2 * 360 / turns or np.hypot(*(at - a)) > 12 for t, a in kept):
            kept.append((turn, at))
        if len(kept) == TRIED:
            break
    return kept


def _sample(lab: np.ndarray, px_per_mm: float, at: np.ndarray) -> np.ndarray:
    """Values (..., C) of an image at points (..., 2) in mm."""
    p = (at * px_per_mm - 0.5).astype(np.float32)
    flat = p.reshape(len(p), -1, 2)
    return cv2.remap(lab, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(*p.shape[:-1], -1)


def _placed(lab: np.ndarray, hidden: np.ndarray, px_per_mm: float, points: np.ndarray, normals: np.ndarray, turn: float,
            at: np.ndarray) -> Fit | None:
    """The outline moved, turned and scaled onto the edge it lies nearest to."""
    angle, shift, grow = math.radians(turn), np.array(at, float), 0.0
    shut = hidden.astype(np.float32)
    result: Fit | None = None
    for window in WINDOWS:
        c, s = math.cos(angle) * math.exp(grow), math.sin(angle) * math.exp(grow)
        matrix = np.array([[c, -s, shift[0]], [s, c, shift[1]]])
        p = lay(matrix, points)
        n = normals @ np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        offset, strong, seen = _edges_along(lab, shut, px_per_mm, p, n, window)
        if seen.sum() < 12:
            return None
        result = _judged(lab, px_per_mm, matrix, p, n, offset, strong, seen)
        # Tukey's weights: what lies far off belongs to another edge.
        spread = max(1.4826 * float(np.median(np.abs(offset[seen] - np.median(offset[seen])))), 0.4)
        weight = np.clip(1 - (offset / (4.0 * spread)) ** 2, 0, None) ** 2 * np.minimum(strong / EDGE, 1) * seen
        r = p - shift
        a = np.column_stack([n[:, 0], n[:, 1], n[:, 1] * r[:, 0] - n[:, 0] * r[:, 1], (n * r).sum(axis=1)])
        ridge = np.diag([1e-6, 1e-6, 1e-3, 40.0 + 1e-3 * float((r**2).sum())])
        step = np.linalg.solve(a.T @ (a * weight[:, None]) + ridge, a.T @ (weight * offset) - ridge @ np.array([0, 0, 0, grow]) * 0.2)
        shift = shift + step[:2]
        angle += float(step[2])
        grow = float(np.clip(grow + step[3], -MOST_SCALE, MOST_SCALE))
    return result


def _edges_along(lab: np.ndarray, shut: np.ndarray, px_per_mm: float, p: np.ndarray, n: np.ndarray,
                 window: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """mm along each normal to its clearest edge, how clear (ΔE), and which points can be seen."""
    step = 0.5
    k = int(round(BAND / step))
    reach = np.arange(-round(window / step) - k, round(window / step) + k + 1) * step
    profile = _sample(lab, px_per_mm, p[:, None] + n[:, None] * reach[:, None])
    total = np.concatenate([np.zeros_like(profile[:, :1]), np.cumsum(profile, axis=1)], axis=1)
    count = len(reach) - 2 * k
    after = (total[:, k + 1 + k:k + 1 + k + count] - total[:, k + 1:k + 1 + count]) / k
    before = (total[:, k:k + count] - total[:, :count]) / k
    edge = np.sqrt(((after - before) ** 2).sum(axis=2))
    # The nearer of two alike is meant.
    middle = reach[k:k + count]
    best = (np.minimum(edge, 4 * EDGE) * np.exp(-0.5 * (middle / (0.8 * window)) ** 2)).argmax(axis=1)
    inner = np.clip(best, 1, count - 2)
    rows = np.arange(len(p))
    left, here, right = edge[rows, inner - 1], edge[rows, inner], edge[rows, inner + 1]
    curve = left - 2 * here + right
    fine = np.where(curve < -1e-6, 0.5 * (left - right) / np.minimum(curve, -1e-6), 0.0)
    high, wide = shut.shape
    q = p * px_per_mm - 0.5
    inside = (q[:, 0] > 2) & (q[:, 1] > 2) & (q[:, 0] < wide - 3) & (q[:, 1] < high - 3)
    around = p[:, None] + n[:, None] * np.array([-BAND, 0.0, BAND])[:, None]
    clear = _sample(shut[..., None], px_per_mm, around)[..., 0].max(axis=1) < 0.05
    return middle[inner] + np.clip(fine, -1, 1) * step, edge[rows, best], inside & clear


def _judged(lab: np.ndarray, px_per_mm: float, matrix: np.ndarray, p: np.ndarray, n: np.ndarray, offset: np.ndarray, strong: np.ndarray,
            seen: np.ndarray) -> Fit:
    """How well an outline lies where it is."""
    hit = seen & (np.abs(offset) <= ON) & (strong >= EDGE)
    beside = np.linspace(*BESIDE, 6)
    inner, outer = (_sample(lab, px_per_mm, p[:, None] + n[:, None] * (sign * beside)[:, None]).mean(axis=1) for sign in (-1, 1))
    # Averaged along the outline, so that figure does not count as an edge.
    differ = cv2.blur(np.ascontiguousarray(outer - inner)[:, None], (1, 7), borderType=cv2.BORDER_REFLECT)[:, 0]
    clear = seen & (np.sqrt((differ**2).sum(axis=1)) > CLEAR)
    near = seen & (np.abs(offset) <= 2 * ON)
    off = float(np.sqrt((offset[near] ** 2).mean())) if near.any() else 99.0
    share = max(int(seen.sum()), 1)
    return Fit(matrix, float(seen.mean()), float(hit.sum() / share), float(clear.sum() / share), off)
