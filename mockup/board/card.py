"""The reference sheet on paper: a one-page PDF at true size."""

from __future__ import annotations

import io

import numpy as np

from mockup.board.sheet import GREY_BOX, HALF, PANEL, RULER, STRIP_WIDTH, Piece, marker_bits, reference_sheet
from mockup.errors import MockupError, nearest

__all__ = ["PAPERS", "STEPS", "card_pdf"]

# mm: ISO 216, and ANSI/ASME Y14.1 (8.5 x 11 in).
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
STEPS = (
    ("Print at 100 %, not “fit to page”; the ruler", "below must measure 100 mm: if not, enter it."),
    ("Cut out the strips and lay them flat along at", "least two sides that meet, flush with the face."),
    ("Face height matters: markers 45 mm lower at", "1.5 m are 3 % wrong in scale."),
    ("Lay a grey card on E, use window light, no", "flash, and photograph all of it squarely."),
)
_PT = 72 / 25.4
_GREY_LINE = "0.55 G"


def card_pdf(paper: str = "a4") -> bytes:
    """The reference sheet as PDF bytes; the same paper gives the same bytes.

    Raises MockupError for a paper other than ``PAPERS``.
    """
    if paper not in PAPERS:
        raise MockupError(f'There is no paper "{paper}".', fix=nearest(paper, PAPERS), where="paper")
    width, height = PAPERS[paper]
    page = _Page(height)
    sheet = reference_sheet()
    pieces = {piece.name: piece for piece in sheet.pieces}
    left, top = (width - 190) / 2, 16.0
    for k, letter in enumerate("ABCD"):
        # Strips stand upright on the page: their x runs down it.
        x = left + k * STRIP_WIDTH
        for half in (1, 2):
            _piece(page, sheet.dictionary, pieces[f"{letter}{half}"], x, top + (half - 1) * HALF, upright=True)
        page.box(x, top, x + STRIP_WIDTH, top + 2 * HALF, _GREY_LINE)
        page.line(x, top + HALF, x + STRIP_WIDTH, top + HALF, _GREY_LINE, dash=True)
    x = left + 4 * STRIP_WIDTH + 8
    page.text(x, top + 5, "Reference sheet", size=17, bold=True)
    page.text(x, top + 10.5, "for photographing a board", size=10.5)
    y = top + 20
    for number, lines in enumerate(STEPS, 1):
        page.text(x, y, f"{number}", size=9, bold=True)
        for text in lines:
            page.text(x + 5, y, text, size=9.2)
            y += 4.3
        y += 2.4
    # Its foot is level with the strips', so that one cut serves both.
    panel_x, panel_y = x, top + 2 * HALF - PANEL[1]
    _piece(page, sheet.dictionary, pieces["E"], panel_x, panel_y, upright=False)
    page.box(panel_x, panel_y, panel_x + PANEL[0], panel_y + PANEL[1], _GREY_LINE)
    x0, y0, x1, y1 = GREY_BOX
    page.box(panel_x + x0, panel_y + y0, panel_x + x1, panel_y + y1, _GREY_LINE, dash=True)
    page.text(panel_x + x0 + 6.2, panel_y + 49, "lay the grey", size=10, shade=0.45)
    page.text(panel_x + x0 + 8.2, panel_y + 54, "card here", size=10, shade=0.45)
    page.text(left, top - 3.2, "Cut along the solid lines; along a dashed line only for boards shorter than 200 mm.",
              size=8.5, shade=0.3)
    _ruler(page, left, top + 2 * HALF + 17)
    return page.pdf(width, height)


def _piece(page: _Page, dictionary: str, piece: Piece, x: float, y: float, *, upright: bool) -> None:
    """Markers and name of a piece whose origin is at (x, y) of the page."""
    for number, corners in piece.markers.items():
        bits = marker_bits(dictionary, number)
        (u, v), side = corners[0], np.ptp(corners[:, 0])
        if upright:  # a quarter turn clockwise, as seen: the piece's x down the page, its y to the left
            bits = np.rot90(bits, -1)
            u, v = STRIP_WIDTH - v - side, u
        page.cells(x + u, y + v, side / len(bits), bits)
    if upright:
        page.text(x + 0.9, y + 11, piece.name, size=5.5, shade=0.4)
    else:
        page.text(x + PANEL[0] / 2 - 1.2, y + 8, piece.name, size=11, bold=True, shade=0.3)


