"""The face of the board in the photograph: from pixels to mm and back."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from mockup.errors import MockupError

__all__ = ["UNIT", "Plane", "camera", "check_size", "face_matrix", "plane_from_corners", "plane_from_scan", "project"]

Array = np.ndarray

UNIT = 100.0  # mm; keeps the unknowns of a fit near 1


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
        return project(np.asarray(mm, np.float64), self.matrix, self.centre, self.half, self.lens)

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
    return replace(plane, matrix=face_matrix(view, plane.centre, plane.half), lens=tuple(view[8:12]), placed=None)


def project(mm: Array, matrix: Array, centre, half: float, lens) -> Array:
    """Points on a face (..., 2) mm to pixels, NaN behind the camera; the numbers are those of ``Plane``."""
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


def face_matrix(view: Array, centre, half: float) -> Array:
    """Eight unknowns to the matrix from mm to pixels."""
    to_pixels = np.array([[half, 0, centre[0]], [0, half, centre[1]], [0, 0, 1]])
    return to_pixels @ np.append(view[:8], 1.0).reshape(3, 3) @ np.diag([1 / UNIT, 1 / UNIT, 1])


def camera(size: tuple[int, int]) -> tuple[tuple[float, float], float]:
    """Middle, px, and half the diagonal, px, of a photo of (width, height)."""
    width, height = size
    return ((width - 1) / 2, (height - 1) / 2), float(np.hypot(width, height) / 2)


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
    centre, half = camera(size)
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
    centre, half = camera(size)
    # Pixel centres lie half a pixel inside the scan's edge.
    matrix = np.array([[dpi / 25.4, 0, -0.5], [0, dpi / 25.4, -0.5], [0, 0, 1]])
    return Plane(matrix, centre, half)
