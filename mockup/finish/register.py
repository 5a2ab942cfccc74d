"""Lay one photograph of a piece of wood over another of the same piece."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ..errors import MockupError

__all__ = ["Registered", "register"]

Array = np.ndarray

WORK = 1100            # pixels, longer side: enough for figure and pores
LEAST_MATCHES = 14
LEAST_AGREEMENT = 0.12  # correlation of fine detail over the overlap; other boards reach 0.03
MOST_TURN = 1.35       # how much larger one photograph may show the wood than the other


@dataclass(frozen=True, eq=False)
class Registered:
    """``picture`` (H, W, 3) float32, the second photograph seen as the first.

    inside     (H, W) bool, where it covers the first.
    matrix     (3, 3) pixel of the first photograph to pixel of the second.
    matches    points of the wood that agree.
    agreement  correlation of fine detail over the overlap, -1..1.
    """

    picture: Array
    inside: Array
    matrix: Array
    matches: int
    agreement: float


def _detail(linear: Array, fine: float) -> Array:
    """Local detail of log luminance from ``fine`` pixels up, at unit contrast, float32: what survives a change of colour."""
    log = np.log(np.maximum(linear @ np.array([0.2126, 0.7152, 0.0722], np.float32), 0.003)).astype(np.float32)
    high = cv2.GaussianBlur(log, (0, 0), fine) - cv2.GaussianBlur(log, (0, 0), 8 * fine)
    power = cv2.GaussianBlur(high * high, (0, 0), 24 * fine)
    return high / np.sqrt(power + 1e-6)


def _codes(detail: Array) -> Array:
    return np.clip(128 + 42 * detail, 0, 255).astype(np.uint8)


def _small(linear: Array) -> tuple[Array, float]:
    scale = min(1.0, WORK / max(linear.shape[:2]))
    if scale == 1:
        return linear.astype(np.float32), 1.0
    size = (round(linear.shape[1] * scale), round(linear.shape[0] * scale))
    return cv2.resize(linear.astype(np.float32), size, interpolation=cv2.INTER_AREA), scale


def _scaling(scale: float) -> Array:
    # Pixel centres lie at whole numbers: shrinking moves them by half a pixel.
    return np.array([[scale, 0, (scale - 1) / 2], [0, scale, (scale - 1) / 2], [0, 0, 1]])


def register(first: Array, second: Array) -> Registered:
    """The photograph ``second`` laid over ``first``; both (H, W, 3) linear 0..1, any size.

    Points are matched by their surroundings (SIFT on detail freed of colour),
    a plane is fitted through those that agree (MAGSAC), and the fit refined
    on the detail itself (Evangelidis and Psarakis 2008). MockupError when the
    two do not show the same piece.
    """
    refused = MockupError("The two photographs do not show the same piece of wood.",
                          fix="Photograph the same offcut, square on and sharp, before and after staining; "
                              "crop both to the wood, or turn one the way the other lies.")
    (a, scale_a), (b, scale_b) = _small(first), _small(second)
    cv2.setRNGSeed(7)
    # Dark dye leaves little fine contrast in the noise of a photograph: then coarser figure must do.
    for fine in (0.8, 1.8):
        detail_a, detail_b = _detail(a, fine), _detail(b, fine)
        matrix, matches = _plane(detail_a, detail_b)
        if matrix is not None and matches >= LEAST_MATCHES and _sane(matrix, a.shape, scale_a / scale_b):
            break
    else:
        raise refused

    for fine in (1.8, 0.8):
        detail_a, detail_b = _detail(a, fine), _detail(b, fine)
        try:
            _, matrix = cv2.findTransformECC(detail_a, detail_b, matrix.astype(np.float32), cv2.MOTION_HOMOGRAPHY,
                                             (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-6), None, 5)
        except cv2.error:
            pass  # the detail has changed too much to refine on; the points stand
    over = cv2.warpPerspective(detail_b, matrix, detail_a.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    seen = _covered(matrix, b.shape, a.shape)
    agreement = float(np.corrcoef(detail_a[seen], over[seen])[0, 1]) if seen.mean() > 0.2 else 0.0
    if agreement < LEAST_AGREEMENT:
        raise refused

    full = np.linalg.inv(_scaling(scale_b)) @ matrix.astype(np.float64) @ _scaling(scale_a)
    picture = cv2.warpPerspective(second.astype(np.float32), full, first.shape[1::-1],
                                  flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    return Registered(picture, _covered(full, second.shape, first.shape), full, matches, agreement)


def _plane(detail_a: Array, detail_b: Array) -> tuple[Array | None, int]:
    """The plane-to-plane map (3, 3) on which most points agree, and how many do."""
    finder = cv2.SIFT_create(nfeatures=6000, contrastThreshold=0.01)
    points_a, marks_a = finder.detectAndCompute(_codes(detail_a), None)
    points_b, marks_b = finder.detectAndCompute(_codes(detail_b), None)
    if min(len(points_a), len(points_b)) < LEAST_MATCHES:
        return None, 0
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(marks_a, marks_b, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.88 * p[1].distance]
    if len(good) < LEAST_MATCHES:
        return None, 0
    from_a = np.array([points_a[m.queryIdx].pt for m in good], np.float64)
    to_b = np.array([points_b[m.trainIdx].pt for m in good], np.float64)
    matrix, kept = cv2.findHomography(from_a, to_b, cv2.USAC_MAGSAC, 3.0, maxIters=20_000, confidence=0.9999)
    return matrix, 0 if kept is None else int(kept.sum())


def _covered(matrix: Array, second: tuple[int, ...], first: tuple[int, ...]) -> Array:
    ones = np.full(second[:2], 255, np.uint8)
    ones[:2], ones[-2:], ones[:, :2], ones[:, -2:] = 0, 0, 0, 0
    return cv2.warpPerspective(ones, matrix, first[1::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP) > 250


def _sane(matrix: Array, shape: tuple[int, ...], ratio: float) -> bool:
    """Whether a plane seen so could be the same board: not mirrored, not much larger or smaller, not edge on."""
    height, width = shape[:2]
    corners = np.array([[[0, 0], [width, 0], [width, height], [0, height]]], np.float64)
    x, y = cv2.perspectiveTransform(corners, matrix)[0].T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) * ratio**2 / (width * height)
    return 1 / MOST_TURN**4 < area < MOST_TURN**4
