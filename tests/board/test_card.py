"""The reference sheet: true size, and readable by the very detector that will look for it."""

import io
import shutil
import subprocess

import cv2
import numpy as np
import pikepdf
import pytest

from mockup.board.bundle import fit_plane
from mockup.board.card import PAPERS, card_pdf
from mockup.board.door import write_card
from mockup.board.markers import find_markers
from mockup.board.sheet import RULER, marker_bits, reference_sheet

DPI = 200


def raster(pdf, tmp_path):
    """The page in grey, by poppler: a renderer that is not ours."""
    if not shutil.which("pdftoppm"):
        pytest.skip("pdftoppm is not installed")
    (tmp_path / "card.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-png", "card.pdf", "card"], cwd=tmp_path, check=True)
    return cv2.imread(str(next(tmp_path.glob("card-*.png"))), cv2.IMREAD_GRAYSCALE)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_true_size(paper, tmp_path):
    """Markers of the printed page stand where the sheet's geometry says, to a tenth of a mm over the page."""
    page = raster(card_pdf(paper), tmp_path)
    width, height = PAPERS[paper]
    # pdftoppm rounds the page up to whole pixels.
    assert page.shape == (pytest.approx(height / 25.4 * DPI, abs=1), pytest.approx(width / 25.4 * DPI, abs=1))
    found = find_markers(page, reference_sheet())
    assert len(found.numbers) == 36
    mm = (found.corners + 0.5) / DPI * 25.4
    sides = np.linalg.norm(np.roll(mm, -1, 1) - mm, axis=2)
    assert sides == pytest.approx(15, abs=0.06)
    plane = fit_plane(reference_sheet(), found, page.shape[::-1])
    assert plane.residual < 0.12
    assert abs(np.linalg.norm(plane.to_face([0, 0]) - plane.to_face([page.shape[1] - 1.0, 0]))
               / ((page.shape[1] - 1) / DPI * 25.4) - 1) < 2e-3


def test_ruler_is_100_mm(tmp_path):
    """The longest thin horizontal line of the page."""
    page = raster(card_pdf("a4"), tmp_path)
    runs = []
    for row in (page < 128):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.view(np.int8), [0]])))
        runs.append((np.diff(edges)[::2].max(initial=0)))
    assert max(runs) / DPI * 25.4 == pytest.approx(RULER, abs=0.4)


def test_nothing_touches_what_is_sampled(tmp_path):
    """The bare boxes of every piece are white on the page."""
    page = raster(card_pdf("a4"), tmp_path)
    sheet = reference_sheet()
    found = find_markers(page, sheet)
    plane = fit_plane(sheet, found, page.shape[::-1])
    for piece in sheet.pieces:
        motion = plane.placed[piece.name]
        for x0, y0, x1, y1 in piece.white:
            corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) @ motion[:, :2].T + motion[:, 2]
            px = plane.to_image(corners)
            a, b = np.ceil(px.min(0)).astype(int), np.floor(px.max(0)).astype(int)
            assert page[a[1]:b[1], a[0]:b[0]].min() > 250, piece.name


def test_within_the_printers_reach():
    """All ink keeps 8 mm from the paper's edge."""
    for paper, (width, height) in PAPERS.items():
        pdf = pikepdf.open(io.BytesIO(card_pdf(paper)))
        page = pdf.pages[0]
        assert [float(v) for v in page.mediabox] == pytest.approx([0, 0, width / 25.4 * 72, height / 25.4 * 72], abs=1e-3)
        for numbers, operator in pikepdf.parse_content_stream(page):
            if str(operator) == "re":
                x, y, w, h = (float(n) / 72 * 25.4 for n in numbers)
                assert min(x, y) >= 8 and x + w <= width - 8 and y + h <= height - 8


def test_viewers_do_not_shrink_it_and_bytes_are_steady():
    pdf = card_pdf("letter")
    assert pdf == card_pdf("letter")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.Root.ViewerPreferences.PrintScaling == "/None"


def test_markers_are_of_the_dictionary():
    """A cell by cell look at two markers, drawn by OpenCV at another size."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    for number in (0, 35):
        big = cv2.aruco.generateImageMarker(book, number, 70)
        assert (marker_bits("5X5_50", number) == (big[5::10, 5::10] < 128)).all()


def test_written_whole(tmp_path):
    assert write_card("a4", tmp_path / "new" / "card.pdf").read_bytes() == card_pdf("a4")
