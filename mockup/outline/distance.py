"""How far each pixel is from the edge of an outline, and which way is in.

The distance is worked out exactly at the nodes of a lattice. Between nodes it
is read off the tangent planes of the nodes, which is exact where the distance
is a quadratic; where it is not (ridges between two sides, fans at corners,
tight curves) it is worked out again on a finer lattice, down to the pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mockup.outline.coverage import coverage
from mockup.outline.fewer import thinned
from mockup.outline.shape import Shape

__all__ = ["CORNER", "edge_field", "edge_strip", "exact_distance"]

# A vertex that turns by more than this, in degrees, is a corner of the drawing. Chords of a
# curve of 0.1 mm radius turn by less; so do the round joins of ``Shape.inset``.
CORNER = 15.0

_CHORD = 5e-4  # mm between the edge and the chords it is measured against
# The nearest point is sought among points of the edge. Points ``s`` apart can favour the wrong one of
# two sides by s² / 8d at a distance d, so near the edge they stand closer.
_NEAR, _NEAR_SPACING, _SPACING = 8.0, 0.25, 0.75  # mm
_BLEND = 2.0  # mm of a straight run over which its normal turns into that of the curve it meets
_NODES = 1.0  # mm between the nodes of the finer lattice, at most; three times as much for the coarser one
_MISFIT = 0.0025  # mm by which two nodes may contradict each other before what lies between is worked out
_KINK = 0.0025  # mm by which the bend between two nodes may differ from the bends on either side, likewise


def edge_field(
    shape: Shape,
    *,
    origin: tuple[float, float],
    px_per_mm: float,
    size: tuple[int, int],
    reach: float,
    rows: tuple[int, int] | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Signed distance to the edge and the direction inward, at pixel centres.

    origin, px_per_mm, size, rows   as for ``coverage``.
    reach                           mm on both sides of the edge.

    Returns (distance, inward): distance (H, W) float32, mm, positive inside,
    within 0.01 mm of the truth, clipped to ±``reach``; inward (H, W, 2)
    float32, (x, y) with y down, of length one, along which the distance
    grows: turned smoothly from chord to chord of a curve, at once at a corner
    of the drawing, and zero beyond ``reach``.
    """
    width, height = size
    first, end = (0, height) if rows is None else rows
    lines = max(end - first, 0)
    if width <= 0 or lines == 0:
        return np.zeros((lines, max(width, 0)), np.float32), np.zeros((lines, max(width, 0), 2), np.float32)
    block = int(np.clip(np.floor(_NODES * px_per_mm), 1, 64))
    lattice = _Lattice(origin, 1.0 / px_per_mm, 0, first, width, lines)
    out, nx, ny = _field(shape, lattice, reach, (block, 3) if block > 1 else (3,))
    # What lies beyond reach has no direction; the rest is brought to length one.
    length = np.sqrt(nx * nx + ny * ny)
    np.maximum(length, 1e-12, out=length)
    scale = np.divide(np.abs(out) < reach, length, out=length)
    inward = np.empty((lines, width, 2), np.float32)
    np.multiply(nx, scale, out=inward[..., 0])
    np.multiply(ny, scale, out=inward[..., 1])
    return np.clip(out, -reach, reach, out=out), inward


