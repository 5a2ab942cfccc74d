"""Where the board ends: its four edges in a squared-up view.

A board is a rectangle whose outline is a long, straight change of colour.
Lines along the grain are long and straight too, but none of them closes a
rectangle; so whole rectangles are compared.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Edges", "Outline", "find_outline", "place_edges"]

Array = np.ndarray

_SIDES = ("top", "right", "bottom", "left")
_STEP = 2.5        # mm, width of the bands compared on both sides of a line
_CLEAR = 7.0       # ΔE (CIE76) that counts as a full edge
_LINES = 16        # candidate lines each way
_LEAN = 10.0       # degrees the board may be turned against the photo
_COARSE = 0.6      # px/mm the rectangle is looked for at
_BESIDE = 120.0    # mm the board may lie away from the markers
_FOUND = 0.55      # share of a side that must show an edge


@dataclass(frozen=True, slots=True)
class Edges:
    """The board in the view.

    origin   its top left corner, mm in the view; ``turn`` degrees clockwise as seen.
    size     (width, height) mm.
    support  share of each side along which an edge shows, by side.
    rough    mm, scatter of the edge about its straight line, by side.
    """

    origin: tuple[float, float]
    turn: float
    size: tuple[float, float]
    support: dict[str, float]
    rough: dict[str, float]

    @property
    def missing(self) -> tuple[str, ...]:
        """Sides whose edge was not seen."""
        return tuple(side for side in _SIDES if self.support[side] < _FOUND)


@dataclass(frozen=True, slots=True)
class Outline:
    """A rectangle in a view: its top left corner, mm; ``turn`` degrees clockwise as seen; (width, height) mm."""

    origin: tuple[float, float]
    turn: float
    size: tuple[float, float]


def find_outline(lab: Array, hidden: Array, px_per_mm: float, *, near: tuple[float, float, float, float],
                 size: tuple[float, float] | None = None) -> Outline | None:
    """Where the board lies in a view, to about 2 mm and half a degree.

    lab     (H, W, 3) float32 CIE Lab of the face, not shown parts included.
    hidden  (H, W) bool, paper, target or outside the photo: no edge is looked for there.
    near    x0, y0, x1, y1 mm: the box of the markers; the board lies near it, turned by less than 10 degrees.
    size    known (width, height) mm, or None.

    Returns None when no rectangle stands out.
    """
    shrink = max(px_per_mm / _COARSE, 1.0)
    small = cv2.resize(lab, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    shut = cv2.resize(hidden.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST).astype(bool)
    coarse = px_per_mm * small.shape[1] / lab.shape[1]
    turn = _lean(small, shut)
    box = _rectangle(small, shut, coarse, turn, near, size)
    if box is None:
        return None
    x0, y0, x1, y1 = box
    motion = np.vstack([_motion(turn, small.shape), [0, 0, 1]])
    corner = np.linalg.inv(motion) @ (x0 * coarse - 0.5, y0 * coarse - 0.5, 1)
    x, y = (corner[:2] + 0.5) / coarse
    return Outline((float(x), float(y)), turn, (x1 - x0, y1 - y0))


def place_edges(lab: Array, hidden: Array, px_per_mm: float, size: tuple[float, float], margin: float) -> Edges:
    """The four edges exactly, in a view that is turned as the outline is and shows ``margin`` mm around it.

    lab, hidden  as ``find_outline``. The ``Edges`` are in mm of this view.
    """
    box = (margin, margin, margin + size[0], margin + size[1])
    (x0, y0, x1, y1), lean, support, rough = _refine(lab, hidden, px_per_mm, box)
    # Lines were measured at the middle of each side, so the box turns about its own middle.
    middle, half = np.array([x0 + x1, y0 + y1]) / 2, np.array([x1 - x0, y1 - y0]) / 2
    c, s = np.cos(np.radians(lean)), np.sin(np.radians(lean))
    x, y = middle - np.array([[c, -s], [s, c]]) @ half
    return Edges((float(x), float(y)), lean, (float(x1 - x0), float(y1 - y0)), support, rough)


def _motion(turn: float, shape) -> Array:
    """(2, 3) pixels of the view to pixels of the view turned back by ``turn``, which has room for all of it."""
    h, w = shape[:2]
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    m = np.array([[c, s], [-s, c]])
    side = np.hypot(h, w)
    return np.column_stack([m, np.array([side / 2, side / 2]) - m @ (w / 2, h / 2)])


def _turn_view(lab: Array, hidden: Array, turn: float) -> tuple[Array, Array, Array]:
    motion = _motion(turn, lab.shape)
    side = int(np.ceil(np.hypot(*lab.shape[:2])))
    out = cv2.warpAffine(lab, motion, (side, side), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    shut = cv2.warpAffine(hidden.astype(np.uint8), motion, (side, side), flags=cv2.INTER_NEAREST, borderValue=1)
    return out, shut.astype(bool), motion


def _contrast(lab: Array, hidden: Array, step: int, axis: int) -> Array:
    """How clearly colour changes across each pixel along ``axis``, 0..1; NaN where hidden."""
    kernel = np.concatenate([-np.ones(step), [0.0], np.ones(step)]) / step
    along = np.ones(max(step, 3)) / max(step, 3)
    kx, ky = (kernel, along) if axis == 1 else (along, kernel)
    change = cv2.sepFilter2D(lab, cv2.CV_32F, kx, ky)
    # Light that falls off changes L* slowly; a step within 2 * 2.5 mm is an edge.
    out = np.minimum(np.sqrt((change * change).sum(2)) / _CLEAR, 1)
    reach = np.ones((1, 2 * step + 1) if axis == 1 else (2 * step + 1, 1), np.uint8)
    out[cv2.dilate(hidden.astype(np.uint8), reach).astype(bool)] = np.nan
    return out


def _lean(lab: Array, hidden: Array) -> float:
    """Degrees by which long edges are turned from the rows and columns of the view."""
    best = 0.0, -1.0
    dx, dy = (_contrast(lab, hidden, 1, axis) for axis in (1, 0))
    edge = np.nan_to_num(np.fmax(dx, dy)).astype(np.float32)
    edge *= edge > 0.5
    side = int(np.ceil(np.hypot(*edge.shape)))
    for trial in np.arange(-_LEAN, _LEAN + 0.01, 0.5):
        view = cv2.warpAffine(edge, _motion(trial, edge.shape), (side, side), flags=cv2.INTER_LINEAR)
        sharp = float((view.sum(0) ** 3).sum() + (view.sum(1) ** 3).sum())
        if sharp > best[1]:
            best = float(trial), sharp
    return best[0]


def _rectangle(lab: Array, hidden: Array, px_per_mm: float, turn: float, near, size):
    """The rectangle with the clearest outline: x0, y0, x1, y1 mm in the turned view, or None."""
    view, shut, motion = _turn_view(lab, hidden, turn)
    step = max(int(round(_STEP * px_per_mm)), 2)
    sums = {}
    for axis in (0, 1):
        contrast = _contrast(view, shut, step, axis)
        # Running sums along the line, so that any stretch of it is one difference.
        along = 1 if axis == 0 else 0
        known = np.isfinite(contrast)
        pad = [(0, 0), (0, 0)]
        pad[along] = (1, 0)
        sums[axis] = (np.pad(np.cumsum(np.where(known, contrast, 0), along), pad), np.pad(np.cumsum(known, along), pad))
    corners = np.array([[near[0], near[1]], [near[2], near[1]], [near[2], near[3]], [near[0], near[3]]]) * px_per_mm
    corners = corners @ motion[:, :2].T + motion[:, 2]
    a, b = corners.min(0) - _BESIDE * px_per_mm, corners.max(0) + _BESIDE * px_per_mm
    rows = np.union1d(_candidates(sums[0], 0, step), _borders(shut, 0, 40 * px_per_mm))
    cols = np.union1d(_candidates(sums[1], 1, step), _borders(shut, 1, 40 * px_per_mm))
    i, j = (np.array(v) for v in np.triu_indices(len(rows), 1))
    k, l = (np.array(v) for v in np.triu_indices(len(cols), 1))
    if not len(i) or not len(k):
        return None
    y0, y1, x0, x1 = rows[i], rows[j], cols[k], cols[l]
    # (row pairs, column pairs) for each side.
    top, bottom = (_share(sums[0], 0, y[:, None], x0[None], x1[None]) for y in (y0, y1))
    left, right = (_share(sums[1], 1, x[None], y0[:, None], y1[:, None]) for x in (x0, x1))
    four = np.stack([top, right, bottom, left])
    wide, high = (x1 - x0)[None] / px_per_mm, (y1 - y0)[:, None] / px_per_mm
    # The weakest side counts most; among equals the larger board is the board.
    score = 0.5 * four.min(0) + 0.5 * four.mean(0) + 0.07 * np.log(np.maximum(wide * high, 1))
    # Paper may lie on the board; but of two outlines that both end under paper, the one without it is the board's.
    papers = np.pad(np.cumsum(np.cumsum(shut, 0), 1), ((1, 0), (1, 0)))
    x, y = x1[None], y1[:, None]
    covered = papers[y, x] - papers[y0[:, None], x] - papers[y, x0[None]] + papers[y0[:, None], x0[None]]
    score = score - 1.2 * covered / np.maximum((x - x0[None]) * (y - y0[:, None]), 1)
    fits = (wide > 40) & (high > 40) & (np.sort(four, axis=0)[1] > 0.35)
    fits = fits & (x1 > a[0])[None] & (x0 < b[0])[None] & (y1 > a[1])[:, None] & (y0 < b[1])[:, None]
    if size:
        fits = fits & (np.abs(wide / size[0] - 1) < 0.035) & (np.abs(high / size[1] - 1) < 0.035)
    if not fits.any():
        return None
    r, c = np.unravel_index(np.where(fits, score, -1).argmax(), score.shape)
    return tuple(float(v + 0.5) / px_per_mm for v in (x0[c], y0[r], x1[c], y1[r]))


def _candidates(sums, axis: int, step: int) -> Array:
    """Positions of lines with much edge on them somewhere: peaks, the strongest first kept, in order."""
    total, known = sums
    length = total.shape[1 - axis] - 1
    strength = np.zeros(total.shape[axis])
    # A short board must be found in a wide view, so windows of several lengths are tried.
    for share in (1.0, 0.5, 0.25):
        window = max(int(length * share), 8)
        for start in range(0, length - window + 1, max(window // 2, 1)):
            ends = (slice(None), [start, start + window]) if axis == 0 else ([start, start + window], slice(None))
            edge, seen = (np.diff(s[ends], axis=1 - axis).ravel() for s in (total, known))
            mean = edge / np.maximum(seen, 0.25 * window)
            strength = np.maximum(strength, mean * (0.8 + 0.2 * share))
    peaks = []
    left = strength.copy()
    while len(peaks) < _LINES and left.max() > 0.1:
        k = int(left.argmax())
        peaks.append(k)
        left[max(k - 2 * step, 0):k + 2 * step + 1] = 0
    return np.array(sorted(peaks), int)


def _borders(shut: Array, axis: int, least: float) -> Array:
    """Lines along which at least ``least`` pixels of paper begin or end: a board may end right there."""
    change = np.abs(np.diff(shut.astype(np.int8), axis=axis)).sum(1 - axis).astype(float)
    change = np.convolve(change, np.ones(3), "same")
    peaks = [k for k in range(1, len(change) - 1)
             if change[k] >= least and change[k] >= change[k - 1] and change[k] > change[k + 1]]
    return np.array(sorted(sorted(peaks, key=lambda k: -change[k])[:_LINES]), int)


def _share(sums, axis: int, lines, start, stop) -> Array:
    """Mean contrast on stretches of lines; a stretch that is mostly hidden counts as nearly whole."""
    total, known = sums
    lines, start, stop = np.broadcast_arrays(lines, start, stop)
    if axis == 0:
        t, n = total[lines, stop] - total[lines, start], known[lines, stop] - known[lines, start]
    else:
        t, n = total[stop, lines] - total[start, lines], known[stop, lines] - known[start, lines]
    hidden = np.maximum(stop - start - n, 0)
    return (t + 0.75 * hidden) / np.maximum(stop - start, 1)


def _refine(view: Array, shut: Array, px_per_mm: float, box):
    """Each side to a straight line: box, mean lean in degrees, support and scatter by side."""
    step = max(int(round(0.5 * _STEP * px_per_mm)), 1)
    reach = max(int(round(4.0 * px_per_mm)), step + 3)
    lines, support, rough = {}, {}, {}
    for side in _SIDES:
        across = 0 if side in ("top", "bottom") else 1
        at = {"top": box[1], "bottom": box[3], "left": box[0], "right": box[2]}[side] * px_per_mm - 0.5
        lo, hi = ((box[0], box[2]) if across == 0 else (box[1], box[3]))
        lo, hi = lo * px_per_mm + 0.02 * (hi - lo) * px_per_mm, hi * px_per_mm - 0.02 * (hi - lo) * px_per_mm
        first = int(np.clip(round(at) - reach, 0, max(view.shape[across] - 2 * reach - 1, 0)))
        part = (view[first:first + 2 * reach + 1, int(lo):int(hi)] if across == 0 else
                view[int(lo):int(hi), first:first + 2 * reach + 1].transpose(1, 0, 2))
        dark = (shut[first:first + 2 * reach + 1, int(lo):int(hi)] if across == 0 else
                shut[int(lo):int(hi), first:first + 2 * reach + 1].T)
        lines[side], support[side], rough[side] = _line(np.ascontiguousarray(part), dark, step, first, at, px_per_mm)
    leans, weights = [], []
    for side, (_, slope) in lines.items():
        length = (box[2] - box[0]) if side in ("top", "bottom") else (box[3] - box[1])
        leans.append(np.degrees(np.arctan(slope)) * (1 if side in ("top", "bottom") else -1))
        weights.append(length ** 3 * support[side] * (support[side] > 0.3) + 1e-9)
    lean = float(np.average(leans, weights=weights))
    out = (lines["left"][0], lines["top"][0], lines["right"][0], lines["bottom"][0])
    return tuple((v + 0.5) / px_per_mm for v in out), lean, support, rough


def _line(part: Array, dark: Array, step: int, first: int, at: float, px_per_mm: float):
    """Place at the middle and slope of the edge that runs along axis 1 of ``part``; its support and scatter in mm."""
    kernel = np.concatenate([-np.ones(step), [0.0], np.ones(step)]) / step
    change = cv2.sepFilter2D(part, cv2.CV_32F, np.ones(3) / 3, kernel, borderType=cv2.BORDER_REPLICATE)
    size = np.sqrt((change * change).sum(2))
    dark = cv2.dilate(dark.astype(np.uint8), np.ones((2 * step + 1, 1), np.uint8)).astype(bool)
    size[dark] = 0
    near = np.abs(np.arange(len(size)) + first - at) < max(2.0 * px_per_mm, 2)
    open_ = ~dark[near].any(0)
    if open_.sum() < 0.1 * len(open_):
        return (at, 0.0), 0.0, 0.0
    peak = size.argmax(0)
    top = size.max(0)
    inside = (peak > 0) & (peak < len(size) - 1)
    k = np.clip(peak, 1, len(size) - 2)
    cols = np.arange(size.shape[1])
    l, m, r = size[k - 1, cols], size[k, cols], size[k + 1, cols]
    place = k + np.clip(0.5 * (l - r) / np.minimum(l - 2 * m + r, -1e-6), -0.5, 0.5) + first
    good = open_ & inside & (top > 0.5 * _CLEAR)
    if good.sum() < 8:
        return (at, 0.0), float(good.sum() / open_.sum()), 0.0
    x = (cols - cols.mean()) / max(len(cols), 1)
    weight = good.astype(float)
    for _ in range(8):
        a = np.column_stack([np.ones_like(x), x]) * weight[:, None]
        fit = np.linalg.lstsq(a, place * weight, rcond=None)[0]
        off = np.abs(place - fit[0] - fit[1] * x)
        limit = 1.5 * max(np.median(off[good]), 0.15)
        weight = good * np.minimum(1, limit / np.maximum(off, 1e-6))
    on = good & (off < max(1.0 * px_per_mm, 2.5))
    scatter = float(np.median(off[on]) * 1.48 / px_per_mm) if on.any() else 0.0
    return (float(fit[0]), float(fit[1] / len(cols))), float(on.sum() / open_.sum()), scatter
