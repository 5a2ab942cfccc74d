"""Markers in a photograph, with corners to a few hundredths of a pixel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from mockup.board.sheet import Sheet, _dictionary, marker_bits
from mockup.errors import MockupError

__all__ = ["Markers", "blurred", "find_markers", "find_more", "grey_view"]

Array = np.ndarray

_QUICK = 2000       # pixels, longer side of the picture markers are first looked for in
_OTHERS = ("6X6_250", "4X4_250", "5X5_250", "7X7_250", "APRILTAG_36h11")
_SOFT = 2.4         # px, blur of the sharpest edge of a photo that is not sharp
_SAMPLES = 24       # points along one side of a marker


@dataclass(frozen=True, slots=True)
class Markers:
    """What was found.

    numbers  (N,) int, of the sheet's markers, in ascending order.
    corners  (N, 4, 2) float64, pixels, clockwise from the marker's own top left;
             (0, 0) is the centre of the first pixel.
    spread   (N,) float64, pixels, width of the blur across the markers' edges (one standard deviation).
    """

    numbers: Array
    corners: Array
    spread: Array


@cache
def _eye_table() -> Array:
    """Linear 16-bit light to 8-bit grey, evenly stepped for the eye."""
    return np.rint(255 * (np.arange(65536) / 65535) ** (1 / 2.2)).astype(np.uint8)


def grey_view(pixels: Array) -> Array:
    """An 8-bit grey picture (H, W) of linear uint16 colour (H, W, 3)."""
    return cv2.LUT(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), _eye_table())


def find_markers(grey: Array, sheet: Sheet, light: Array | None = None) -> Markers:
    """All markers of ``sheet`` in an 8-bit grey picture.

    light  the photo (H, W, 3) uint16 linear that ``grey`` was made of: a blurred
           edge keeps its place in light, and moves into the dark in codes made for the eye.

    Raises MockupError when there are none, the picture is mirrored, it shows
    another sheet, or one marker is seen twice.
    """
    numbers, corners = _look(grey, sheet.dictionary)
    ours = np.array([sheet.piece_of(n) is not None for n in numbers], bool)
    strangers = int((~ours).sum())
    numbers, corners = numbers[ours], corners[ours]
    if not len(numbers):
        raise _none_found(grey, sheet, strangers)
    order = np.argsort(numbers, kind="stable")
    numbers, corners = numbers[order], corners[order]
    _refuse_twins(numbers, corners, sheet)
    if strangers >= 3:
        raise _two_sheets(sheet)
    light = grey if light is None else cv2.cvtColor(light, cv2.COLOR_RGB2GRAY)
    corners, spread, sound = _refine(light, corners)
    if not sound.any() or (sound.sum() < 2 and blurred(grey)):
        raise _too_blurred()
    return Markers(numbers[sound], corners[sound], spread[sound])


def find_more(light: Array, sheet: Sheet, numbers: Array, corners: Array) -> Markers:
    """Markers where they are expected, (N,) numbers and (N, 4, 2) px, as far as they are to be seen there.

    light  the photo (H, W, 3) uint16. A marker too small or soft to be found by
           its outline is still known by its cells, when its place is known.
    """
    grey = cv2.cvtColor(light, cv2.COLOR_RGB2GRAY)
    inside = ((corners > 4) & (corners < np.array(grey.shape[::-1]) - 5)).all((1, 2)) if len(corners) else np.zeros(0, bool)
    numbers, corners = numbers[inside], corners[inside]
    if not len(numbers):
        return Markers(numbers, corners, np.zeros(0))
    found, spread, sound = _refine(grey, corners)
    moved = np.linalg.norm(found - corners, axis=2).max(1)
    side = np.linalg.norm(np.roll(corners, -1, 1) - corners, axis=2).min(1)
    sound &= moved < np.maximum(1.5, 0.06 * side)
    sound &= np.array([_reads(grey, sheet.dictionary, n, c) for n, c in zip(numbers, found)], bool)
    return Markers(numbers[sound], found[sound], spread[sound])


def _reads(grey: Array, dictionary: str, number: int, corners: Array) -> bool:
    """Whether the cells between four corners are those of a marker."""
    bits = marker_bits(dictionary, int(number))
    n = len(bits)
    matrix = cv2.getPerspectiveTransform(np.float32([[0, 0], [n, 0], [n, n], [0, n]]), corners.astype(np.float32))
    middle = np.arange(n) + 0.5
    cells = np.stack(np.meshgrid(middle, middle), -1).reshape(-1, 2) @ matrix[:, :2].T + matrix[:, 2]
    at = (cells[:, :2] / cells[:, 2:]).astype(np.float32)
    seen = cv2.remap(grey, at[None, :, 0], at[None, :, 1], cv2.INTER_LINEAR)[0].astype(np.float64)
    return float(np.corrcoef(seen, (~bits).ravel())[0, 1]) > 0.75


def _look(grey: Array, dictionary: str) -> tuple[Array, Array]:
    """Numbers (N,) and corners (N, 4, 2) of all markers of a dictionary."""
    step = max(grey.shape) / _QUICK
    small = cv2.resize(grey, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA) if step > 1.15 else grey
    numbers, corners = _detect(small, dictionary)
    if small is grey:
        return numbers, corners
    if len(numbers) < 4:
        return _detect(grey, dictionary)
    scale = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    return numbers, (corners + 0.5) * scale - 0.5


def _detect(grey: Array, dictionary: str) -> tuple[Array, Array]:
    detector = _detector(dictionary)
    found, numbers, _ = detector.detectMarkers(grey)
    if numbers is None or not len(numbers):
        return np.zeros(0, int), np.zeros((0, 4, 2))
    return np.asarray(numbers, int).ravel(), np.asarray(found, np.float64).reshape(-1, 4, 2)


@cache
def _detector(dictionary: str):
    how = cv2.aruco.DetectorParameters()
    how.minMarkerPerimeterRate = 0.012
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax, how.adaptiveThreshWinSizeStep = 5, 45, 20
    how.errorCorrectionRate = 0.4
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    how.cornerRefinementWinSize = 3
    return cv2.aruco.ArucoDetector(_dictionary(dictionary), how)


def _none_found(grey: Array, sheet: Sheet, strangers: int) -> MockupError:
    if strangers:
        return _two_sheets(sheet)
    numbers, _ = _look(np.ascontiguousarray(grey[:, ::-1]), sheet.dictionary)
    if sum(sheet.piece_of(n) is not None for n in numbers) >= 2:
        return MockupError("This photo is mirrored: its markers read backwards.",
                           fix="Turn off mirroring in the camera, or use the back camera, and take it again.")
    for other in _OTHERS:
        if other != sheet.dictionary and len(_look(grey, other)[0]) >= 2:
            return MockupError(f"The markers in this photo are not those of the {sheet.name}; they are of the "
                               f"dictionary {other}.",
                               fix='Lay out the sheet that "mockup card" prints, or say which sheet this is.')
    if blurred(grey):
        return _too_blurred()
    if float(np.percentile(grey, 99)) < 60:
        return MockupError("This photo is too dark to find markers in.",
                           fix="Take it by daylight near a window, without flash.")
    return MockupError("No markers were found in this photo.",
                       fix='Lay the strips of "mockup card" beside the board, all of them in the picture, or give '
                           "the board's four corners and its size.")


def blurred(grey: Array) -> bool:
    """Whether even the sharpest edges of a picture are some pixels wide."""
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8).astype(np.float32)
    steep = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)) / 8
    contrast = np.ptp(np.percentile(grey[::4, ::4], (0.5, 99.5)))
    # An edge blurred by s pixels rises by at most 0.4 / s of its height a pixel.
    return contrast > 12 and float(np.percentile(steep, 99.9)) < 0.4 / _SOFT * contrast


def _too_blurred() -> MockupError:
    return MockupError("The photo is too blurred or too coarse to place the markers.",
                       fix="Lean the phone on something, touch the board to focus, and let the board fill the picture.")


def _two_sheets(sheet: Sheet) -> MockupError:
    return MockupError(f"The photo shows markers that are not of the {sheet.name} beside some that are.",
                       fix="Leave only one sheet in the picture.")


def _refuse_twins(numbers: Array, corners: Array, sheet: Sheet) -> None:
    twice = np.flatnonzero(np.diff(numbers) == 0)
    for k in twice:
        side = np.linalg.norm(corners[k, 1] - corners[k, 0])
        if np.linalg.norm(corners[k].mean(0) - corners[k + 1].mean(0)) > 0.5 * side:
            name = sheet.pieces[sheet.piece_of(numbers[k])].name
            raise MockupError(f"The photo shows two sheets: a marker of piece {name} is there twice.",
                              fix="Leave only one copy of each strip in the picture.")


def _refine(grey: Array, corners: Array) -> tuple[Array, Array, Array]:
    """Corners where lines through the four edges meet, blur across the edges, and which markers are sound.

    An edge is the centre of gravity of the change of brightness across it: a
    corner detector alone is pulled by the cells inside the marker.
    """
    n = len(corners)
    side = np.linalg.norm(np.roll(corners, -1, 1) - corners, axis=2)           # (n, 4)
    cell = side.min(1) / 9.0
    reach = np.clip(0.75 * cell, 1.5, 12.0)                                    # px each way across the edge
    # Away from the ends, where the neighbouring edge's blur reaches in.
    along = np.linspace(0.14, 0.86, _SAMPLES)
    taps = np.linspace(-1, 1, 33)
    start, end = corners, np.roll(corners, -1, 1)
    unit = (end - start) / side[..., None]
    inward = np.stack([-unit[..., 1], unit[..., 0]], -1)                       # clockwise with y down: right of travel
    base = start[:, :, None] + (end - start)[:, :, None] * along[None, None, :, None]
    points = base[:, :, :, None] + inward[:, :, None, None] * (reach[:, None, None, None] * taps)[..., None]
    flat = points.astype(np.float32).reshape(n, -1, 2)
    profile = cv2.remap(grey, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = profile.astype(np.float64).reshape(n, 4, _SAMPLES, len(taps))
    fall = np.maximum(-np.gradient(profile, axis=3), 0)                        # paper outside is bright
    fall = np.maximum(fall - 0.08 * fall.max(3, keepdims=True), 0)
    weight = fall.sum(3)
    middle = (fall * taps).sum(3) / np.maximum(weight, 1e-9)
    width = np.sqrt((fall * (taps - middle[..., None]) ** 2).sum(3) / np.maximum(weight, 1e-9))
    strong = weight > 0.4 * np.median(weight, axis=2, keepdims=True)
    place = base + inward[:, :, None] * (middle * reach[:, None, None])[..., None]
    lines, off = _lines(place, strong.astype(float))
    out = _meet(np.roll(lines, 1, 1), lines)
    moved = np.linalg.norm(out - corners, axis=2).max(1)
    contrast = np.median(np.ptp(profile, axis=3), axis=(1, 2))
    inside = ((out > 1) & (out < np.array(grey.shape[::-1]) - 2)).all((1, 2))
    sound = np.isfinite(out).all((1, 2)) & inside & (moved < 1.5 * reach + 1) & (off.max(1) < 0.6 * reach)
    sound &= contrast > 0.05 * np.iinfo(grey.dtype).max
    spread = np.median(width, axis=(1, 2)) * reach
    return np.where(sound[:, None, None], out, corners), spread, sound


def _lines(points: Array, weight: Array) -> tuple[Array, Array]:
    """Lines (..., 3) with unit normals through points (..., m, 2), twice reweighted; and their scatter."""
    for _ in range(3):
        total = weight.sum(-1, keepdims=True)
        mean = (points * weight[..., None]).sum(-2) / np.maximum(total, 1e-9)
        d = points - mean[..., None, :]
        xx, yy, xy = ((weight * d[..., i] * d[..., j]).sum(-1) for i, j in ((0, 0), (1, 1), (0, 1)))
        turn = 0.5 * np.arctan2(2 * xy, xx - yy)
        normal = np.stack([-np.sin(turn), np.cos(turn)], -1)
        off = np.abs((d * normal[..., None, :]).sum(-1))
        limit = 2.5 * np.median(off, axis=-1, keepdims=True) + 0.02
        weight = weight * np.minimum(1, limit / np.maximum(off, 1e-9))
    scatter = np.median(off, axis=-1)
    return np.concatenate([normal, -(normal * mean).sum(-1, keepdims=True)], -1), scatter


def _meet(a: Array, b: Array) -> Array:
    """Points (..., 2) where lines (..., 3) cross."""
    cross = np.cross(a, b)
    with np.errstate(all="ignore"):
        return cross[..., :2] / cross[..., 2:]