def edge_strip(shape: Shape, *, origin: tuple[float, float], px_per_mm: float, size: tuple[int, int], beyond: float,
               within: float) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray, np.ndarray]:
    """What ``edge_field`` tells of the pixels from ``beyond`` mm outside the edge to ``within`` mm inside, and of no others.

    Returns ((rows, columns), distance (N,), inward (N, 2)) of those pixels, in
    reading order. A rim of some mm is a small share of a canvas.
    """
    width, height = size
    reach = max(beyond, within)
    block = int(np.clip(np.floor(_NODES * px_per_mm), 1, 64))
    at = _Lattice(origin, 1.0 / px_per_mm, 0, 0, width, height)
    if block == 1:
        d, inward = edge_field(shape, origin=origin, px_per_mm=px_per_mm, size=size, reach=reach + 1)
        rim = np.nonzero((d > -beyond) & (d < within))
        return rim, d[rim], inward[rim]
    nodes = at.coarser(block)
    d, nx, ny = _field(shape, nodes, reach + 3.0 * at.step, (3,))
    corners = np.stack((d[:-1, :-1], d[:-1, 1:], d[1:, :-1], d[1:, 1:]))
    touched = (corners.min(axis=0) < within + 1.5 * nodes.step) & (corners.max(axis=0) > -beyond - 1.5 * nodes.step)
    top, left = at.top - nodes.top * block, at.left - nodes.left * block
    cut = slice(top, top + height), slice(left, left + width)
    line, column = np.nonzero(_cells_to_finer(touched, block)[cut])
    # As in ``_field``, point by point: between the nodes around each pixel.
    base = d - 0.5 * (nx * nodes.x().astype(np.float32) + ny * nodes.y().astype(np.float32)[:, None])
    share_x, share_y = ((at_ + off + 0.5) / block - 0.5 for at_, off in ((column, left), (line, top)))
    i, j = share_x.astype(np.int64), share_y.astype(np.int64)
    p, q = (share_x - i).astype(np.float32), (share_y - j).astype(np.float32)
    flat = j * nodes.columns + i
    weights = ((1 - p) * (1 - q), p * (1 - q), (1 - p) * q, p * q)
    b, fx, fy = (sum(w * plane.ravel()[flat + step] for w, step in zip(weights, (0, 1, nodes.columns, nodes.columns + 1), strict=True))
                 for plane in (base, nx, ny))
    x, y = (at.x()[column] * 0.5).astype(np.float32), (at.y()[line] * 0.5).astype(np.float32)
    out = b + fx * x + fy * y
    near = (out > -beyond - 0.5) & (out < within + 0.5)
    rough = np.flatnonzero(near & _cells_to_finer(_rough_cells(d, nx, ny, nodes, reach + 3.0 * at.step), block)[cut][line, column])
    if len(rough):
        points = np.column_stack((at.x()[column[rough]] + origin[0], at.y()[line[rough]] + origin[1]))
        exact, direction, _ = exact_distance(shape, points, reach + 3.0 * at.step)
        known = np.isfinite(exact)
        rough = rough[known]
        out[rough], fx[rough], fy[rough] = exact[known], *direction[known].T
    rim = np.flatnonzero((out > -beyond) & (out < within))
    fx, fy = fx[rim], fy[rim]
    length = np.maximum(np.sqrt(fx * fx + fy * fy), 1e-12)
    return (line[rim], column[rim]), out[rim], np.column_stack((fx / length, fy / length))


@dataclass(frozen=True)
class _Lattice:
    """Centres of square cells: ``columns`` × ``lines`` of them from cell (left, top), counted from ``origin``."""

    origin: tuple[float, float]
    step: float  # mm
    left: int
    top: int
    columns: int
    lines: int

    def x(self) -> np.ndarray:
        return (self.left + np.arange(self.columns) + 0.5) * self.step

    def y(self) -> np.ndarray:
        return (self.top + np.arange(self.lines) + 0.5) * self.step

    def coarser(self, factor: int) -> _Lattice:
        """Cells ``factor`` times as large, whose centres surround all of this lattice's."""
        left, top = self.left // factor - 1, self.top // factor - 1
        columns = (self.left + self.columns - 1) // factor + 2 - left
        lines = (self.top + self.lines - 1) // factor + 2 - top
        return _Lattice(self.origin, self.step * factor, left, top, columns, lines)


