"""Open pores under a finish: small dents whose walls catch the light and break a highlight."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ..finish.axes import WoodAxes, pores_from_detail
from ..finish.fill import pore_depth
from ..finish.steps import Finish
from .canvas import Canvas
from .light import SLANT, WINDOWS, shine

__all__ = ["PoreRelief", "pore_relief"]

LEAST = 0.06     # of the depth of an open pore: what is shallower is not drawn
STEEPEST = 0.45  # slope of the steepest wall of an open pore's dent in the last surface; by judgement
PALE = 0.33      # reflectance of wood from which a wall glints in full; by judgement
BREAKS = 0.7     # share of a pore's own light from the surface that its dent turns elsewhere; by judgement


@dataclass(frozen=True, eq=False)
class PoreRelief:
    """What the pores of one board do to the light from a surface.

    pores  (65536,) float32: depth of the dent, 0..1, by the code of w in the bare layer.
    lean   (3, 3) float32: finds from depths how much wall leans toward the window.
    glint  light that such a wall mirrors more than a flat face; one that leans away mirrors the dim room as the face does.
    """

    pores: np.ndarray
    lean: np.ndarray
    glint: float

    def over(self, bare: np.ndarray, surface: np.ndarray, corner: tuple[int, int] = (0, 0)) -> np.ndarray:
        """Light from the surface of a block, (H, W) float32, with pores in it.

        bare  its bare rows (uint16, four channels), or more of them: the block begins in row and column ``corner``.
        """
        dents = cv2.LUT(cv2.extractChannel(bare, 2), self.pores)
        if dents.max() < 0.02:
            return surface
        walls = cv2.filter2D(dents, cv2.CV_32F, self.lean * np.float32(self.glint), borderType=cv2.BORDER_REPLICATE)
        here = slice(corner[0], corner[0] + surface.shape[0]), slice(corner[1], corner[1] + surface.shape[1])
        walls = np.maximum(walls[here], 0)
        walls += surface
        return cv2.scaleAdd(cv2.multiply(dents[here], surface), -BREAKS, walls)


def pore_relief(finish: Finish, axes: WoodAxes, canvas: Canvas) -> PoreRelief | None:
    """The pores of a board under a finish; None where they are filled or levelled."""
    depth = pore_depth(finish)
    if depth < LEAST:
        return None
    # Smooth enough to be worked out for every 32nd code.
    codes = np.arange(0, 65536 + 32, 32)
    w = axes.low[2] + (axes.high[2] - axes.low[2]) * codes / 65535
    pores = np.interp(np.arange(65536), codes, depth * pores_from_detail(w, axes)).astype(np.float32)
    cx, cy = np.array(WINDOWS[0][:2]) / np.hypot(*WINDOWS[0][:2])
    ux, uy = cx * np.cos(SLANT) - cy * np.sin(SLANT), cx * np.sin(SLANT) + cy * np.cos(SLANT)
    # Which way that is in the picture, and half the difference of neighbours along it.
    a, b = (float(ux * x + uy * y) for x, y in (canvas.in_room(1.0, 0.0), canvas.in_room(0.0, 1.0)))
    lean = np.array([[0, -b, 0], [-a, 0, a], [0, b, 0]], np.float32)
    slopes = np.linspace(0, STEEPEST * depth, 24)
    light = shine(slopes * ux, slopes * uy, np.sqrt(1 - slopes**2), np.zeros_like(slopes), np.zeros_like(slopes), finish.sheen)
    # The wall is rough and the wood's own: beside the black of ebony the glint of a clean film would read as lint.
    return PoreRelief(pores, lean, float(light.mean() - light[0]) * min(1.0, axes.lightness**3 / PALE))
