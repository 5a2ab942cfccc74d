"""The outline of a cut-out picture, from its transparency."""

from __future__ import annotations

import numpy as np

from mockup.errors import MockupError
from mockup.outline.rings import MOST_RINGS
from mockup.outline.shape import Shape, ring_area

__all__ = ["traced"]

_SOFT = 0.6      # pixels (sigma) of smoothing: the steps of a hard cut are not a shape
_SPECK = 12.0    # pixels of area below which a ring is a stray dot
_CHORD = 0.08    # pixels the outline may stray when its points are thinned


def traced(alpha: np.ndarray, mm_per_pixel: float) -> Shape:
    """The region where a picture is more than half opaque, in mm about the picture's middle, x right and y down.

    alpha  (H, W) uint8.

    Found at the half level between pixels (marching squares, Lorensen and
    Cline 1987, in the plane). Raises MockupError when nothing is left.
    """
    import cv2
    import shapely
    from skimage.measure import find_contours

    height, width = alpha.shape
    soft = cv2.GaussianBlur(np.pad(alpha, 2).astype(np.float32) / 255, (0, 0), _SOFT)
    rings = []
    for line in find_contours(soft, 0.5):
        points = shapely.get_coordinates(shapely.simplify(shapely.linestrings(line[:, ::-1]), _CHORD))[:-1]
        if len(points) < 3 or abs(ring_area(points)) < _SPECK:
            continue
        ring = (points - 2 + 0.5 - (width / 2, height / 2)) * mm_per_pixel
        # find_contours keeps the low side on one hand, so that holes turn the other way round by themselves.
        rings.append(ring[::-1])
    if not rings or len(rings) > MOST_RINGS or sum(ring_area(r) for r in rings) <= 0:
        rings = [r[::-1] for r in rings]
    if not rings or len(rings) > MOST_RINGS or sum(ring_area(r) for r in rings) <= 0:
        raise MockupError("The picture shows no cut-out part: it is transparent all over, or has too many pieces.",
                          fix="Make the background transparent and leave the part opaque.")
    return Shape(tuple(rings))
