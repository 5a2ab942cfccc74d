"""Find the face, the lens and the lie of the paper from markers, all together.

Unknown are the view (a homography), the lens, where each piece of the sheet
lies, and how far the printer spread the black. It is bundle adjustment with a
flat target (Triggs, McLauchlan, Hartley and Fitzgibbon 2000), so the
uncertainty of a length is known too.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from mockup.board.markers import Markers
from mockup.board.plane import UNIT, Plane, camera, face_matrix, project
from mockup.board.sheet import Sheet
from mockup.errors import MockupError

__all__ = ["expected", "fit_plane"]

Array = np.ndarray

_FLOOR = 0.04         # px, the least a corner can be trusted to
_LENS = np.array([0.10, 0.06, 0.0005, 0.0005])  # lens terms of phones and cameras, one standard deviation (our judgement)
_GUESSES = (0.65, 0.85, 1.2, 2.0)  # focal length over the longer side: phones and cameras, for a start only
_JOINED = 0.35        # mm; halves nearer than this to their uncut places are taken as uncut
class _Problem:
    """Corners on pieces of paper and where they are seen."""

    def __init__(self, sheet: Sheet, markers: Markers, size: tuple[int, int]) -> None:
        self.centre, self.half = camera(size)
        owner = np.array([sheet.piece_of(n) for n in markers.numbers])
        used, counts = np.unique(owner, return_counts=True)
        span = [np.ptp(markers.corners[owner == k].reshape(-1, 2), axis=0).max() for k in used]
        order = np.lexsort((-np.array(span), -counts))
        self.used = used[order]  # the fullest piece first: it holds the axes
        self.names = [sheet.pieces[k].name for k in self.used]
        rank = {k: i for i, k in enumerate(self.used)}
        self.piece = np.repeat([rank[k] for k in owner], 4)
        mm = np.array([sheet.pieces[k].markers[int(n)] for k, n in zip(owner, markers.numbers, strict=True)])
        self.mm = mm.reshape(-1, 2)
        self.out = np.sign(mm - mm.mean(1, keepdims=True)).reshape(-1, 2)  # the way the black spreads
        self.seen = markers.corners.reshape(-1, 2)
        self.bleed = sheet.bleed
        self.count = 13 + 3 * (len(self.used) - 1)
        self.ties: list[tuple[int, int, float, float]] = []
        for i, k in enumerate(self.used):
            joins = sheet.pieces[k].joins
            if joins and joins[0] in self.names:
                self.ties.append((i, self.names.index(joins[0]), *joins[1:]))
        self.tied: list[tuple[int, int, float, float]] = []
        self.keep = np.ones(len(self.mm), bool)

    def motions(self, p: Array) -> Array:
        """(pieces, 2, 3) rigid motions."""
        out = np.zeros((len(self.used), 2, 3))
        out[0] = np.eye(2, 3)
        for i in range(1, len(self.used)):
            x, y, turn = p[13 + 3 * (i - 1): 16 + 3 * (i - 1)]
            c, s = np.cos(turn), np.sin(turn)
            out[i] = [[c, -s, x * UNIT], [s, c, y * UNIT]]
        return out

    def place(self, p: Array) -> Array:
        """All corners on the face, mm."""
        mm = self.mm + self.out * (p[12] * self.bleed)
        motion = self.motions(p)[self.piece]
        return np.einsum("nij,nj->ni", motion[:, :, :2], mm) + motion[:, :, 2]

    def off(self, p: Array) -> Array:
        """(N, 2) px, where corners are expected less where they are seen."""
        view = project(self.place(p), face_matrix(p, self.centre, self.half), self.centre, self.half, p[8:12])
        return np.nan_to_num(view - self.seen, nan=1e4)

    def cost(self, p: Array) -> Array:
        return np.concatenate([(self.off(p)[self.keep] / max(self.sigma, _FLOOR)).ravel(), self.prior(p)])

    def prior(self, p: Array) -> Array:
        """What is known beforehand, in standard deviations."""
        prior = [*(p[8:12] / _LENS), p[12]]
        motion = self.motions(p) if self.tied else None
        for i, j, x, y in self.tied:
            gap = motion[j][:, :2] @ (x, y) + motion[j][:, 2] - motion[i][:, 2]
            turn = motion[j][:, :2].T @ motion[i][:, 0]
            prior += [gap[0] / 0.05, gap[1] / 0.05, turn[1] / 0.001]
        return np.array(prior)

    def slope(self, p: Array) -> Array:
        """Derivatives of ``cost`` by the unknowns."""
        mm = self.mm + self.out * (p[12] * self.bleed)
        motion = self.motions(p)[self.piece]
        face = (np.einsum("nij,nj->ni", motion[:, :, :2], mm) + motion[:, :, 2]) / UNIT
        view = np.append(p[:8], 1.0).reshape(3, 3)
        flat = np.concatenate([face, np.ones((len(face), 1))], 1) @ view.T
        z = np.where(flat[:, 2] > 1e-6, flat[:, 2], np.nan)[:, None]
        point = flat[:, :2] / z
        k1, k2, p1, p2 = p[8:12]
        x, y = point.T
        r2 = x * x + y * y
        radial, more = 1 + r2 * (k1 + k2 * r2), 2 * k1 + 4 * k2 * r2
        bend = np.empty((len(face), 2, 2))
        bend[:, 0, 0] = radial + more * x * x + 2 * p1 * y + 6 * p2 * x
        bend[:, 0, 1] = bend[:, 1, 0] = more * x * y + 2 * p1 * x + 2 * p2 * y
        bend[:, 1, 1] = radial + more * y * y + 6 * p1 * y + 2 * p2 * x
        bend *= self.half
        by_face = (view[None, :2, :2] - point[:, :, None] * view[None, 2:, :2]) / z[:, :, None]
        out = np.zeros((len(face), 2, self.count))
        plain = np.concatenate([face, np.ones((len(face), 1))], 1) / z
        out[:, 0, 0:3], out[:, 1, 3:6] = plain, plain
        out[:, :, 6:8] = -point[:, :, None] * plain[:, None, :2]
        out[:, :, 12] = np.einsum("nij,njk,nk->ni", by_face, motion[:, :, :2], self.out) * (self.bleed / UNIT)
        for i in range(1, len(self.used)):
            mine = self.piece == i
            at = 13 + 3 * (i - 1)
            c, s = np.cos(p[at + 2]), np.sin(p[at + 2])
            out[mine, :, at:at + 2] = by_face[mine]
            out[mine, :, at + 2] = np.einsum("nij,nj->ni", by_face[mine], mm[mine] @ np.array([[-s, c], [-c, -s]])) / UNIT
        out = np.einsum("nij,njk->nik", bend, out)
        out[:, :, 8] = self.half * point * r2[:, None]
        out[:, :, 9] = self.half * point * (r2 * r2)[:, None]
        out[:, 0, 10] = out[:, 1, 11] = self.half * 2 * x * y
        out[:, 1, 10], out[:, 0, 11] = self.half * (r2 + 2 * y * y), self.half * (r2 + 2 * x * x)
        rows = np.nan_to_num(out[self.keep] / max(self.sigma, _FLOOR)).reshape(-1, self.count)
        known = self.prior(p)
        ends = np.zeros((len(known), self.count))
        for k in range(8, self.count):
            step = np.zeros(self.count)
            step[k] = 1e-6
            ends[:, k] = (self.prior(p + step) - known) / 1e-6
        return np.concatenate([rows, ends])

    sigma = 0.15

    def solve(self, p: Array, *, robust: bool, tries: int) -> tuple[Array, float]:
        """The unknowns that fit best from ``p`` on, and the cost: damped least squares (Levenberg and Marquardt).

        robust  a corner far off counts by its distance, not the square of it (reweighted in each round).
        """
        def price(off: Array) -> float:
            return float((2 * (np.sqrt(1 + off * off) - 1)).sum() if robust else (off * off).sum())

        off = self.cost(p)
        cost, damp = price(off), 1e-3
        for _ in range(tries):
            slope = self.slope(p)
            weight = 1 / np.sqrt(1 + off * off) if robust else np.ones_like(off)
            square = slope.T @ (slope * weight[:, None])
            fall = slope.T @ (off * weight)
            before = cost
            while damp < 1e9:
                step = np.linalg.solve(square + np.diag(damp * np.diag(square) + 1e-12), fall)
                trial = self.cost(p - step)
                if (now := price(trial)) <= cost:
                    p, off, cost, damp = p - step, trial, now, max(damp / 6, 1e-9)
                    break
                damp *= 5
            if damp >= 1e9 or before - cost < 1e-8 * before + 1e-12:
                break
        return p, cost

    def starts(self) -> list[Array]:
        """First guesses of all unknowns, from the fullest piece and some likely lenses."""
        first = self.piece == 0
        flat = np.column_stack([self.mm[first], np.zeros(first.sum())])
        views = []
        matrix, _ = cv2.findHomography(self.mm[first], self.seen[first])
        if matrix is not None:
            views.append(matrix)
        for guess in _GUESSES:
            focal = guess * 1.6 * self.half
            lens = np.array([[focal, 0, self.centre[0]], [0, focal, self.centre[1]], [0, 0, 1]])
            count, turns, shifts, _ = cv2.solvePnPGeneric(flat, self.seen[first], lens, None, flags=cv2.SOLVEPNP_IPPE)
            for k in range(count):
                turn, _ = cv2.Rodrigues(turns[k])
                views.append(lens @ np.column_stack([turn[:, :2], shifts[k]]))
        return [p for p in (self._start(view) for view in views) if p is not None]

    def _start(self, matrix: Array) -> Array | None:
        to_pixels = np.array([[self.half, 0, self.centre[0]], [0, self.half, self.centre[1]], [0, 0, 1]])
        small = np.linalg.inv(to_pixels) @ matrix @ np.diag([UNIT, UNIT, 1])
        if abs(small[2, 2]) < 1e-9:
            return None
        p = np.zeros(self.count)
        p[:8] = (small / small[2, 2]).ravel()[:8]
        back = np.concatenate([self.seen, np.ones((len(self.seen), 1))], 1) @ np.linalg.inv(matrix).T
        back = back[:, :2] / back[:, 2:]
        for i in range(1, len(self.used)):
            a, b = self.mm[self.piece == i], back[self.piece == i]
            da, db = a - a.mean(0), b - b.mean(0)
            turn = np.arctan2((da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]).sum(), (da * db).sum())
            c, s = np.cos(turn), np.sin(turn)
            shift = b.mean(0) - np.array([[c, -s], [s, c]]) @ a.mean(0)
            p[13 + 3 * (i - 1): 16 + 3 * (i - 1)] = *(shift / UNIT), turn
        return p if np.isfinite(p).all() else None


def expected(sheet: Sheet, plane: Plane, known: Array) -> tuple[Array, Array]:
    """Numbers (N,) and corners (N, 4, 2) px of the markers not ``known`` on the pieces that were placed."""
    numbers, corners = [], []
    for piece in sheet.pieces:
        motion = (plane.placed or {}).get(piece.name)
        for number, mm in piece.markers.items() if motion is not None else ():
            if number not in known:
                numbers.append(number)
                corners.append(plane.to_image(mm @ motion[:, :2].T + motion[:, 2]))
    return np.array(numbers, int), np.nan_to_num(np.array(corners).reshape(-1, 4, 2), nan=-1e4)


def fit_plane(sheet: Sheet, markers: Markers, size: tuple[int, int]) -> Plane:
    """Find the face from the markers of a photo of ``size`` (width, height) pixels.

    Raises MockupError when the markers do not suffice or do not fit together.
    """
    if len(markers.numbers) < 2:
        raise MockupError("Only one marker can be read, which is too few.",
                          fix="Get all strips into the picture, unfolded and unhidden.")
    problem = _Problem(sheet, markers, size)
    far = lambda p: float(np.minimum(np.linalg.norm(problem.off(p), axis=1), 100).sum())
    tries = []
    for start in sorted(problem.starts(), key=far)[:4]:
        p, cost = problem.solve(start, robust=True, tries=15)
        tries.append((cost, len(tries), p))
    if not tries:
        raise _unfit()
    p, _ = problem.solve(min(tries)[2], robust=True, tries=200)
    for _ in range(3):  # markers on a curled or hidden bit of paper
        off = np.linalg.norm(problem.off(p), axis=1)
        typical = max(float(np.median(off[problem.keep])), 0.05)
        bad = np.repeat(off.reshape(-1, 4).max(1) > max(8 * typical, 0.7), 4)
        if bad.mean() > 0.34:
            raise _unfit()
        problem.keep = ~bad
        problem.sigma = max(float(np.sqrt(np.mean(off[~bad] ** 2) / 2)), _FLOOR)
        p, _ = problem.solve(p, robust=False, tries=60)
    motion = problem.motions(p)
    for i, j, x, y in problem.ties:
        gap = np.linalg.norm(motion[j][:, :2] @ (x, y) + motion[j][:, 2] - motion[i][:, 2])
        if gap < _JOINED:
            problem.tied.append((i, j, x, y))
    p, _ = problem.solve(p, robust=False, tries=60)
    used = problem.keep
    slope = problem.slope(p)
    off = problem.off(p)[used]
    freedom = max(2 * used.sum() - problem.count, 1)
    sigma = max(float(np.sqrt((off ** 2).sum() / freedom)), _FLOOR)
    # The corners of a marker share the paper's and the lens's own errors: count four as two.
    spread = np.linalg.pinv(slope.T @ slope) * max((sigma / problem.sigma) ** 2, 1.0) * 2
    plane = Plane(face_matrix(p, problem.centre, problem.half), problem.centre, problem.half, tuple(float(v) for v in p[8:12]),
                  dict(zip(problem.names, problem.motions(p), strict=True)), int(used.sum() // 4),
                  float(np.sqrt((off ** 2).sum(1).mean())), spread, p)
    if plane.residual > 0.006 * problem.half or np.linalg.det(plane.matrix) <= 0:
        raise _unfit()
    return replace(plane, strange=_strange(problem, plane, p))


def _unfit() -> MockupError:
    return MockupError("The markers do not fit together as one flat sheet.",
                       fix="Lay every strip flat at the height of the board's face, and do not bend or stretch the photo.")


def _strange(problem: _Problem, plane: Plane, p: Array) -> tuple[tuple[str, float], ...]:
    """Pieces whose size on the face differs from the paper's by more than the fit explains."""
    face = plane.to_face(problem.seen)
    out = []
    sizes = []
    for i, name in enumerate(problem.names):
        mine = (problem.piece == i) & problem.keep
        if mine.sum() < 8:
            continue
        a = problem.mm[mine] + problem.out[mine] * (p[12] * problem.bleed)
        da, db = a - a.mean(0), face[mine] - face[mine].mean(0)
        ratio = np.hypot((da * db).sum(), (da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]).sum()) / (da * da).sum()
        noise = plane.residual / np.median(plane.px_per_mm(face[mine])) / np.sqrt((da * da).sum())
        sizes.append((name, ratio, noise))
    middle = np.median([s[1] for s in sizes]) if sizes else 1.0
    for name, ratio, noise in sizes:
        if abs(ratio / middle - 1) > max(0.006, 4 * noise):
            out.append((name, float(ratio / middle)))
    return tuple(out)
