"""Where the photo does not show the wood: burnt out, drowned in black, or veiled by glare."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from mockup.board.flatten import brightest
from mockup.colour.spaces import luminance

__all__ = ["Spoilt", "find_spoilt"]

Array = np.ndarray

_FULL, _NONE = 0.955, 0.0012   # light as the file says it; a working view has averaged a little
_EXCESS = 0.30                 # logarithm of brightness above the board's own
_LEAST = 10.0                   # mm², smaller spots are grain or dust


@dataclass(frozen=True, slots=True)
class Spoilt:
    """Masks over a view, (H, W) bool each.

    clipped  some channel at its end; ``dark`` all channels at zero; ``glare`` the surface mirrors a light.
    """

    clipped: Array
    dark: Array
    glare: Array

    @property
    def any(self) -> Array:
        """All of them."""
        return self.clipped | self.dark | self.glare


def find_spoilt(seen: Array, even: Array, closed: Array, px_per_mm: float) -> Spoilt:
    """Find what cannot be trusted.

    seen    (H, W, 3) uint16 light as the photo's file says it.
    even    (H, W, 3) float32 reflectance, light off.
    closed  (H, W) bool, not board: left out, and False in all masks.

    A mirrored lamp adds white light: brighter, while the differences between
    channels stay (Shafer 1985, the dichromatic model). Pale sapwood is brighter
    too, but its channels differ more as it brightens, so it is no glare.
    """
    top = brightest(seen)
    clipped = (top > _FULL * 65535) & ~closed
    dark = (top < _NONE * 65535) & ~closed
    sigma = max(1.0 * px_per_mm, 0.6)
    soft = cv2.GaussianBlur(even, (0, 0), sigma)
    open_ = ~(closed | clipped | dark)
    glare = np.zeros(clipped.shape, bool)
    if open_.sum() > 50:
        bright = np.log(np.maximum(luminance(soft), 1e-3))
        spread = brightest(soft) + brightest(-soft)
        middle = float(np.median(bright[open_]))
        scatter = 1.48 * float(np.median(np.abs(bright[open_] - middle)))
        usual = float(np.median(spread[open_]))
        rise = bright - middle
        # Wood's channel differences grow with its brightness; glare leaves them as they are.
        pale = spread < usual * (1 + 0.45 * np.expm1(np.clip(rise, 0, 3)))
        glare = (rise > max(_EXCESS, 4.5 * scatter)) & pale & open_
        glare = cv2.morphologyEx(glare.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
        glare = _large(glare, _LEAST * px_per_mm ** 2) & ~closed
        # The skirt of a highlight is glare as well, though too faint to tell from wood.
        k = 2 * int(np.ceil(1.5 * px_per_mm)) + 1
        glare = cv2.dilate(glare.astype(np.uint8), np.ones((k, k), np.uint8)).astype(bool) & ~closed
    return Spoilt(clipped, dark, glare)


def _large(mask: Array, least: float) -> Array:
    """Spots of at least ``least`` pixels."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least
    keep[0] = False
    return keep[labels]
