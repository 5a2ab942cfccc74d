"""The board's own colours, full size: resampled, light off, colour corrected, in bands of rows."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from mockup.board.correct import Correction
from mockup.board.flatten import BAND, flatten_rows
from mockup.board.light import Light
from mockup.board.plane import Plane

__all__ = ["Recipe", "develop", "develop_view"]

Array = np.ndarray

_GRID = 24  # pixels between points where the light is worked out; between them it is a straight line


@dataclass(frozen=True, slots=True)
class Recipe:
    """All that turns the photo's light into reflectance.

    correction  fitted to a target; None takes the light's own white.
    """

    light: Light
    correction: Correction | None = None

    @property
    def kind(self) -> str:
        return self.correction.kind if self.correction else "matrix"

    @property
    def weights(self) -> Array:
        """(3, 3) or (3, 6) float32."""
        return (self.correction.weights if self.correction else self.light.white()).astype(np.float32)

    def apply(self, seen: Array, at: Array) -> Array:
        """Reflectance (..., 3) of light as the photo's file says it (..., 3), 0..1, at points (..., 2) mm."""
        from mockup.board.correct import terms

        even = self.light.tone.straighten(seen) / self.light.field(at)
        return terms(even, self.kind) @ self.weights.T.astype(np.float64)


def _lit(light: Light, rows: tuple[int, int], width: int, origin, px_per_mm: float) -> Array:
    """1 / strength of the light for rows of a view, (n, width, 3) float32."""
    down, across = -(-(rows[1] - rows[0]) // _GRID) + 2, -(-width // _GRID) + 2
    x = origin[0] + (np.arange(across) - 0.5) * _GRID / px_per_mm
    y = origin[1] + (rows[0] + (np.arange(down) - 0.5) * _GRID) / px_per_mm
    mesh = (1 / light.field(np.stack(np.meshgrid(x, y), -1))).astype(np.float32)
    big = cv2.resize(mesh, (across * _GRID, down * _GRID), interpolation=cv2.INTER_LINEAR)
    return big[_GRID:_GRID + rows[1] - rows[0], _GRID:_GRID + width]


def _reflect(seen: Array, table: Array, lit: Array, recipe: Recipe) -> Array:
    """Reflectance (n, W, 3) float32 of uint16 light."""
    even = cv2.multiply(cv2.LUT(seen, table), lit)
    if recipe.kind == "matrix":
        return cv2.transform(even, recipe.weights)
    r, g, b = cv2.split(cv2.max(even, 0))
    roots = cv2.merge([cv2.sqrt(r * g), cv2.sqrt(g * b), cv2.sqrt(r * b)])
    return cv2.add(cv2.transform(even, recipe.weights[:, :3]), cv2.transform(roots, recipe.weights[:, 3:]))


def develop(pixels: Array, plane: Plane, size_mm: tuple[float, float], px_per_mm: float, recipe: Recipe) -> Array:
    """The board's reflectance, (H, W, 3) uint16, linear sRGB, 65535 = perfect white diffuser.

    pixels  the photo, uint16 linear light; ``plane`` has the board's corner as origin.
    """
    width, height = (max(1, round(v * px_per_mm)) for v in size_mm)
    table = np.ascontiguousarray(recipe.light.tone.table())
    out = np.empty((height, width, 3), np.uint16)

    def band(top: int) -> None:
        rows = (top, min(top + BAND, height))
        seen = flatten_rows(pixels, plane, rows, width, px_per_mm)
        light = _reflect(seen, table, _lit(recipe.light, rows, width, (0.0, 0.0), px_per_mm), recipe)
        # Rounds and clips in one step.
        out[rows[0]:rows[1]] = cv2.multiply(light.reshape(len(light), -1), 65535.0, dtype=cv2.CV_16U).reshape(light.shape)

    with ThreadPoolExecutor(2) as crew:
        list(crew.map(band, range(0, height, BAND)))
    return out


def develop_view(seen: Array, origin: tuple[float, float], px_per_mm: float, recipe: Recipe) -> Array:
    """Reflectance (H, W, 3) float32 of a working view of uint16 light whose corner is at ``origin`` mm."""
    table = np.ascontiguousarray(recipe.light.tone.table())
    return _reflect(seen, table, _lit(recipe.light, (0, seen.shape[0]), seen.shape[1], origin, px_per_mm), recipe)