def _field(shape: Shape, at: _Lattice, reach: float, factors: tuple[int, ...]):
    """Distance and direction (x, y) at the centres of a lattice, each (lines, columns) float32.

    Right within ``reach`` and two steps more of the edge; beyond that the distance has the right sign only.
    """
    if not factors:
        return _exact_field(shape, at, reach + 3.0 * at.step)
    import cv2

    factor = factors[0]
    nodes = at.coarser(factor)
    d, nx, ny = _field(shape, nodes, reach + 3.0 * at.step, factors[1:])

    # Half the sum of the interpolated distances and the interpolated tangent planes: the errors of the
    # two cancel to third order. All of it is bilinear.
    x, y = nodes.x().astype(np.float32), nodes.y().astype(np.float32)[:, None]
    base = d - 0.5 * (nx * x + ny * y)
    size = (nodes.columns * factor, nodes.lines * factor)
    top, left = at.top - nodes.top * factor, at.left - nodes.left * factor
    cut = slice(top, top + at.lines), slice(left, left + at.columns)
    fine = [cv2.resize(plane, size, interpolation=cv2.INTER_LINEAR)[cut] for plane in (base, nx, ny)]
    fx, fy = fine[1], fine[2]
    out = fx * (0.5 * at.x()).astype(np.float32)
    out += fy * (0.5 * at.y()).astype(np.float32)[:, None]
    out += fine[0]

    if factor > 1:
        mask = _cells_to_finer(_rough_cells(d, nx, ny, nodes, reach + 3.0 * at.step), factor)[cut]
        line, column = np.nonzero(mask)
        if len(line):
            points = np.column_stack((at.x()[column] + at.origin[0], at.y()[line] + at.origin[1]))
            exact, direction, _ = exact_distance(shape, points, reach + 3.0 * at.step)
            known = np.isfinite(exact)
            line, column = line[known], column[known]
            out[line, column] = exact[known]
            fx[line, column], fy[line, column] = direction[known].T
    return out, fx, fy


def _exact_field(shape: Shape, at: _Lattice, far: float):
    """As ``_field``, every centre worked out."""
    x, y = np.broadcast_arrays(at.x() + at.origin[0], at.y()[:, None] + at.origin[1])
    d, n, _ = exact_distance(shape, np.column_stack((x.ravel(), y.ravel())), far)
    d = d.reshape(at.lines, at.columns)
    corner = at.origin[0] + at.left * at.step, at.origin[1] + at.top * at.step
    inside = coverage(shape, origin=corner, px_per_mm=1.0 / at.step, size=(at.columns, at.lines))
    d = np.where(np.isfinite(d), d, np.where(inside > 0.5, far, -far)).astype(np.float32)
    n = n.astype(np.float32).reshape(at.lines, at.columns, 2)
    return d, np.ascontiguousarray(n[..., 0]), np.ascontiguousarray(n[..., 1])


