"""Pages as PDF, read back by pypdf, which shares no code with what writes them."""

import io
import time

import cv2
import numpy as np
import pytest
from pypdf import PdfReader

from mockup.errors import MockupError
from mockup.papers.page import Box, Image, Line, Page, Text, paper_size
from mockup.papers.pdf import pdf_bytes

PICTURE = np.random.default_rng(3).integers(0, 256, (40, 60, 3), np.uint8)

# mm and points. A4: ISO 216; Letter: ANSI/ASME Y14.1 size A, 8.5 x 11 in; a point is 1/72 in. From memory, as in most tables.
SIZES = {"a4": (210.0, 297.0, 595.276, 841.890), "letter": (215.9, 279.4, 612.0, 792.0)}


def page(width=210.0, height=297.0):
    return Page(width, height, (Box(20, 30, 40, 10, (200, 30, 40)), Line(20, 50, 100, 50, 0.3), Image(20, 60, 30, 20, PICTURE),
                                Text(20, 100, "AVATAR: ΔE00 1.4 * 60° – … × ²", 10), Text(190, 110, "Tobacco", 12, "semibold", (0, 0, 0), "right"),
                                Text(105, 120, "Łódź, Ελλάς", 9, "italic", (90, 90, 90), "middle")), 2.0, "A title")


def read(data):
    return PdfReader(io.BytesIO(data))


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("lying", [False, True])
def test_pages_are_exactly_of_their_size(paper, lying):
    width, height, x, y = SIZES[paper]
    assert paper_size(paper) == (width, height)
    box = read(pdf_bytes(page(height, width) if lying else page(width, height))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((y, x) if lying else (x, y), abs=0.001)
    assert (float(box.left), float(box.bottom)) == (0, 0)


def test_an_unknown_paper_is_refused_with_the_nearest():
    with pytest.raises(MockupError, match='There is no paper "a44". Did you mean "a4"?'):
        paper_size("a44")


def test_text_is_text():
    said = read(pdf_bytes(page())).pages[0].extract_text()
    for words in ("AVATAR: ΔE00 1.4 * 60° – … × ²", "Tobacco", "Łódź, Ελλάς"):
        assert words in said


def test_text_stands_where_it_was_put():
    found = {}

    def visit(text, matrix, line_matrix, font, size):
        if text.strip():
            found[text.strip()[:7]] = (line_matrix[4] * 25.4 / 72, 297 - line_matrix[5] * 25.4 / 72)

    read(pdf_bytes(page())).pages[0].extract_text(visitor_text=visit)
    assert found["AVATAR:"] == pytest.approx((20, 100), abs=0.01)
    right = Text(190, 110, "Tobacco", 12, "semibold", (0, 0, 0), "right")
    assert found["Tobacco"] == pytest.approx((right.left, 110), abs=0.01)


def test_the_typeface_is_inside_and_a_picture_is_encoded_once():
    resources = read(pdf_bytes(page())).pages[0]["/Resources"]
    assert set(resources["/Font"]) == {"/Fregular", "/Fsemibold", "/Fitalic"}
    for font in resources["/Font"].values():
        below = font.get_object()["/DescendantFonts"][0].get_object()
        assert len(below["/FontDescriptor"]["/FontFile2"].get_data()) > 50_000
    (picture,) = (p.get_object() for p in resources["/XObject"].values())
    assert (picture["/Filter"], picture["/Width"], picture["/Height"]) == ("/DCTDecode", 60, 40)
    back = cv2.imdecode(np.frombuffer(picture._data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    smooth = np.abs(back.astype(int) - PICTURE).mean()
    assert smooth < 6  # noise is the hardest picture there is
    assert picture._data[:2] == b"\xff\xd8" and b"ICC_PROFILE" in picture._data


def test_colours_mean_srgb():
    space = read(pdf_bytes(page())).pages[0]["/Resources"]["/ColorSpace"]["/DefaultRGB"]
    assert space[0] == "/ICCBased" and space[1].get_object()["/N"] == 3
    assert b"RGB XYZ" in space[1].get_object().get_data()[:40]


def test_box_and_line_are_vectors_of_the_very_colour():
    content = read(pdf_bytes(page())).pages[0].get_contents().get_data().decode()
    assert f"{200 / 255:.5f} {30 / 255:.5f} {40 / 255:.5f} rg" in content
    assert " re f" in content and " l S" in content
    assert [round(float(v) * 255) for v in content.split(" rg")[0].split()[-3:]] == [200, 30, 40]


def test_the_same_page_gives_the_same_bytes_and_its_title():
    first = pdf_bytes(page())
    time.sleep(1.1)  # a clock in the file would tell by now
    assert first == pdf_bytes(page())
    assert read(first).metadata.title == "A title"
    assert b"Date" not in first.replace(b"/DCTDecode", b"")


def test_a_picture_used_at_the_edge_of_the_page_keeps_its_size():
    content = read(pdf_bytes(page())).pages[0].get_contents().get_data().decode()
    assert f"q {30 / 25.4 * 72:.4f} 0 0 {20 / 25.4 * 72:.4f}" in content
