"""Paths: the same on paper and on screen."""

import io

import numpy as np
import pytest
from pypdf import PdfReader
from rendered import by_pdfium

from mockup.papers.page import Box, Image, Line, Page, Path, Text
from mockup.papers.pdf import pdf_book, pdf_bytes
from mockup.papers.plan import through_window
from mockup.papers.raster import raster
from mockup.papers.strokes import clipped_runs, dashed_runs, simpler

SQUARE = np.array([[10.0, 10], [40, 10], [40, 30], [10, 30]])
HOLE = np.array([[20.0, 15], [30, 15], [30, 25], [20, 25]])


@pytest.mark.parametrize("path, ink", [
    (Path((SQUARE,), 1.0, (0, 0, 0), closed=True), 100.0),                       # perimeter x width, corners counted once
    (Path((SQUARE, HOLE), 0.5, None, closed=True, fill=(0, 0, 0)), 500.0),       # 30 x 20 less 10 x 10
    (Path((np.array([[5.0, 40], [65, 40]]),), 0.8, (0, 0, 0), dash=(6, 4)), 6 * 6 * 0.8),
])
def test_ink_is_that_of_the_geometry_on_screen_and_on_paper(path, ink):
    page = Page(70, 50, (path,), 10.0)
    screen = (255 - raster(page).astype(float))[..., 0].sum() / 255 / 100
    paper = (255 - by_pdfium(pdf_bytes(page), 254, 1))[..., 0].sum() / 255 / 100
    assert screen == pytest.approx(ink, rel=0.015)
    assert paper == pytest.approx(ink, rel=0.03)


def test_dashes_do_not_go_on_into_the_next_path():
    line = np.array([[5.0, 40], [65, 40]])
    page = Page(70, 50, (Path((line,), dash=(2, 2)), Path((line + (0, 5),))), 10.0)
    content = PdfReader(io.BytesIO(pdf_bytes(page))).pages[0].get_contents().get_data().decode()
    assert content.count("q ") == content.count(" Q") == 2


def test_a_book_has_each_page_s_size_and_its_fonts_once():
    pages = [Page(100, 80, (Text(10, 10, "First", 9),), 4.0), Page(300, 200, (Text(10, 10, "Second", 9),), 4.0)]
    data = pdf_book(pages, title="Two")
    read = PdfReader(io.BytesIO(data))
    assert [round(float(p.mediabox.width) * 25.4 / 72, 2) for p in read.pages] == [100, 300]
    assert len(data) < 1.2 * len(pdf_bytes(pages[0]))
    assert read.metadata.title == "Two" and "Second" in read.pages[1].extract_text()


def test_clipping_keeps_what_is_inside_to_the_last_digit():
    runs = clipped_runs([SQUARE], (0, 0, 25, 50), closed=True)
    assert len(runs) == 1
    assert sum(np.hypot(*np.diff(run, axis=0).T).sum() for run in runs) == pytest.approx(15 + 20 + 15)
    assert max(run[:, 0].max() for run in runs) == 25


def test_a_window_shows_only_what_lies_in_it():
    pixels = np.arange(40 * 40 * 3, dtype=np.uint32).reshape(40, 40, 3).astype(np.uint8)
    items = (Image(0, 0, 10, 10, pixels), Box(2, 2, 20, 3, (1, 2, 3)), Line(0, 5, 50, 5), Path((SQUARE,), closed=True),
             Text(8, 8, "half in", 9), Text(1, 8, "i", 9))
    seen = through_window(items, (0.5, 0.25, 9.0, 9.0), (100, 200))
    assert {type(i) for i in seen} == {Image, Box, Line, Text} and sum(isinstance(i, Text) for i in seen) == 1
    image = seen[0]
    assert (image.pixels == pixels[1:36, 2:36]).all() and (image.x, image.y) == (100, 200)
    for item in seen:
        x0, y0, x1, y1 = item.bounds
        assert x0 >= 100 - 1e-9 and y0 >= 200 - 1e-9 and x1 <= 108.5 + 1e-9 and y1 <= 208.75 + 1e-9


def test_simpler_runs_stay_near():
    turn = np.linspace(0, 2 * np.pi, 20_001)[:-1]
    ring = np.column_stack([200 * np.cos(turn), 200 * np.sin(turn)])
    few = simpler(ring, closed=True)
    assert len(few) < 1000
    middle = (few + np.roll(few, -1, axis=0)) / 2
    assert np.hypot(*middle.T).min() > 200 - 0.0045


def test_dashed_runs_begin_drawn_and_go_round():
    pieces = dashed_runs(SQUARE, (25, 5), closed=True)
    assert sum(np.hypot(*np.diff(p, axis=0).T).sum() for p in pieces) == pytest.approx(25 * 3 + 10)


def test_no_bed_is_left_of_words_that_a_window_cuts_off():
    from mockup.papers.page import INK, WHITE, Box, Text
    from mockup.papers.plan import through_window

    bed, words, patch = Box(8, 3, 12, 4, WHITE), Text(9, 6, "Bridge", 7), Box(8, 30, 12, 4, INK)
    kinds = [[type(i) for i in through_window([bed, words, patch], window, (0, 0))] for window in ((0, 0, 40, 40), (0, 0, 12, 40))]
    assert kinds == [[Box, Text, Box], [Box]]
