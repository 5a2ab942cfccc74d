"""Samples of the working view: paper, grey card, greys of the target, and the wood."""

from __future__ import annotations

import cv2
import numpy as np

from mockup.board.light import Spots
from mockup.board.survey import Survey
from mockup.board.target import NEUTRALS, Target, sample_target, target_linear
from mockup.errors import MockupError

__all__ = ["grey_spots", "panel_grey", "paper_spots", "target_spots", "wood_spots"]

Array = np.ndarray

_EVEN = 0.05       # scatter within a bare spot, as a share, above which it is not bare
_CARD = (0.05, 0.55)  # a grey card against paper


def _box(survey: Survey, name: str, box) -> tuple[Array, Array]:
    """Pixels (n, 3) of a box of a piece, 0..1, and its middle in mm on the board."""
    motion = survey.plane.placed[name]
    x0, y0, x1, y1 = box
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ motion[:, :2].T + motion[:, 2]
    pixels = survey.view.to_pixels(corners)
    low, high = np.floor(pixels.min(0)).astype(int), np.ceil(pixels.max(0)).astype(int) + 1
    h, w = survey.view.pixels.shape[:2]
    if (low < 0).any() or high[0] > w or high[1] > h:
        return np.zeros((0, 3)), corners.mean(0)
    part = survey.view.pixels[low[1]:high[1], low[0]:high[0]]
    yy, xx = np.mgrid[low[1]:high[1], low[0]:high[0]]
    edge = np.roll(pixels, -1, 0) - pixels
    inside = np.ones(part.shape[:2], bool)
    for (px, py), (ex, ey) in zip(pixels, edge):
        inside &= (ex * (yy - py) - ey * (xx - px)) >= 0.35 * np.hypot(ex, ey)
    return part[inside].astype(np.float64) / 65535, corners.mean(0)


def paper_spots(survey: Survey) -> Spots | None:
    """Bare paper of every piece that was placed; None when there is none to be seen."""
    at, seen = [], []
    for piece in survey.sheet.pieces if survey.sheet else ():
        if piece.name not in (survey.plane.placed or {}):
            continue
        for box in piece.white:
            values, middle = _box(survey, piece.name, box)
            if len(values) < 4 or values.max(1).min() <= 0:
                continue
            mean = np.median(values, axis=0)
            if np.percentile(np.abs(values / np.maximum(mean, 1e-4) - 1).max(1), 80) < 3 * _EVEN:
                at.append(middle)
                seen.append(mean)
    if not at:
        return None
    return Spots("paper", np.array(at), np.array(seen))


def panel_grey(survey: Survey, paper: Spots | None, reflectance: float) -> Spots | None:
    """The grey card on the sheet's panel, None when none lies there."""
    for piece in survey.sheet.pieces if survey.sheet else ():
        if piece.grey is None or piece.name not in (survey.plane.placed or {}) or paper is None:
            continue
        x0, y0, x1, y1 = piece.grey
        pad_x, pad_y = 0.28 * (x1 - x0), 0.28 * (y1 - y0)
        cells = [(x0 + pad_x, y0 + pad_y + k * (y1 - y0 - 2 * pad_y) / 3, x1 - pad_x,
                  y0 + pad_y + (k + 1) * (y1 - y0 - 2 * pad_y) / 3) for k in range(3)]
        seen, at = [], []
        for cell in cells:
            values, middle = _box(survey, piece.name, cell)
            if len(values) < 6:
                return None
            mean = np.median(values, axis=0)
            if np.percentile(np.abs(values / np.maximum(mean, 1e-4) - 1).max(1), 80) > 4 * _EVEN:
                return None
            seen.append(mean)
            at.append(middle)
        seen, at = np.array(seen), np.array(at)
        beside = paper.seen[np.linalg.norm(paper.at - at.mean(0), axis=1).argmin()]
        share = seen.mean(0) / np.maximum(beside, 1e-4)
        if not (_CARD[0] < share.min() and share.max() < _CARD[1] and share.max() < 1.35 * share.min()):
            return None
        return Spots("grey", at, seen, np.full((3, 3), reflectance))
    return None