def exact_distance(shape: Shape, points: np.ndarray, most: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Signed distance (N,), inward direction (N, 2) and nearest point of the edge (N, 2), for points (N, 2) in mm.

    Points further than ``most`` from the edge get an infinite distance and a
    direction of zero.
    """
    distance, inward, foot = np.full(len(points), np.inf), np.zeros((len(points), 2)), np.full((len(points), 2), np.nan)

    def fill(which: np.ndarray, spacing: float, most: float) -> None:
        edge = _edge(shape, spacing)
        # Starting a second thread costs more than a few thousand look-ups.
        near, site = edge.tree.query(points[which], distance_upper_bound=most, workers=2 if len(which) > 20_000 else 1)
        hit = np.flatnonzero(np.isfinite(near))
        which = which[hit]
        distance[which], inward[which], foot[which] = edge.nearest(points[which], site[hit])

    if most <= _NEAR:
        fill(np.arange(len(points)), _NEAR_SPACING, most + _SPACING)
    else:
        fill(np.arange(len(points)), _SPACING, most + _SPACING)
        fill(np.flatnonzero(np.abs(distance) < _NEAR), _NEAR_SPACING, _NEAR + _SPACING)
    beyond = ~(np.abs(distance) <= most)
    distance[beyond], inward[beyond], foot[beyond] = np.inf, 0.0, np.nan
    return distance, inward, foot


class _Edge:
    """The edge of a shape as short chords, with inward normals at both ends and a tree of their starts."""

    def __init__(self, shape: Shape, spacing: float) -> None:
        from scipy.spatial import cKDTree

        parts = [_chords(ring, spacing) for ring in thinned(shape, _CHORD, 6).rings]
        base = np.cumsum([0, *(len(p[0]) for p in parts)])
        (self.start, self.run, self.flat, self.normal_start, self.normal_end, self.mean, self.corner, self.bend,
         self.bend_start) = (np.concatenate(columns) for columns in zip(*parts, strict=True))  # fmt: skip
        self.square = np.maximum((self.run * self.run).sum(axis=1), 1e-300)
        around = [np.arange(b, b + len(p[0])) for b, p in zip(base, parts, strict=False)]
        self.after = np.concatenate([np.roll(i, -1) for i in around])
        self.before = np.concatenate([np.roll(i, 1) for i in around])
        self.tree = cKDTree(self.start, leafsize=48)

    def nearest(self, points: np.ndarray, site: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Signed distance, inward direction and nearest point, given the nearest chord start of each point."""
        # The nearest point lies on one of the chords that meet at the nearest start, or one further.
        best = np.full(len(points), np.inf)
        chord, along = np.zeros(len(points), np.int64), np.zeros(len(points))
        candidate = self.before[self.before[site]]
        for _ in range(4):
            run, away = self.run[candidate], points - self.start[candidate]
            t = np.clip((away[:, 0] * run[:, 0] + away[:, 1] * run[:, 1]) / self.square[candidate], 0.0, 1.0)
            away -= t[:, None] * run
            square = away[:, 0] ** 2 + away[:, 1] ** 2
            better = square < best
            best = np.where(better, square, best)
            chord, along = np.where(better, candidate, chord), np.where(better, t, along)
            candidate = self.after[candidate]

        found = self.start[chord] + along[:, None] * self.run[chord]
        away, size = points - found, np.sqrt(best)
        # At a vertex the mean of both chords' normals tells in from out (Baerentzen and Aanaes 2005,
        # "Signed distance computation using the angle weighted pseudonormal").
        vertex = np.where(along >= 1.0, self.after[chord], chord)
        at_vertex = (along <= 0.0) | (along >= 1.0)
        side = np.where(at_vertex[:, None], self.mean[vertex], self.flat[chord])
        sign = np.where(away[:, 0] * side[:, 0] + away[:, 1] * side[:, 1] >= 0.0, 1.0, -1.0)
        # Two ways to say which way is in: the smooth normal of the curve at the foot, and the straight way
        # from the foot. Seen from where chords fan out, all of a fan has one foot and so one normal; seen from
        # where they crowd, feet never reach the ends of their chord. Weighed by how far the point is in terms
        # of the radius, the two together turn as evenly as the curve itself. At a corner there is no curve.
        smooth = self.normal_start[chord] * (1.0 - along[:, None]) + self.normal_end[chord] * along[:, None]
        straight = self.flat[chord]
        off = at_vertex & (size > 1e-6)
        straight[off] = away[off] * (sign[off] / size[off])[:, None]
        bend = np.where(at_vertex, self.bend_start[vertex], self.bend[chord]) * sign * size
        weight = 1.0 - 1.0 / np.maximum(1.0 - bend, 0.2)
        weight = np.where(at_vertex & self.corner[vertex], np.where(size > 1e-6, 1.0, 0.0), weight)
        normal = smooth + weight[:, None] * (straight - smooth)
        normal /= np.maximum(np.hypot(normal[:, 0], normal[:, 1]), 1e-12)[:, None]
        return sign * size, normal, found


@lru_cache(maxsize=64)  # a whole instrument has some forty
def _edge(shape: Shape, spacing: float) -> _Edge:
    return _Edge(shape, spacing)


def _chords(ring: np.ndarray, spacing: float) -> tuple[np.ndarray, ...]:
    """Of each chord of a ring, cut into pieces of at most ``spacing``: start, run, normal, smooth normals at start
    and end, mean normal at the start, whether a corner is there, and the bend (1/radius) of the curve along it and
    at its start, positive where the inside is within the bend."""
    run = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(run[:, 0], run[:, 1])
    # Outer rings run counter-clockwise as seen with y up: with y down the inside lies
    # this way of the direction of travel, for holes too.
    flat = np.column_stack((run[:, 1], -run[:, 0])) / length[:, None]
    before = np.roll(flat, 1, axis=0)
    corner = (flat * before).sum(axis=1) < np.cos(np.radians(CORNER))
    mean = flat + before
    size = np.hypot(mean[:, 0], mean[:, 1])
    mean = np.where(size[:, None] > 1e-9, mean / np.maximum(size, 1e-12)[:, None], flat)
    # Signed turn at each vertex, and what it makes of a bend on the chord and about the vertex.
    turn = np.arctan2(before[:, 1] * flat[:, 0] - before[:, 0] * flat[:, 1], (before * flat).sum(axis=1))
    turn[corner] = 0.0
    bend = 0.5 * (turn + np.roll(turn, -1)) / length
    bend_start = 2.0 * turn / (length + np.roll(length, 1))
    # How far the smooth normal leaves the chord's own at its two ends: not at all at a corner.
    lean_start = np.where(corner[:, None], 0.0, mean - flat)
    lean_end = np.where(np.roll(corner, -1)[:, None], 0.0, np.roll(mean, -1, axis=0) - flat)

    pieces = np.maximum(np.ceil(length / spacing), 1).astype(np.int64)
    item = np.repeat(np.arange(len(ring)), pieces)
    k = np.arange(len(item)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    blend = np.minimum(0.5 * length, _BLEND)[item]

    def normal(at: np.ndarray) -> np.ndarray:
        along, left = at * length[item], (1.0 - at) * length[item]
        near_start, near_end = np.maximum(1.0 - along / blend, 0.0), np.maximum(1.0 - left / blend, 0.0)
        return flat[item] + near_start[:, None] * lean_start[item] + near_end[:, None] * lean_end[item]

    first = k == 0
    return (
        ring[item] + (k / pieces[item])[:, None] * run[item],
        run[item] / pieces[item][:, None],
        flat[item],
        normal(k / pieces[item]),
        normal((k + 1) / pieces[item]),
        np.where(first[:, None], mean[item], flat[item]),
        first & corner[item],
        bend[item],
        np.where(first, bend_start[item], bend[item]),
    )


def _rough_cells(d, nx, ny, at: _Lattice, far: float) -> np.ndarray:
    """(lines - 1, columns - 1) bool: cells between nodes over which the distance is not near a quadratic."""
    step, beyond = np.float32(at.step), np.abs(d) >= far

    def rough(a, b, run_x, run_y) -> np.ndarray:
        turn_x, turn_y = nx[b] - nx[a], ny[b] - ny[a]
        # By how much the rise between two nodes misses the mean of their slopes.
        misfit = np.abs(d[b] - d[a] - (nx[a] + nx[b]) * (0.5 * run_x) - (ny[a] + ny[b]) * (0.5 * run_y))
        bad = (misfit > _MISFIT) | (turn_x * turn_x + turn_y * turn_y > 0.25)
        return bad & ~(beyond[a] | beyond[b])

    def kinked(a, b, run_x, run_y, axis: int) -> np.ndarray:
        # A ridge half way between two nodes looks like a bend to both. But a bend goes on
        # beyond them, and a ridge does not.
        bend = ((nx[b] - nx[a]) * run_x + (ny[b] - ny[a]) * run_y) * 0.125
        change = np.abs(np.diff(bend, axis=axis))
        edge = [(0, 0), (0, 0)]
        edge[axis] = (1, 0)
        before = np.pad(change, edge, mode="edge")
        edge[axis] = (0, 1)
        return np.minimum(before, np.pad(change, edge, mode="edge")) > _KINK

    every, head, tail = slice(None), slice(None, -1), slice(1, None)
    right, below = ((every, head), (every, tail), step, 0), ((head, every), (tail, every), 0, step)
    across = rough(*right) | kinked(*right, axis=1)
    down = rough(*below) | kinked(*below, axis=0)
    slant = rough((head, head), (tail, tail), step, step) | rough((head, tail), (tail, head), -step, step)
    return across[:-1] | across[1:] | down[:, :-1] | down[:, 1:] | slant


def _cells_to_finer(cells: np.ndarray, factor: int) -> np.ndarray:
    """Cells between the nodes of a lattice, as a mask on the finer one, from the first node's first cell."""
    lines, columns = cells.shape
    mask = np.zeros(((lines + 1) * factor, (columns + 1) * factor), bool)
    whole = np.repeat(np.repeat(cells, factor, axis=0), factor, axis=1)
    h, w = whole.shape
    low = factor // 2
    # With an odd factor some finer centres fall on the nodes' own lines and belong to the cells on both sides.
    shifts = (0, 1) if factor % 2 else (0,)
    for dy in shifts:
        for dx in shifts:
            mask[low + dy : low + dy + h, low + dx : low + dx + w] |= whole
    return mask
