"""A printed page as a list of things placed in mm, and paper sizes.

x runs right and y down from the top left corner. Colours are 8-bit sRGB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import MockupError, nearest
from .face import PT, REGULAR, face, text_width

__all__ = ["INK", "PALE", "PAPERS", "QUIET", "WHITE", "Box", "Image", "Item", "Line", "Page", "Path", "Text", "paper_size"]

Colour = tuple[int, int, int]

# Neutral, because colour is judged here.
WHITE, INK, QUIET, PALE = (255, 255, 255), (34, 34, 34), (102, 102, 102), (196, 196, 196)

# Portrait, mm. A sizes: ISO 216. Letter: ANSI/ASME Y14.1 size A, 8.5 x 11 in.
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}


def paper_size(name: str) -> tuple[float, float]:
    """Width and height in mm of an upright sheet of paper."""
    if name not in PAPERS:
        raise MockupError(f'There is no paper "{name}".', fix=nearest(name, PAPERS))
    return PAPERS[name]


@dataclass(frozen=True, slots=True)
class Text:
    """One line; ``x`` its left end, middle or right end as ``align`` says, ``y`` its baseline, ``size`` in points."""

    x: float
    y: float
    text: str
    size: float
    weight: str = REGULAR
    colour: Colour = INK
    align: str = "left"

    @property
    def left(self) -> float:
        """x of its left end."""
        return self.x - {"left": 0.0, "middle": 0.5, "right": 1.0}[self.align] * text_width(self.text, self.weight, self.size)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """The box (x0, y0, x1, y1) from the top of the capitals to the depth of the descenders."""
        f, em = face(self.weight), self.size * PT
        return (self.left, self.y - f.cap_height / f.units * em, self.left + text_width(self.text, self.weight, self.size),
                self.y + f.descent / f.units * em)


@dataclass(frozen=True, slots=True)
class Line:
    """A level or upright rule of ``width`` mm between two points."""

    x0: float
    y0: float
    x1: float
    y1: float
    width: float = 0.15
    colour: Colour = PALE

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return min(self.x0, self.x1), min(self.y0, self.y1), max(self.x0, self.x1), max(self.y0, self.y1)


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    fill: Colour

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return self.x, self.y, self.x + self.width, self.y + self.height


@dataclass(frozen=True, slots=True, eq=False)
class Image:
    """A picture, (H, W, 3) uint8 sRGB, over a rectangle. At the page's own pixels per mm it is laid down as it is."""

    x: float
    y: float
    width: float
    height: float
    pixels: np.ndarray

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        return self.x, self.y, self.x + self.width, self.y + self.height


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """Runs of straight lines between points, stroked, filled, or both.

    lines   (N, 2) arrays of x, y in mm, two points or more each.
    width   of the stroke in mm, centred on the points.
    colour  of the stroke; None for none.
    closed  each run goes back to where it began.
    fill    colour of what closed runs surround (even-odd); None for none.
    dash    mm drawn, mm left out, and so on; () for a full line.
    """

    lines: tuple[np.ndarray, ...]
    width: float = 0.25
    colour: Colour | None = INK
    closed: bool = False
    fill: Colour | None = None
    dash: tuple[float, ...] = ()

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        low = np.min([line.min(axis=0) for line in self.lines], axis=0)
        high = np.max([line.max(axis=0) for line in self.lines], axis=0)
        half = self.width / 2 if self.colour is not None else 0.0
        return float(low[0]) - half, float(low[1]) - half, float(high[0]) + half, float(high[1]) + half


Item = Text | Line | Box | Image | Path


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """``width`` x ``height`` mm of white paper with ``items``, first at the bottom.

    px_per_mm  the resolution its pictures were made for.
    title      for the file's own title.
    """

    width: float
    height: float
    items: tuple[Item, ...]
    px_per_mm: float
    title: str = ""
