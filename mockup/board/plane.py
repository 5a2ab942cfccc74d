"""The face of the board in the photograph: from pixels to mm and back.

Unknown are the view (a homography), the lens (two radial terms, two of decentring), where each
piece of the sheet lies, and how far the printer spread the black. All are
found together, as in bundle adjustment with a flat target (Triggs, McLauchlan,
Hartley and Fitzgibbon 2000), so that the uncertainty of a length is known too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from mockup.board.markers import Markers
from mockup.board.sheet import Sheet
from mockup.errors import MockupError

__all__ = ["Plane", "check_size", "expected", "fit_plane", "plane_from_corners", "plane_from_scan"]

Array = np.ndarray

_UNIT = 100.0         # mm; keeps the unknowns near 1
_FLOOR = 0.04         # px, the least a corner can be trusted to
_LENS = np.array([0.10, 0.06, 0.0005, 0.0005])  # lens terms of phones and cameras, one standard deviation (our judgement)
_GUESSES = (0.65, 0.85, 1.2, 2.0)  # focal length over the longer side: phones and cameras, for a start only
_JOINED = 0.35        # mm; halves nearer than this to their uncut places are taken as uncut


@dataclass(frozen=True, slots=True)
class Plane:
    """A flat face seen by a camera.

    matrix    (3, 3), mm on the face to pixels of a lens without distortion.
    centre    pixel the distortion is centred on; ``half`` half the picture's diagonal, px.
    lens      k1, k2, p1, p2 of Brown 1966: radial and decentring terms, in units of ``half``.
    placed    piece name to its (2, 3) rigid motion, mm on the paper to mm on the face.
    markers   number of markers used; ``residual`` rms of their corners, px.
    spread    (P, P) covariance of the unknowns, None when not fitted.
    strange   (piece, size relative to the others) for pieces that seem to lie at another height.
    """

    matrix: Array
    centre: tuple[float, float]
    half: float
    lens: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    placed: dict[str, Array] | None = None
    markers: int = 0
    residual: float = 0.0
    spread: Array | None = None
    unknowns: Array | None = None
    strange: tuple[tuple[str, float], ...] = ()

    def to_image(self, mm: Array) -> Array:
        """Points on the face (..., 2) to pixels; NaN behind the camera."""
        return _project(np.asarray(mm, np.float64), self.matrix, self.centre, self.half, self.lens)

    def to_face(self, pixels: Array) -> Array:
        """Pixels (..., 2) to mm on the face."""
        seen = (np.asarray(pixels, np.float64) - self.centre) / self.half
        point = seen
        if any(self.lens):
            for _ in range(25):  # a fixed point; distortion is mild
                point = point + seen - _bent(point, self.lens)
        flat = point * self.half + self.centre
        back = np.concatenate([flat, np.ones_like(flat[..., :1])], -1) @ np.linalg.inv(self.matrix).T
        return back[..., :2] / back[..., 2:]

    def px_per_mm(self, mm: Array) -> Array:
        """Pixels per mm at points (..., 2): the smaller of the two directions, what can be resolved."""
        mm = np.asarray(mm, np.float64)
        dx = (self.to_image(mm + (0.5, 0)) - self.to_image(mm - (0.5, 0)))
        dy = (self.to_image(mm + (0, 0.5)) - self.to_image(mm - (0, 0.5)))
        return np.linalg.svd(np.stack([dx, dy], -1), compute_uv=False)[..., -1]

    def moved(self, origin: tuple[float, float], degrees: float) -> Plane:
        """The same face with new axes: ``origin`` becomes (0, 0), x turned clockwise as seen by ``degrees``."""
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        motion = np.array([[c, -s, origin[0]], [s, c, origin[1]], [0, 0, 1]])
        back = np.linalg.inv(motion)
        placed = {name: (back @ np.vstack([m, [0, 0, 1]]))[:2] for name, m in (self.placed or {}).items()}
        return replace(self, matrix=self.matrix @ motion, placed=placed or None)

    def length_error(self, ends: Array) -> float:
        """Relative error (two standard deviations) of the worst of several lengths.

        ends  (N, 2, 2) mm, pairs of points of the face as it is now laid.
        """
        if self.spread is None:
            return float("nan")
        pixels = self.to_image(ends)
        lengths = lambda p: np.linalg.norm(np.diff(_with(self, p).to_face(pixels), axis=1)[:, 0], axis=1)
        used = self.unknowns[:12]
        # The view's own scale is carried in the unknowns of the first fit, so lengths do not mind later moves.
        base = lengths(used)
        slope = np.empty((len(ends), 12))
        for k in range(12):
            step = np.zeros(12)
            step[k] = 1e-5
            slope[:, k] = (lengths(used + step) - lengths(used - step)) / 2e-5
        variance = np.einsum("ij,jk,ik->i", slope, self.spread[:12, :12], slope)
        return float(2 * np.sqrt(np.max(variance / base ** 2)))


def _with(plane: Plane, view: Array) -> Plane:
    return replace(plane, matrix=_matrix(view, plane.centre, plane.half), lens=tuple(view[8:12]), placed=None)


def _project(mm: Array, matrix: Array, centre, half: float, lens) -> Array:
    flat = np.concatenate([mm, np.ones_like(mm[..., :1])], -1) @ matrix.T
    with np.errstate(all="ignore"):
        point = (flat[..., :2] / np.where(flat[..., 2:] > 0, flat[..., 2:], np.nan) - centre) / half
    return _bent(point, lens) * half + centre


def _bent(point: Array, lens) -> Array:
    """Where the lens shows points (..., 2), in units of half the diagonal."""
    k1, k2, p1, p2 = lens
    x, y = point[..., 0], point[..., 1]
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + k2 * r2)
    return np.stack([x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
                     y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y], -1)


def _matrix(view: Array, centre, half: float) -> Array:
    """Eight unknowns to the matrix from mm to pixels."""
    to_pixels = np.array([[half, 0, centre[0]], [0, half, centre[1]], [0, 0, 1]])
    return to_pixels @ np.append(view[:8], 1.0).reshape(3, 3) @ np.diag([1 / _UNIT, 1 / _UNIT, 1])


def _camera(size: tuple[int, int]) -> tuple[tuple[float, float], float]:
    width, height = size
    return ((width - 1) / 2, (height - 1) / 2), float(np.hypot(width, height) / 2)


class _Problem:
    """Corners on pieces of paper and where they are seen."""

    def __init__(self, sheet: Sheet, markers: Markers, size: tuple[int, int]) -> None:
        self.centre, self.half = _camera(size)
        owner = np.array([sheet.piece_of(n) for n in markers.numbers])
        used, counts = np.unique(owner, return_counts=True)
        span = [np.ptp(markers.corners[owner == k].reshape(-1, 2), axis=0).max() for k in used]
        order = np.lexsort((-np.array(span), -counts))
        self.used = used[order]  # the fullest piece first: it holds the axes
        self.names = [sheet.pieces[k].name for k in self.used]
        rank = {k: i for i, k in enumerate(self.used)}
        self.piece = np.repeat([rank[k] for k in owner], 4)
        mm = np.array([sheet.pieces[k].markers[int(n)] for k, n in zip(owner, markers.numbers)])
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
            out[i] = [[c, -s, x * _UNIT], [s, c, y * _UNIT]]
        return out

    def place(self, p: Array) -> Array:
        """All corners on the face, mm."""
        mm = self.mm + self.out * (p[12] * self.bleed)
        motion = self.motions(p)[self.piece]
        return np.einsum("nij,nj->ni", motion[:, :, :2], mm) + motion[:, :, 2]

    def off(self, p: Array) -> Array:
        """(N, 2) px, where corners are expected less where they are seen."""
        view = _project(self.place(p), _matrix(p, self.centre, self.half), self.centre, self.half, p[8:12])
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
        face = (np.einsum("nij,nj->ni", motion[:, :, :2], mm) + motion[:, :, 2]) / _UNIT
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
        out[:, :, 12] = np.einsum("nij,njk,nk->ni", by_face, motion[:, :, :2], self.out) * (self.bleed / _UNIT)
        for i in range(1, len(self.used)):
            mine = self.piece == i
            at = 13 + 3 * (i - 1)
            c, s = np.cos(p[at + 2]), np.sin(p[at + 2])
            out[mine, :, at:at + 2] = by_face[mine]
            out[mine, :, at + 2] = np.einsum("nij,nj->ni", by_face[mine], mm[mine] @ np.array([[-s, c], [-c, -s]])) / _UNIT
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

    def solve(self, p: Array, *, robust: bool, tries: int):
        from scipy.optimize import least_squares

        return least_squares(self.cost, p, self.slope, method="trf", loss="soft_l1" if robust else "linear",
                             max_nfev=tries)

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
        small = np.linalg.inv(to_pixels) @ matrix @ np.diag([_UNIT, _UNIT, 1])
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
            p[13 + 3 * (i - 1): 16 + 3 * (i - 1)] = *(shift / _UNIT), turn
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
        done = problem.solve(start, robust=True, tries=15)
        tries.append((done.cost, len(tries), done.x))
    if not tries:
        raise _unfit()
    p = problem.solve(min(tries)[2], robust=True, tries=200).x
    for _ in range(3):  # markers on a curled or hidden bit of paper
        off = np.linalg.norm(problem.off(p), axis=1)
        typical = max(float(np.median(off[problem.keep])), 0.05)
        bad = np.repeat(off.reshape(-1, 4).max(1) > max(8 * typical, 0.7), 4)
        if bad.mean() > 0.34:
            raise _unfit()
        problem.keep = ~bad
        problem.sigma = max(float(np.sqrt(np.mean(off[~bad] ** 2) / 2)), _FLOOR)
        p = problem.solve(p, robust=False, tries=60).x
    motion = problem.motions(p)
    for i, j, x, y in problem.ties:
        gap = np.linalg.norm(motion[j][:, :2] @ (x, y) + motion[j][:, 2] - motion[i][:, 2])
        if gap < _JOINED:
            problem.tied.append((i, j, x, y))
    done = problem.solve(p, robust=False, tries=60)
    p, used = done.x, problem.keep
    off = problem.off(p)[used]
    freedom = max(2 * used.sum() - problem.count, 1)
    sigma = max(float(np.sqrt((off ** 2).sum() / freedom)), _FLOOR)
    # The corners of a marker share the paper's and the lens's own errors: count four as two.
    spread = np.linalg.pinv(done.jac.T @ done.jac) * max((sigma / problem.sigma) ** 2, 1.0) * 2
    plane = Plane(_matrix(p, problem.centre, problem.half), problem.centre, problem.half, tuple(float(v) for v in p[8:12]),
                  dict(zip(problem.names, problem.motions(p))), int(used.sum() // 4),
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


def plane_from_corners(corners: Array, size_mm: tuple[float, float], size: tuple[int, int]) -> Plane:
    """The face from the board's own corners, (4, 2) pixels clockwise from its top left, and its size in mm.

    Raises MockupError when they cross, run the wrong way, lie outside the
    picture, or the size is not one of a board.
    """
    corners = np.asarray(corners, np.float64)
    where = "corners"
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise MockupError(f"Four corners are needed; {len(np.atleast_1d(corners))} were given.",
                          fix="Give x,y of all four, clockwise from the top left.", where=where)
    width, height = size
    if (corners < -1).any() or (corners > np.array([width, height])).any():
        raise MockupError(f"A corner lies outside the photo of {width} x {height} pixels.",
                          fix="Give the corners in pixels of this photo as it is seen upright.", where=where)
    edge = np.roll(corners, -1, 0) - corners
    turns = edge[:, 0] * np.roll(edge, -1, 0)[:, 1] - edge[:, 1] * np.roll(edge, -1, 0)[:, 0]
    if (turns < 0).all():
        raise MockupError("The corners run anticlockwise, which would mirror the board.",
                          fix="Give them clockwise from the top left.", where=where)
    if not (turns > 0).all():
        raise MockupError("The outline through the corners crosses itself or has a corner that points inward.",
                          fix="Give the four corners in order, clockwise from the top left.", where=where)
    if min(np.linalg.norm(edge, axis=1)) < 20:
        raise MockupError("Two of the corners are less than 20 pixels apart.",
                          fix="Give the corners of the whole board.", where=where)
    w, h = check_size(size_mm)
    matrix = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), corners.astype(np.float32))
    centre, half = _camera(size)
    return Plane(matrix, centre, half)


def check_size(size_mm: tuple[float, float]) -> tuple[float, float]:
    """Width and height of a board in mm, or MockupError."""
    w, h = (float(v) for v in size_mm)
    if not (np.isfinite([w, h]).all() and 20 <= min(w, h) and max(w, h) <= 4000):
        hint = " A size in cm or inches must be turned into mm." if 0 < min(w, h) < 20 else ""
        raise MockupError(f"A board of {w:g} x {h:g} mm cannot be.",
                          fix=f"Give width and height in mm, as 600x200.{hint}", where="size")
    return w, h


def plane_from_scan(dpi: float, size: tuple[int, int]) -> Plane:
    """The face of a flat scan; MockupError for a resolution no scanner has."""
    if not np.isfinite(dpi) or not 25 <= dpi <= 2400:
        raise MockupError(f"{dpi:g} dots per inch is not a usable resolution.",
                          fix="Give what the scanner was set to, 25 to 2400, as 300.", where="dpi")
    centre, half = _camera(size)
    # Pixel centres lie half a pixel inside the scan's edge.
    matrix = np.array([[dpi / 25.4, 0, -0.5], [0, dpi / 25.4, -0.5], [0, 0, 1]])
    return Plane(matrix, centre, half)
