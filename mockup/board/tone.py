"""The camera's tone curve, and its undoing.

Phones lift and bend what the sensor saw before they write it, so that codes
of a photo are not light, even after the sRGB curve is taken off. Two numbers
describe most of it; they are found where things of known reflectance are in
the picture, and else kept at what phones usually do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mockup.colour.spaces import decode_srgb, encode_srgb

__all__ = ["PLAIN", "PRIOR", "SPREAD", "Tone"]

Array = np.ndarray

# What phone pictures usually need, and how much that varies; our judgement from
# S-curves of moderate contrast, to be outvoted by any reference in the picture.
PRIOR, SPREAD = (0.0, 0.18), (0.12, 0.25)


@dataclass(frozen=True, slots=True)
class Tone:
    """Undoes a tone curve on sRGB codes v in 0..1: v + lift v(1-v) + bend v(1-v)(1-2v).

    lift  above 0 brightens the middle; bend above 0 takes contrast out of it.
    """

    lift: float = 0.0
    bend: float = 0.0

    def straighten(self, linear: Array) -> Array:
        """Light as the photo's file says it to light as it was, 0..1, any shape; rises with its input."""
        v = encode_srgb(np.asarray(linear, np.float64))
        return decode_srgb(np.clip(v + v * (1 - v) * (self.lift + self.bend * (1 - 2 * v)), 0, 1))

    def table(self) -> Array:
        """``straighten`` of all 65536 levels of 16-bit light, float32."""
        return self.straighten(np.arange(65536) / 65535).astype(np.float32)

    @property
    def sound(self) -> bool:
        """Whether lighter always stays lighter."""
        v = np.linspace(0, 1, 65)
        slope = 1 + self.lift * (1 - 2 * v) + self.bend * (1 - 6 * v + 6 * v * v)
        return bool(slope.min() > 0.15)


PLAIN = Tone()
