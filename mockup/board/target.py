"""The 24-patch colour target: its published values, and where it is in a photo."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from mockup.colour.light import D50, D65, adaptation
from mockup.colour.spaces import lab_to_xyz, xyz_to_linear
from mockup.errors import MockupError, nearest

__all__ = ["COLUMNS", "EDITIONS", "NEUTRALS", "ROWS", "Target", "find_target", "sample_target", "target_from_corners",
           "target_linear"]

Array = np.ndarray

COLUMNS, ROWS = 6, 4
NEUTRALS = slice(18, 24)

# CIE Lab, D50, 2 degree observer, row by row from dark skin to black. Published
# by the maker of the target for pieces made from, and before, November 2014;
# here as colour-science 0.4.7 tabulates them.
EDITIONS = {
    "after-2014": (
        (37.54, 14.37, 14.92), (64.66, 19.27, 17.50), (49.32, -3.82, -22.54), (43.46, -12.74, 22.72),
        (54.94, 9.61, -24.79), (70.48, -32.26, -0.37), (62.73, 35.83, 56.50), (39.43, 10.75, -45.17),
        (50.57, 48.64, 16.67), (30.10, 22.54, -20.87), (71.77, -24.13, 58.19), (71.51, 18.24, 67.37),
        (28.37, 15.42, -49.80), (54.38, -39.72, 32.27), (42.43, 51.05, 28.62), (81.80, 2.67, 80.41),
        (50.63, 51.28, -14.12), (49.57, -29.71, -28.32), (95.19, -1.03, 2.93), (81.29, -0.57, 0.44),
        (66.89, -0.75, -0.06), (50.76, -0.13, 0.14), (35.63, -0.46, -0.48), (20.64, 0.07, -0.46)),
    "before-2014": (
        (37.99, 13.56, 14.06), (65.71, 18.13, 17.81), (49.93, -4.88, -21.90), (43.14, -13.09, 21.90),
        (55.11, 8.84, -25.40), (70.72, -33.40, -0.20), (62.66, 36.07, 57.10), (40.02, 10.41, -45.96),
        (51.12, 48.24, 16.25), (30.33, 22.98, -21.59), (72.53, -23.71, 57.26), (71.94, 19.36, 67.86),
        (28.78, 14.18, -50.30), (55.26, -38.34, 31.37), (42.10, 53.38, 28.19), (81.73, 4.04, 79.82),
        (51.94, 49.99, -14.57), (51.04, -28.63, -28.64), (96.54, -0.43, 1.19), (81.26, -0.64, -0.33),
        (66.77, -0.73, -0.50), (50.87, -0.15, -0.27), (35.66, -0.42, -1.23), (20.46, -0.08, -0.97)),
}


@cache
def target_linear(edition: str) -> Array:
    """(24, 3) linear sRGB of the patches, adapted to D65; the cyan one lies outside and is kept so.

    Raises MockupError for an edition that was not published.
    """
    if edition not in EDITIONS:
        raise MockupError(f'There is no edition "{edition}" of the 24-patch target.', fix=nearest(edition, EDITIONS),
                          where="target")
    xyz = lab_to_xyz(np.array(EDITIONS[edition]), D50)
    return xyz_to_linear(xyz @ adaptation(D50, D65).T)


@dataclass(frozen=True, slots=True)
class Target:
    """A target in a photo.

    centres  (24, 2) pixels, dark skin first.
    reach    pixels, half the side of a square that lies well inside every patch.
    """

    centres: Array
    reach: float


def find_target(pixels: Array) -> Target | None:
    """The 24-patch target in a linear uint16 photo (H, W, 3), None when there is none.

    Patches are bright squares in a dark frame that stand on a lattice; which
    lattice point is which patch is told by the colours themselves.
    """
    step = max(max(pixels.shape[:2]) / 2000, 1.0)
    small = pixels if step == 1 else cv2.resize(pixels, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    centres, sides = _squares(small)
    best: tuple[float, Array] | None = None
    for size in _sizes(sides):
        alike = np.abs(np.log(sides / size)) < 0.35
        for points in _lattices(centres[alike], size):
            found = _identify(small, points, size)
            if found and (best is None or found[0] < best[0]):
                best = found
    if best is None:
        return None
    points = (best[1] + 0.5) * step - 0.5
    return Target(points, _reach(points))


def target_from_corners(corners: Array, size: tuple[int, int]) -> Target:
    """The target from the middles of its corner patches: (4, 2) px of dark skin, bluish green, black and white.

    Raises MockupError when they cross or lie outside a photo of ``size``.
    """
    corners = np.asarray(corners, np.float64)
    edge = np.roll(corners, -1, 0) - corners if corners.shape == (4, 2) else np.zeros((4, 2))
    turns = edge[:, 0] * np.roll(edge, -1, 0)[:, 1] - edge[:, 1] * np.roll(edge, -1, 0)[:, 0]
    if not (turns > 0).all() or (corners < 0).any() or (corners > np.array(size)).any():
        raise MockupError("These are not the four corner patches of a target in this photo.",
                          fix="Give x,y of the middles of dark skin, bluish green, black and white, in this order.",
                          where="target")
    ends = np.float32([[0, 0], [COLUMNS - 1, 0], [COLUMNS - 1, ROWS - 1], [0, ROWS - 1]])
    points = _spread(cv2.getPerspectiveTransform(ends, corners.astype(np.float32)), 0, 0)
    return Target(points, _reach(points))


def sample_target(pixels: Array, target: Target) -> tuple[Array, Array]:
    """Mean colour of each patch (24, 3) float64, 0..1, and the share of its pixels that are clipped (24,).

    pixels  (H, W, 3) uint16 linear light.
    """
    colours, clipped = np.empty((24, 3)), np.empty(24)
    r = max(int(target.reach), 1)
    for k, (x, y) in enumerate(np.rint(target.centres).astype(int)):
        patch = pixels[max(y - r, 0):y + r + 1, max(x - r, 0):x + r + 1].reshape(-1, 3)
        colours[k] = patch.mean(0, dtype=np.float64) / 65535 if len(patch) else np.nan
        clipped[k] = (patch.max(1) > 64200).mean() if len(patch) else 1.0
    return colours, clipped


def _reach(points: Array) -> float:
    grid = points.reshape(ROWS, COLUMNS, 2)
    pitch = min(np.linalg.norm(np.diff(grid, axis=0), axis=2).min(), np.linalg.norm(np.diff(grid, axis=1), axis=2).min())
    return float(pitch * 0.26)


def _squares(small: Array) -> tuple[Array, Array]:
    """Centres (N, 2) and sides (N,) in pixels of bright four-sided spots."""
    bright = cv2.LUT(small, np.rint(255 * (np.arange(65536) / 65535) ** (1 / 2.4)).astype(np.uint8)).max(2)
    bright = cv2.medianBlur(bright, 3)
    found = []
    for block in (31, 61, 121):
        mask = cv2.adaptiveThreshold(bright, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, block, -2)
        mask = cv2.erode(mask, np.ones((3, 3), np.uint8))
        contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for contour in contours:
            area = cv2.contourArea(contour)
            if not 60 < area < small.shape[0] * small.shape[1] / 100:
                continue
            shape = cv2.approxPolyDP(contour, 0.09 * cv2.arcLength(contour, True), True)
            if len(shape) != 4 or not cv2.isContourConvex(shape):
                continue
            sides = np.linalg.norm(np.diff(np.vstack([shape, shape[:1]])[:, 0].astype(float), axis=0), axis=1)
            if sides.min() > 0.55 * sides.max() and area > 0.75 * sides.mean() ** 2 * 0.85:
                moment = cv2.moments(contour)
                found.append((moment["m10"] / moment["m00"], moment["m01"] / moment["m00"], np.sqrt(area)))
    found = np.array(found).reshape(-1, 3)
    keep = []
    for k in np.argsort(-found[:, 2], kind="stable"):  # a square is met at several blocks
        if all(np.hypot(*(found[k, :2] - found[j, :2])) > 0.4 * found[j, 2] for j in keep):
            keep.append(k)
    found = found[keep]
    return found[:, :2], found[:, 2]


def _sizes(sides: Array) -> list[float]:
    """Sides that at least eight squares share, each once."""
    out: list[float] = []
    for size in np.sort(sides):
        if (np.abs(np.log(sides / size)) < 0.3).sum() >= 8 and (not out or size > 1.25 * out[-1]):
            out.append(float(size))
    return out


def _lattices(centres: Array, size: float) -> list[Array]:
    """(n, 4) arrays x, y, column, row of squares that stand on one lattice."""
    out, left = [], np.ones(len(centres), bool)
    while left.sum() >= 8:
        seed = np.flatnonzero(left)[0]
        steps = _steps(centres[left], size)
        left[seed] = False
        if steps is None:
            break
        where = {seed: (0, 0)}
        queue = [seed]
        while queue:
            k = queue.pop(0)
            for du, dv in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                aim = centres[k] + du * steps[0] + dv * steps[1]
                gap = np.linalg.norm(centres - aim, axis=1)
                near = int(gap.argmin())
                if gap[near] < 0.33 * np.linalg.norm(steps[0]) and near not in where:
                    where[near] = (where[k][0] + du, where[k][1] + dv)
                    queue.append(near)
        left[list(where)] = False
        if len(where) >= 8:
            out.append(np.array([[*centres[k], *at] for k, at in where.items()]))
    return out


def _steps(centres: Array, size: float) -> Array | None:
    """The two commonest steps between neighbours, (2, 2) px, the second clockwise of the first."""
    d = centres[None] - centres[:, None]
    far = np.linalg.norm(d, axis=2)
    d = d[(far > 0.9 * size) & (far < 1.75 * size)]
    if len(d) < 8:
        return None
    turn = np.arctan2(d[:, 1], d[:, 0])
    first = np.median(np.angle(np.exp(4j * turn).mean())) / 4
    out = []
    for angle in (first, first + np.pi / 2):
        mine = np.abs(np.angle(np.exp(1j * (turn - angle)))) < 0.4
        if mine.sum() < 3:
            return None
        out.append(np.median(d[mine], axis=0))
    return np.array(out)


def _identify(small: Array, points: Array, size: float) -> tuple[float, Array] | None:
    """The fit of a lattice to the target's colours, and all 24 centres; None when it is no target."""
    low = points[:, 2:].min(0)
    spots = points[:, 2:] - low
    span = spots.max(0).astype(int) + 1
    best = None
    for quarter in range(4):
        u, v = spots.T
        for _ in range(quarter):
            u, v = v, u.max() - u
        wide, high = int(u.max()) + 1, int(v.max()) + 1
        if wide > COLUMNS or high > ROWS or wide * high < 12:
            continue
        matrix, _ = cv2.findHomography(np.column_stack([u, v]), points[:, :2], cv2.RANSAC, 0.25 * size)
        if matrix is None or np.linalg.det(matrix[:2, :2]) <= 0:
            continue
        for right in range(COLUMNS - wide + 1):
            for down in range(ROWS - high + 1):
                centres = _spread(matrix, right, down)
                if (centres < 2).any() or (centres > np.array(small.shape[1::-1]) - 3).any():
                    continue
                off = _mismatch(sample_target(small, Target(centres, 0.3 * size))[0])
                if off < 0.35 and (best is None or off < best[0]):
                    best = off, centres
    return best if span.min() > 1 else None


def _spread(matrix: Array, right: int, down: int) -> Array:
    """Centres (24, 2) of all patches; the lattice's origin is patch (right, down)."""
    c, r = np.meshgrid(np.arange(COLUMNS) - right, np.arange(ROWS) - down)
    flat = np.column_stack([c.ravel(), r.ravel(), np.ones(24)]) @ matrix.T
    return flat[:, :2] / flat[:, 2:]


def _mismatch(colours: Array) -> float:
    """Mean deviation, in logarithms, from the published colours after light and exposure are evened out."""
    expected = np.log(np.maximum(target_linear("after-2014"), 0.01))
    off = np.log(np.maximum(colours, 0.003)) - expected
    return float(np.abs(off - np.median(off, axis=0)).mean())
