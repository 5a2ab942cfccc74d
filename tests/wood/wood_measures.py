"""Statistics of wood pictures that do not depend on scale, for photographs and generated boards alike."""

from __future__ import annotations

import cv2
import numpy as np

from mockup.colour.spaces import srgb8_to_lab

NAMES = ("slope_across", "slope_along", "skewness", "detail", "lightness_yellowness")


def measures(rgb: np.ndarray) -> dict[str, float]:
    """Measure an (H, W, 3) uint8 sRGB picture whose grain runs along y.

    slope_across, slope_along  exponents of the power spectrum of L*, 3 to 40 pixels a cycle.
    skewness                   of L* finer than about 8 pixels; pores pull it below 0.
    detail                     standard deviation of L* finer than 60 pixels.
    lightness_yellowness       correlation of L* and b* at 4 to 60 pixels.
    """
    lab = srgb8_to_lab(rgb).astype(np.float32)
    smooth = cv2.GaussianBlur(lab, (0, 0), 30)
    detail = lab - smooth
    light = detail[..., 0]
    fine = light - cv2.GaussianBlur(light, (0, 0), 4)
    middle = cv2.GaussianBlur(detail, (0, 0), 1.5)
    return {"slope_across": _slope(light, 1), "slope_along": _slope(light, 0),
            "skewness": float(np.mean(fine ** 3) / np.mean(fine ** 2) ** 1.5),
            "detail": float(light.std()),
            "lightness_yellowness": float(np.corrcoef(middle[..., 0].ravel(), middle[..., 2].ravel())[0, 1])}


def _slope(plane: np.ndarray, axis: int) -> float:
    """Exponent of the mean power spectrum along an axis."""
    n = plane.shape[axis]
    window = np.hanning(n).reshape((-1, 1) if axis == 0 else (1, -1))
    power = np.mean(np.abs(np.fft.rfft(plane * window, axis=axis)) ** 2, axis=1 - axis)
    frequency = np.fft.rfftfreq(n)
    edges = np.geomspace(1 / 40, 1 / 3, 13)
    place = np.digitize(frequency, edges)
    points = [(np.log(frequency[place == k].mean()), np.log(power[place == k].mean()))
              for k in range(1, 13) if (place == k).any()]
    x, y = np.transpose(points)
    return float(np.polyfit(x, y, 1)[0])
