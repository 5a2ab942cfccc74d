"""Figure that moves as the light moves: the fibre highlight of figured wood.

Fibres that dip into and out of the face mirror light in a cone around
themselves; where the dip fits the lamp, the wood flashes. From a map of the
dip the shimmer under any lamp follows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["BETA", "Dip", "dip_from_detail", "dip_from_two", "fibre_light", "swing", "tilt_frames"]

Array = np.ndarray

INDEX = 1.5           # of the film: light is refracted into it before it meets a fibre
BETA = 12.0           # degrees, width of the highlight (Marschner et al. 2005: 5 to 20)
BODY = 0.64           # share of the light that comes from the wood's even body, at the mean dip
USUAL_DIP = 5.0       # degrees, of a well figured board (curl of 8 mm and 0.1 mm amplitude)
SOFT = 1.1            # a guessed dip levels off at so many times USUAL_DIP: swings through the peak draw double stripes


@dataclass(frozen=True, eq=False)
class Dip:
    """Dip of the fibres out of the face, (H, W) float32 degrees, positive where they rise toward +y along the grain.

    measured  True from two photographs, False where it is guessed from one.
    words     which, for the picture's note.
    """

    degrees: Array
    measured: bool
    words: str


def _inside(angle: Array | float) -> Array:
    """Angle from the normal inside the film, radians, of one outside in degrees."""
    return np.arcsin(np.sin(np.radians(angle)) / INDEX)


def fibre_light(dip: Array, lamp: float, beta: float = BETA) -> Array:
    """Light from the fibres toward a viewer straight above, any shape, 1 at the peak.

    dip   degrees out of the face, in the plane of grain and normal.
    lamp  degrees from the normal, in that plane, outside the film.

    Marschner, Westin, Arbree and Moon 2005: g(beta, psi_i + psi_r) / cos²((psi_r - psi_i) / 2),
    psi the inclinations of light and viewer to the plane across the fibre.
    """
    phi = np.radians(np.asarray(dip, np.float64))
    # In this plane the inclination of a direction at angle a from the normal is a + dip of the fibre.
    psi_i, psi_r = _inside(lamp) + phi, phi
    width = np.radians(beta)
    return np.exp(-((psi_i + psi_r) ** 2) / (2 * width**2)) / np.cos((psi_r - psi_i) / 2) ** 2


def _gain(dip: Array, lamp: float, beta: float) -> Array:
    light = BODY + (1 - BODY) * fibre_light(dip, lamp, beta) / max(float(fibre_light(np.zeros(1), 0.0, beta)[0]), 1e-9)
    return light / light.mean()


def swing(frames: int, reach: float = 22.0) -> Array:
    """Lamp angles (frames,) in degrees of a loop: over to one side and back, slow at the ends."""
    return reach * np.sin(2 * np.pi * np.arange(frames) / frames)


def tilt_frames(dip: Array, frames: int = 24, *, reach: float = 22.0, at: float = 10.0, beta: float = BETA) -> Iterator[Array]:
    """Gains (H, W) float32, one per frame of a loop, to multiply a finished, lit picture by.

    dip    (H, W) degrees, as in ``Dip``, at the picture's pixels.
    reach  degrees the lamp swings to each side.
    at     degrees at which the lamp stood for the photograph: with the lamp there the gain is 1.
    """
    still = _gain(dip, at, beta)
    for lamp in swing(frames, reach):
        yield np.clip(_gain(dip, float(lamp), beta) / still, 0.35, 2.5).astype(np.float32)


def dip_from_detail(detail: Array, sd: float, *, px_per_mm: float, lamp: float = 10.0) -> Dip:
    """A guess of the dip from one photograph's local detail w (H, W), lit from along the grain at ``lamp`` degrees.

    sd  robust standard deviation of w over the board.

    Dark bands are taken to dip away from the lamp. That the figure of a real
    board moves so is likely; how far, nobody can tell from one photograph.
    """
    # Pores and single fibres are no figure: they stay where they are.
    smooth = cv2.GaussianBlur(np.asarray(detail, np.float32), (0, 0), max(0.6 * px_per_mm, 0.5))
    degrees = -np.sign(lamp or 1.0) * SOFT * USUAL_DIP * np.tanh(smooth / (1.6 * max(sd, 1e-4)))
    return Dip(degrees.astype(np.float32), False, "the movement of the figure is estimated from one photograph")


def dip_from_two(first: Array, second: Array, *, lamps: tuple[float, float] = (-25.0, 25.0), beta: float = BETA) -> Dip:
    """The dip from two photographs lit from the two ends of the grain, registered to each other.

    first, second  (H, W) luminance under lamps[0] and lamps[1] degrees.

    Under the model the ratio of the two rises steadily with the dip; it is
    read off that curve. Their overall exposures may differ.
    """
    ratio = np.log(np.maximum(cv2.GaussianBlur(np.asarray(second, np.float32), (0, 0), 0.8), 1e-4)
                   / np.maximum(cv2.GaussianBlur(np.asarray(first, np.float32), (0, 0), 0.8), 1e-4))
    # Different exposure, and lamps of different height, shift the whole by a slow field.
    ratio -= cv2.GaussianBlur(ratio, (0, 0), max(ratio.shape) / 8, borderType=cv2.BORDER_REFLECT)
    at = np.linspace(-16, 16, 257)
    curves = [BODY + (1 - BODY) * fibre_light(at, lamp, beta) for lamp in lamps]
    curve = np.log(curves[1] / curves[0])
    # Only the steady middle of the curve can be read.
    down = curve[0] > curve[-1]
    low, high = (int(np.argmax(curve)), int(np.argmin(curve))) if down else (int(np.argmin(curve)), int(np.argmax(curve)))
    x, y = curve[low:high + 1], at[low:high + 1]
    degrees = np.interp(ratio, x[::-1], y[::-1]) if down else np.interp(ratio, x, y)
    return Dip(degrees.astype(np.float32), True, "the movement of the figure is measured from two photographs")
