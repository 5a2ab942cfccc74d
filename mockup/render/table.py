"""Apply a baked table to rows of a bare layer (tetrahedral interpolation, OpenColorIO)."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio

__all__ = ["Table"]


class Table:
    """``table`` (N, N, N, 3) float32 over three axes scaled to 0..1; the fourth channel passes through."""

    def __init__(self, table: np.ndarray) -> None:
        n = table.shape[0]
        transform = ocio.Lut3DTransform(n)
        transform.setInterpolation(ocio.INTERP_TETRAHEDRAL)
        transform.setData(np.ascontiguousarray(table, np.float32).reshape(-1))
        self._apply = ocio.Config.CreateRaw().getProcessor(transform).getOptimizedCPUProcessor(
            ocio.BIT_DEPTH_UINT16, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_DEFAULT)

    def __call__(self, rows: np.ndarray) -> np.ndarray:
        """(H, W, 4) uint16 to (H, W, 4) float32: three finished bands, and the fourth channel scaled to 0..1.

        ``rows`` may be cut out of longer rows; its pixels lie side by side.
        """
        height, width = rows.shape[:2]
        out = np.empty((height, width, 4), np.float32)
        source = ocio.PackedImageDesc(rows, width, height, 4, ocio.BIT_DEPTH_UINT16, 2, 8, rows.strides[0])
        self._apply.apply(source, ocio.PackedImageDesc(out, width, height, 4))
        return out