def grey_spots(pixels: Array, survey: Survey, grey: tuple[float, float], reflectance: float) -> Spots:
    """A grey card the maker pointed at, ``grey`` in pixels of the photo.

    Raises MockupError when the spot is outside the photo, uneven, burnt out or coloured.
    """
    x, y = grey
    height, width = pixels.shape[:2]
    if not (0 <= x < width and 0 <= y < height):
        raise MockupError(f"The grey point {x:g},{y:g} lies outside the photo of {width} x {height} pixels.",
                          fix="Give x,y of the middle of the grey card in pixels.", where="grey")
    at = survey.plane.to_face(np.array([x, y], float))
    r = int(max(3, min(4.0 * float(survey.plane.px_per_mm(at)), 60)))
    xi, yi = int(round(x)), int(round(y))
    patch = pixels[max(yi - r, 0):yi + r + 1, max(xi - r, 0):xi + r + 1].reshape(-1, 3).astype(np.float64) / 65535
    mean = patch.mean(0)
    blurred = cv2.blur(pixels[max(yi - r, 0):yi + r + 1, max(xi - r, 0):xi + r + 1].astype(np.float32), (5, 5)) / 65535
    if (blurred.reshape(-1, 3).std(0) > 0.12 * np.maximum(mean, 0.01)).any():
        raise MockupError("The spot given as the grey card is not even.",
                          fix="Point at the middle of the card, away from its edge and any print.", where="grey")
    if mean.max() > 0.9:
        raise MockupError("The grey card is burnt out in this photo.",
                          fix="Take it again a little darker, or point at the grey side of the card.", where="grey")
    if mean.max() < 0.004:
        raise MockupError("The grey card is all but black in this photo.", fix="Take it again in more light.", where="grey")
    if mean.max() > 4.5 * mean.min():
        raise MockupError("The spot given as the grey card is strongly coloured.",
                          fix="Point at the grey card, or take the photo in daylight.", where="grey")
    return Spots("grey", at[None], mean[None], np.full((1, 3), reflectance))


def target_spots(pixels: Array, survey: Survey, target: Target, edition: str) -> tuple[Spots, Array, Array, Array]:
    """Greys of a target as spots; and of all 24 patches the place, colour seen, and whether it is usable."""
    seen, clipped = sample_target(pixels, target)
    at = survey.plane.to_face(target.centres)
    usable = (clipped < 0.02) & (seen.max(1) < 0.97) & np.isfinite(seen).all(1)
    if usable.sum() < 12:
        raise MockupError("Most of the target's patches are burnt out in this photo.",
                          fix="Take it again darker: no patch may be pure white.", where="target")
    greys = np.arange(24)[NEUTRALS][usable[NEUTRALS]]
    known = target_linear(edition)
    return Spots("neutral", at[greys], seen[greys], known[greys]), at, seen, usable


def wood_spots(survey: Survey, shut: Array) -> Spots:
    """The board's own colours on a coarse grid; medians, so that grain and knots do not count.

    shut  (H, W) bool over the view: paper, glare, outside.
    """
    rows, cols = survey.view.board(survey.size)
    part, closed = survey.view.pixels[rows, cols], shut[rows, cols]
    w, h = survey.size
    count_x, count_y = (max(3, min(12, int(round(v / 40)))) for v in (w, h))
    at, seen = [], []
    ys = np.linspace(0, part.shape[0], count_y + 1).astype(int)
    xs = np.linspace(0, part.shape[1], count_x + 1).astype(int)
    for j in range(count_y):
        for i in range(count_x):
            cell = part[ys[j]:ys[j + 1], xs[i]:xs[i + 1]].reshape(-1, 3)
            open_ = ~closed[ys[j]:ys[j + 1], xs[i]:xs[i + 1]].ravel()
            if open_.sum() < max(0.3 * len(cell), 4):
                continue
            at.append(((i + 0.5) * w / count_x, (j + 0.5) * h / count_y))
            seen.append(np.median(cell[open_], axis=0) / 65535)
    if len(at) < 4:
        raise MockupError("Hardly any of the board is to be seen.",
                          fix="Lay strips and hands beside the board, and take it again.")
    return Spots("wood", np.array(at), np.array(seen))
