"""Where a picture lies over the drawing."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import MockupError

__all__ = ["MAX_PIXELS", "Canvas"]

MAX_PIXELS = 120_000_000
MAX_SIDE = 32_000  # OpenCV's warp addresses pixels with 16-bit numbers


@dataclass(frozen=True, slots=True)
class Canvas:
    """``origin`` is the drawing point (mm) at the outer corner of pixel (0, 0); ``size`` is (width, height).

    lying  True when the finished picture will be turned a quarter to the left,
           neck to the left: the light, which stays with the room, then comes
           from elsewhere in the drawing.
    """

    origin: tuple[float, float]
    px_per_mm: float
    size: tuple[int, int]
    lying: bool = False

    @classmethod
    def around(cls, box: tuple[float, float, float, float], px_per_mm: float, margin: float = 0.0, *, lying: bool = False) -> Canvas:
        """The canvas over a box (x0, y0, x1, y1) in mm and a margin around it; refused when too large."""
        if not 0.05 <= px_per_mm <= 100:
            raise MockupError(f"Scale is {px_per_mm:g} pixels per mm.", fix="Use 0.05 to 100; 11.8 is full size at 300 dpi.")
        x0, y0, x1, y1 = box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin
        width, height = (max(1, round((b - a) * px_per_mm)) for a, b in ((x0, x1), (y0, y1)))
        if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
            most = px_per_mm * min((MAX_PIXELS / (width * height)) ** 0.5, MAX_SIDE / max(width, height))
            raise MockupError(f"The picture would be {width} x {height} pixels.",
                              fix=f"Use a scale of at most {int(most * 100) / 100:g} pixels per mm.")
        return cls((x0, y0), float(px_per_mm), (width, height), lying)

    def in_room(self, x, y):
        """A direction of the drawing as one of the room: right and down in the finished picture."""
        return (y, -x) if self.lying else (x, y)

    def in_drawing(self, x: float, y: float) -> tuple[float, float]:
        """A direction of the room, right and down in the finished picture, as one of the drawing."""
        return (-y, x) if self.lying else (x, y)

    @property
    def width(self) -> int:
        return self.size[0]

    @property
    def height(self) -> int:
        return self.size[1]

    def window(self, box: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
        """The pixels (x0, y0, x1, y1) that a box in mm touches, cut to the canvas."""
        s, (ox, oy) = self.px_per_mm, self.origin
        x0, y0 = int((box[0] - ox) * s) - 1, int((box[1] - oy) * s) - 1
        x1, y1 = int((box[2] - ox) * s) + 2, int((box[3] - oy) * s) + 2
        return (min(max(x0, 0), self.width), min(max(y0, 0), self.height),
                min(max(x1, 0), self.width), min(max(y1, 0), self.height))
