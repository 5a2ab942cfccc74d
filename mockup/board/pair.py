"""Two photographs of one board, lit from the two ends: glare out, fibre angle in.

Fibres that rise away from a light shine, as their upper side faces it, and
those that sink go dull; lit from the other end it is the other way round. The ratio of the two pictures
therefore tells the angle of the fibres, and their darker half tells the wood
without the mirrored lamp.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from mockup.board.calibrate import Calibrated
from mockup.board.develop import develop
from mockup.board.plane import Plane
from mockup.colour.spaces import luminance
from mockup.errors import MockupError

__all__ = ["Pair", "combine", "fibre_dip", "same_face", "take_glare_out"]

Array = np.ndarray

INDEX = 1.5   # refractive index of the wood's surface layer, as in Marschner et al. 2005
_MOVED = 1.5  # mm the sheet's pieces may have been moved between the photos


@dataclass(frozen=True, slots=True)
class Pair:
    """Both photos as one board.

    pixels  (H, W, 3) uint16 linear reflectance, glare out.
    dip     (H, W) float32, degrees the fibres leave the face, positive where they rise away from the first light.
    mended  share of the board where glare of one photo was replaced by the other.
    moved   mm by which the pieces of the sheet disagree between the photos.
    """

    pixels: Array
    px_per_mm: float
    dip: Array
    mended: float
    moved: float


def same_face(first: Plane, second: Plane) -> tuple[Plane, float]:
    """The second photo's plane in the first one's board coordinates, by the pieces both show; and their mean gap, mm.

    Raises MockupError when they share no piece, or the pieces were moved in between.
    """
    names = sorted(set(first.placed or {}) & set(second.placed or {}))
    if not names:
        raise MockupError("The two photos share no strip of the sheet.",
                          fix="Leave strips and board where they are and move only the lamp.")
    corners = np.array([[0.0, 0], [100, 0], [100, 24], [0, 24]])
    lay = lambda plane: np.concatenate([corners @ plane.placed[n][:, :2].T + plane.placed[n][:, 2] for n in names])
    a, b = lay(second), lay(first)
    da, db = a - a.mean(0), b - b.mean(0)
    turn = np.arctan2((da[:, 0] * db[:, 1] - da[:, 1] * db[:, 0]).sum(), (da * db).sum())
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    gap = float(np.linalg.norm(da @ rotation.T - db, axis=1).mean())
    if gap > _MOVED:
        raise MockupError(f"Strips lie {gap:.1f} mm elsewhere in the second photo.",
                          fix="Leave strips and board where they are and move only the lamp.")
    shift = b.mean(0) - rotation @ a.mean(0)
    # A board point p of the first lies at R^T (p - shift) of the second.
    return second.moved(tuple(rotation.T @ -shift), -float(np.degrees(turn))), gap


def combine(pixels: tuple[Array, Array], boards: tuple[Calibrated, Calibrated], *, elevation: float = 35.0,
            share: float = 0.4, width: float = 12.0) -> Pair:
    """Both photos of one board to one, in the first one's coordinates.

    pixels     the photos, uint16 linear, lit from the board's left and right in this order.
    elevation  of the lights above the bench, degrees; share and width as ``fibre_dip``.

    Raises MockupError as ``same_face``.
    """
    one, two = boards
    plane, gap = same_face(one.survey.plane, two.survey.plane)
    size, scale = one.survey.size, one.px_per_mm
    # The second light was worked out about its own origin; move it with the plane.
    shift = _between(one.survey.plane, two.survey.plane, plane)
    recipe = replace(two.recipe, light=_Moved(two.recipe.light, *shift))
    first = one.pixels
    second = develop(pixels[1], plane, size, scale, recipe)
    second = _align(first, second, scale)
    a, b = first.astype(np.float32) / 65535, second.astype(np.float32) / 65535
    # Two exposures never agree to the last percent; the board is one.
    gain = np.median(a.reshape(-1, 3)[::37], 0) / np.maximum(np.median(b.reshape(-1, 3)[::37], 0), 1e-4)
    b = b * gain.astype(np.float32)
    merged, mended = take_glare_out(a, b, scale)
    grain = 0.0 if abs(one.grain[0]) < 45 else 90.0
    dip = fibre_dip(luminance(a), luminance(b), scale, elevation=elevation, share=share, width=width, grain=grain)
    return Pair(np.rint(np.clip(merged, 0, 1) * 65535).astype(np.uint16), scale, dip, mended, gap)


class _Moved:
    """A light seen from coordinates moved by a turn and a shift: stands in for ``Light`` in ``develop``."""

    def __init__(self, light, rotation: Array, shift: Array) -> None:
        self._light, self._rotation, self._shift = light, rotation, shift
        self.tone = light.tone

    def field(self, at: Array) -> Array:
        return self._light.field((np.asarray(at) - self._shift) @ self._rotation)

    def white(self) -> Array:
        return self._light.white()


def _between(one: Plane, two: Plane, moved: Plane) -> tuple[Array, Array]:
    """Rotation and shift that take the second board's mm to the first's."""
    probe = np.array([[0.0, 0], [100, 0], [0, 100]])
    seen = moved.to_face(two.to_image(probe))
    rotation = np.stack([(seen[1] - seen[0]) / 100, (seen[2] - seen[0]) / 100], 1)
    return rotation, seen[0]


def _align(first: Array, second: Array, scale: float) -> Array:
    """The second shifted by what is left between them, a fraction of a mm (phase correlation, Hanning window)."""
    grey = lambda a: np.log(np.maximum(a[..., 1].astype(np.float32), 60))
    fine = lambda a: a - cv2.GaussianBlur(a, (0, 0), 4 * scale)
    a, b = fine(grey(first)), fine(grey(second))
    (dx, dy), sure = cv2.phaseCorrelate(a, b, cv2.createHanningWindow(a.shape[::-1], cv2.CV_32F))
    if sure < 0.05 or np.hypot(dx, dy) > 2.0 * scale:
        return second
    move = np.float32([[1, 0, dx], [0, 1, dy]])
    return cv2.warpAffine(second, move, second.shape[1::-1], flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)


def take_glare_out(a: Array, b: Array, px_per_mm: float) -> tuple[Array, float]:
    """The mean of two pictures of one board, (H, W, 3) float32 linear, where they agree; elsewhere the one without glare.

    Glare adds the same white light to all channels and is smooth; a curl's
    sheen multiplies them and is short. Returns the picture and the share mended.
    """
    sigma = 2.5 * px_per_mm
    gap = cv2.GaussianBlur(a - b, (0, 0), sigma)
    white = gap.min(2), -gap.max(2)  # what is added to every channel of a, of b
    level = float(np.median(luminance(a)))
    more = [np.clip((w - 0.06 * level) / (0.10 * level), 0, 1) for w in white]
    weight = np.clip(0.5 - 0.5 * more[0] + 0.5 * more[1], 0, 1)[..., None].astype(np.float32)
    share = float(((more[0] > 0.5) | (more[1] > 0.5)).mean())
    return a * weight + b * (1 - weight), share


def fibre_dip(left: Array, right: Array, px_per_mm: float, *, elevation: float = 35.0, share: float = 0.4,
              width: float = 12.0, grain: float = 0.0) -> Array:
    """Angle of the fibres out of the face, degrees (H, W) float32, positive where they rise away from the first light.

    left, right  (H, W) brightness with the light off, lit from the two ends of the
                 grain, at ``elevation`` degrees above the face.
    share        of the light that fibres return; width of their lobe, degrees.
    grain        degrees; only 0 (lights at the picture's left and right) and 90 (top and bottom).

    After Marschner, Westin, Arbree and Moon 2005: light scattered by a fibre
    stands on a cone, brightest where the inclinations psi of light and eye to it
    cancel: exp(-(psi_i + psi_r)² / 2 w²). Seen from above, a fibre at phi under a
    light refracted to e from the upright has psi_r = phi, psi_i = phi - e. Sign
    and pattern are sure; the size rests on ``share`` and ``width``, which differ
    from wood to wood.
    """
    soft = lambda v: cv2.GaussianBlur(np.asarray(v, np.float32), (0, 0), 0.5 * px_per_mm)
    ratio = np.log(np.maximum(soft(left), 1e-4) / np.maximum(soft(right), 1e-4))
    # Whatever changes over more than a curl is light that was not taken off.
    along = (14.0 * px_per_mm, 4.0 * px_per_mm) if abs(grain) < 45 else (4.0 * px_per_mm, 14.0 * px_per_mm)
    ratio = ratio - cv2.GaussianBlur(ratio, (0, 0), sigmaX=along[0], sigmaY=along[1])
    dips = np.linspace(-25, 25, 401)
    model = np.log(_shine(dips, elevation, share, width) / _shine(-dips, elevation, share, width))
    middle = len(dips) // 2
    # Beyond its peak the ratio falls again; there the angle cannot be told, and the peak is kept.
    last = middle + int(np.argmax(model[middle:]))
    first = 2 * middle - last
    return np.interp(ratio, model[first:last + 1], dips[first:last + 1]).astype(np.float32)


def _shine(dip: Array, elevation: float, share: float, width: float) -> Array:
    """Brightness of wood whose fibres rise by ``dip`` away from a light, flat wood = 1."""
    e = np.degrees(np.arcsin(np.cos(np.radians(elevation)) / INDEX))
    lobe = lambda d: np.exp(-0.5 * ((2 * d - e) / width) ** 2)
    # The lobe of wood with fibres spread by some degrees never vanishes: the flat board sets the level.
    wide = np.hypot(width, 8.0)
    level = np.exp(-0.5 * (e / wide) ** 2)
    return 1 + share / (1 - share) * (lobe(dip) - lobe(0.0)) / max(level, 0.2)
