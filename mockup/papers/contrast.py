"""How strongly figure shows: on a photograph, and on the picture that was approved."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from ..colour.spaces import decode_srgb, linear_to_lab
from ..errors import MockupError
from ..outline.coverage import coverage
from ..render.picture import picture_canvas
from ..scene.load import load_scene
from .laid import plain_region
from .record import scene_path
from .verify import approved_pixels

__all__ = ["approved_contrast", "figure_contrast"]

FINE, COARSE = 0.8, 9.0  # mm (sigma): pores and noise are finer, heartwood and shade coarser than figure
DENSITY = 1.5            # pixels per mm at which both are looked at
LEAST = 900              # mm² of wood


def figure_contrast(linear: np.ndarray, mask: np.ndarray, px_per_mm: float) -> float | None:
    """Standard deviation of L* between 0.8 and 9 mm, where ``mask`` is; None for too little wood.

    linear  (H, W, 3) float32, linear sRGB primaries; mask (H, W) bool.
    """
    size = tuple(max(1, round(n * DENSITY / px_per_mm)) for n in linear.shape[1::-1])
    small = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    weight = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    lightness = linear_to_lab(small)[..., 0].astype(np.float32)

    def blurred(sigma: float) -> np.ndarray:
        # What lies outside the mask has no say.
        top = cv2.GaussianBlur(lightness * weight, (0, 0), sigma * DENSITY)
        return top / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma * DENSITY), 1e-3)

    band = blurred(FINE) - blurred(COARSE)
    whole = weight > 0.99
    if whole.sum() < LEAST * DENSITY**2:
        return None
    return float(band[whole].std())


def approved_contrast(record: Mapping[str, Any], folder: Path, part: str) -> float | None:
    """The same on the approved picture; None when picture or scene are not at hand or the part is too small.

    The part's place in the picture is that of the scene as it stands now.
    """
    pixels, _ = approved_pixels(dict(record), folder)
    if pixels is None:
        return None
    side = record["picture"]["side"]
    try:
        scene = load_scene(scene_path(dict(record), folder)).with_variant(record["variant"])
        canvas = picture_canvas(scene, side=side, scale=float(record["picture"]["scale"]))
    except MockupError:
        return None
    region = plain_region(scene, side, part)
    if region is None or (canvas.height, canvas.width) != pixels.shape[:2]:
        return None
    left = coverage(region, origin=canvas.origin, px_per_mm=canvas.px_per_mm, size=canvas.size)
    linear = decode_srgb(pixels.astype(np.float32) / 255).astype(np.float32)
    return figure_contrast(linear, left > 0.99, canvas.px_per_mm)
