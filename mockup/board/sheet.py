"""The reference sheet as geometry: which marker is where on which piece of paper.

A sheet is cut into pieces that are laid on the face of the board, or beside
it at the same height. Inside a piece the markers' places are known; how the
pieces lie to each other is not, and is worked out from the photograph.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np

from mockup.errors import MockupError

__all__ = ["GREY_BOX", "HALF", "MARKER", "PANEL", "RULER", "STRIP_WIDTH", "Piece", "Sheet", "chessboard_sheet",
           "marker_bits", "reference_sheet"]

Array = np.ndarray

# mm. A half strip lies on a board of 100 mm; two halves left together are a strip of 200.
HALF, STRIP_WIDTH = 100.0, 24.0
MARKER, PITCH, FIRST = 15.0, 26.0, 3.5
PANEL = (76.0, 100.0)                # the piece a grey card is laid on
GREY_BOX = (20.0, 20.0, 56.0, 80.0)  # x0, y0, x1, y1 on the panel
RULER = 100.0                        # the length that is measured with the maker's own rule
_STRIPS, _PER_HALF = 4, 4


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of paper.

    name     what is printed on it.
    markers  number to its corners (4, 2) in mm on the piece, clockwise from the marker's own top left.
    size     (width, height) of the paper in mm.
    white    boxes (x0, y0, x1, y1) of bare paper, mm.
    grey     the box where a grey card is laid, or None.
    joins    (name of a piece, x, y): where that piece's origin lies on this one while the two are uncut.
    """

    name: str
    markers: dict[int, Array]
    size: tuple[float, float]
    white: tuple[tuple[float, float, float, float], ...] = ()
    grey: tuple[float, float, float, float] | None = None
    joins: tuple[str, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """A set of pieces with markers of one ArUco dictionary.

    dictionary  name as in OpenCV, without "DICT_".
    bleed       how far printing may move a marker's edges outward, mm (one standard deviation).
    """

    name: str
    dictionary: str
    pieces: tuple[Piece, ...]
    bleed: float = 0.3
    _of: dict[int, int] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_of", {i: k for k, piece in enumerate(self.pieces) for i in piece.markers})

    def piece_of(self, marker: int) -> int | None:
        """Index of the piece that carries a marker, None when the sheet has no such marker."""
        return self._of.get(int(marker))

    def scaled(self, ratio: float) -> Sheet:
        """The sheet as printed at ``ratio`` of its size."""
        box = lambda b: tuple(v * ratio for v in b)
        pieces = tuple(Piece(p.name, {i: c * ratio for i, c in p.markers.items()}, box(p.size),
                             tuple(box(b) for b in p.white), box(p.grey) if p.grey else None,
                             (p.joins[0], p.joins[1] * ratio, p.joins[2] * ratio) if p.joins else None)
                       for p in self.pieces)
        return Sheet(self.name, self.dictionary, pieces, self.bleed)


def _square(x: float, y: float, side: float) -> Array:
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]])


@cache
def reference_sheet(ruler: float = RULER) -> Sheet:
    """The sheet of ``card_pdf``, alike on both papers: strips A to D in two halves each, and panel E.

    ruler  what the sheet's 100 mm ruler measures with a good rule, mm. Raises
           MockupError outside 85 to 115 mm.
    """
    if not np.isfinite(ruler) or not 0.85 * RULER <= ruler <= 1.15 * RULER:
        raise MockupError(f"The sheet's {RULER:g} mm ruler is said to measure {ruler:g} mm.",
                          fix="Measure it in mm from 0 to 100 and enter that; if it is below 85 or above 115, "
                              "print the sheet again at 100 %.", where="ruler")
    top = (STRIP_WIDTH - MARKER) / 2
    gap = PITCH - MARKER
    pieces = []
    for strip in range(_STRIPS):
        for half in range(2):
            first = (2 * strip + half) * _PER_HALF
            markers = {first + k: _square(FIRST + k * PITCH, top, MARKER) for k in range(_PER_HALF)}
            starts = [FIRST + k * PITCH + MARKER for k in range(_PER_HALF - 1)]
            # Clear of the markers' black, which blur spreads.
            white = tuple((x + 2.5, 4.0, x + gap - 2.5, STRIP_WIDTH - 4.0) for x in starts)
            letter = "ABCD"[strip]
            pieces.append(Piece(f"{letter}{half + 1}", markers, (HALF, STRIP_WIDTH), white,
                                joins=(f"{letter}1", HALF, 0.0) if half else None))
    width, height = PANEL
    first = 2 * _STRIPS * _PER_HALF
    spots = ((2.5, 2.5), (width - 2.5 - MARKER, 2.5), (width - 2.5 - MARKER, height - 2.5 - MARKER),
             (2.5, height - 2.5 - MARKER))
    markers = {first + k: _square(x, y, MARKER) for k, (x, y) in enumerate(spots)}
    white = ((5.0, 24.0, 16.0, 76.0), (width - 16.0, 24.0, width - 5.0, 76.0))
    pieces.append(Piece("E", markers, PANEL, white, GREY_BOX))
    sheet = Sheet("reference sheet", "5X5_50", tuple(pieces))
    return sheet if ruler == RULER else sheet.scaled(ruler / RULER)


def chessboard_sheet(columns: int, rows: int, square: float, marker: float, *, dictionary: str = "6X6_250",
                     odd_first: bool = False) -> Sheet:
    """A ChArUco sheet: a chessboard whose white squares carry markers.

    columns, rows  squares across and down; square, marker  their sides, mm.
    odd_first      whether the top left square carries a marker.

    Raises MockupError for sizes no such sheet has.
    """
    if not (2 <= columns <= 40 and 2 <= rows <= 40 and 0 < marker < square <= 500):
        raise MockupError(f"A chessboard sheet of {columns} x {rows} squares of {square:g} mm with {marker:g} mm markers "
                          "cannot be.", fix="Give 2 to 40 squares each way, and a marker smaller than its square.",
                          where="sheet")
    inset = (square - marker) / 2
    places = [(c, r) for r in range(rows) for c in range(columns) if (c + r) % 2 == (0 if odd_first else 1)]
    most = _dictionary(dictionary).bytesList.shape[0]
    if len(places) > most:
        raise MockupError(f"The sheet has {len(places)} markers and {dictionary} only {most}.",
                          fix="Name the dictionary it was made with.", where="sheet")
    markers = {i: _square(c * square + inset, r * square + inset, marker) for i, (c, r) in enumerate(places)}
    pad = 0.12 * square
    white = tuple((c * square + pad * 0.3, r * square + pad * 0.3, (c + 1) * square - pad * 0.3, r * square + inset - pad * 0.3)
                  for c, r in places)
    return Sheet(f"chessboard sheet {columns} x {rows}", dictionary,
                 (Piece("sheet", markers, (columns * square, rows * square), white),))


def _dictionary(name: str):
    key = f"DICT_{name}"
    if not name.replace("_", "").replace("X", "").isalnum() or not hasattr(cv2.aruco, key):
        raise MockupError(f'There is no marker dictionary "{name[:40]}".', fix="Use a name such as 6X6_250.",
                          where="sheet")
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, key))


def marker_bits(dictionary: str, number: int) -> Array:
    """A marker's cells with its black border, (n, n) bool, True = black."""
    book = _dictionary(dictionary)
    cells = book.markerSize + 2
    return cv2.aruco.generateImageMarker(book, number, cells) < 128