def _ruler(page: _Page, x: float, y: float) -> None:
    page.text(x, y - 9.5, "Measure from 0 to 100 with a good rule. If it is not 100 mm, enter what you measured.",
              size=9.2)
    page.line(x, y, x + RULER, y, "0 G", wide=0.25)
    for mm in range(int(RULER) + 1):
        long = 5.0 if mm % 10 == 0 else 3.6 if mm % 5 == 0 else 2.2
        page.line(x + mm, y, x + mm, y - long, "0 G", wide=0.25 if mm % 10 == 0 else 0.12)
        if mm % 10 == 0:
            page.text(x + mm - (0.7 if mm < 10 else 1.4 if mm < 100 else 2.2), y + 3.4, str(mm), size=7.5)
    page.text(x + RULER + 4, y + 3.4, "mm", size=7.5)


class _Page:
    """Drawing operators of one page, in mm from its top left corner (ISO 32000-1, 8 and 9)."""

    def __init__(self, height: float) -> None:
        self.height = height
        self.parts: list[str] = []

    def _at(self, x: float, y: float) -> str:
        return f"{x * _PT:.4f} {(self.height - y) * _PT:.4f}"

    def cells(self, x: float, y: float, side: float, black: np.ndarray) -> None:
        # One path and one fill: cells filled one by one would show hairlines between them.
        rows = []
        for r, c in np.argwhere(black):
            rows.append(f"{self._at(x + c * side, y + (r + 1) * side)} {side * _PT:.4f} {side * _PT:.4f} re")
        self.parts.append("0 g " + " ".join(rows) + " f")

    def line(self, x0: float, y0: float, x1: float, y1: float, colour: str, *, wide: float = 0.15,
             dash: bool = False) -> None:
        self.parts.append(f"q {colour} {wide * _PT:.4f} w {'[3 2] 0 d ' if dash else ''}"
                          f"{self._at(x0, y0)} m {self._at(x1, y1)} l S Q")

    def box(self, x0: float, y0: float, x1: float, y1: float, colour: str, *, dash: bool = False) -> None:
        self.parts.append(f"q {colour} {0.15 * _PT:.4f} w {'[3 2] 0 d ' if dash else ''}"
                          f"{self._at(x0, y1)} {(x1 - x0) * _PT:.4f} {(y1 - y0) * _PT:.4f} re S Q")

    def text(self, x: float, y: float, words: str, *, size: float, bold: bool = False, shade: float = 0.0) -> None:
        hexed = words.encode("cp1252").hex()
        self.parts.append(f"BT /{'B' if bold else 'R'} {size:g} Tf {shade:g} g {self._at(x, y)} Td <{hexed}> Tj ET")

    def pdf(self, width: float, height: float) -> bytes:
        import pikepdf

        pdf = pikepdf.new()
        pdf.add_blank_page(page_size=(width * _PT, height * _PT))
        page = pdf.pages[0]
        font = lambda name: pdf.make_indirect(pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name(name),
            Encoding=pikepdf.Name.WinAnsiEncoding))
        page.obj.Resources = pikepdf.Dictionary(
            Font=pikepdf.Dictionary(R=font("/Helvetica"), B=font("/Helvetica-Bold")))
        page.obj.Contents = pdf.make_stream("\n".join(self.parts).encode("ascii"))
        # Without this, viewers offer to shrink the page to the printer's margins.
        pdf.Root.ViewerPreferences = pikepdf.Dictionary(PrintScaling=pikepdf.Name("/None"))
        out = io.BytesIO()
        pdf.save(out, deterministic_id=True, compress_streams=True)
        return out.getvalue()
