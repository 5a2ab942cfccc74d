"""How a golden picture is drawn and compared."""

from pathlib import Path

import cv2
import numpy as np

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import srgb8_to_lab
from mockup.render.views import View, view_picture
from mockup.scene.load import load_scene

SCALE = 0.9  # pixels per mm: parts, light and colour show; pores do not, so that a finer grain is no change


def draw(name: str) -> np.ndarray:
    """Both sides of a built-in scene in its first variant, neck to the left, (H, W, 3) uint8 sRGB."""
    scene = load_scene(name)
    return view_picture(scene.with_variant(scene.variants[0].name), View(side="both", lying=True), scale=SCALE).pixels


def read(file: Path) -> np.ndarray:
    """A golden picture, (H, W, 3) uint8 sRGB."""
    return np.ascontiguousarray(cv2.imread(str(file))[..., ::-1])


def difference(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """CIEDE2000 of two pictures, pixel by pixel, after averaging 2 x 2: dither is no difference."""
    halves = [cv2.resize(p, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) for p in (a, b)]
    return ciede2000(*(srgb8_to_lab(h) for h in halves))
