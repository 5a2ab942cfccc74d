"""The typeface: its licence and signs, widths, kerning and lines."""

import numpy as np
import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont

from mockup.papers.face import FOLDER, ITALIC, REGULAR, SEMIBOLD, clean, face, run, text_width, wrap

WEIGHTS = (REGULAR, SEMIBOLD, ITALIC)


def test_the_typeface_is_small_free_and_carries_its_licence():
    licence = (FOLDER / "OFL.txt").read_text()
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence and "Reserved Font Name" in licence
    assert sum(f.stat().st_size for f in FOLDER.iterdir()) < 600_000
    for weight in WEIGHTS:
        names = TTFont(face(weight).path)["name"]
        assert "SIL Open Font License" in names.getDebugName(0)
        # The licence keeps the name of the original for the original.
        assert not any("Lato" in names.getDebugName(i) for i in (1, 4, 6, 16))


@pytest.mark.parametrize("weight", WEIGHTS)
def test_the_signs_that_papers_use_are_there(weight):
    text = "ΔE00*°–…×²−·%’“”éłßØ №Яя Ωω 0123456789"
    assert 0 not in run(text, weight).glyphs


def test_figures_stand_under_each_other():
    for weight in (REGULAR, SEMIBOLD):
        assert len({run(figure, weight).width for figure in "0123456789−"[:10]}) == 1


def test_kerning_draws_pairs_together_that_gape():
    def alone(text):
        return sum(run(c, REGULAR).width for c in text)

    assert run("AV", REGULAR).width < alone("AV") - 0.03
    assert run("To", REGULAR).width < alone("To") - 0.03
    assert run("HH", REGULAR).width == pytest.approx(alone("HH"))


@pytest.mark.parametrize("weight", WEIGHTS)
def test_kerning_agrees_with_harfbuzz(weight):
    """HarfBuzz (through uharfbuzz) shapes each text by the same font; every glyph begins where it says."""
    harfbuzz = pytest.importorskip("uharfbuzz")
    font = harfbuzz.Font(harfbuzz.Face(face(weight).path.read_bytes()))
    for text in ("AVATAR Tobacco, Yellow. P. Ko Way-To", "L 52.3 a −18.1 (ΔE00) 80 GU", "fi ffl “Łódź” Ελλάς Київ", "T.o V,a r-t y’s"):
        buffer = harfbuzz.Buffer()
        buffer.add_str(text)
        buffer.guess_segment_properties()
        harfbuzz.shape(font, buffer, {"kern": True, "liga": False})
        ends = np.cumsum([p.x_advance for p in buffer.glyph_positions])
        line = run(text, weight)
        assert [i.codepoint for i in buffer.glyph_infos] == list(line.glyphs)
        np.testing.assert_allclose(np.array([*line.starts[1:], line.width]) * face(weight).units, ends, atol=0.01)


@given(st.text(max_size=120), st.floats(8, 90), st.sampled_from(WEIGHTS))
@settings(deadline=None, max_examples=80, derandomize=True)
def test_lines_fit_and_lose_nothing(text, width, weight):
    lines = wrap(text, weight, 9, width)
    assert all(text_width(line, weight, 9) <= width + 1e-9 or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == clean(text).replace(" ", "")


@given(st.text(min_size=1, max_size=200), st.integers(1, 4))
@settings(deadline=None, max_examples=60, derandomize=True)
def test_what_is_cut_off_is_marked(text, most):
    full, cut = wrap(text, REGULAR, 9, 30), wrap(text, REGULAR, 9, 30, most=most)
    assert len(cut) <= most
    assert cut == full if len(full) <= most else cut[-1].endswith("…")


def test_control_signs_and_line_ends_become_blanks():
    assert clean("a\n\tb\x00c\u202ed  e ") == "a bcd e"
    assert wrap("80\u00a0GU and more", REGULAR, 9, text_width("80\u00a0GU", REGULAR, 9) + 1)[0] == "80\u00a0GU"


def test_small_text_is_as_dark_as_its_outline_is_large():
    """Against a drawing 16 times as large, shrunk: the share of ink agrees, so nothing is thinned or doubled."""
    from mockup.papers.page import INK, Page, Text
    from mockup.papers.raster import raster

    page = Page(60, 12, (Text(3.3, 7.7, "Tobacco burst", 9),), 5.0)
    ink = (255 - raster(page)[..., 0].astype(float)).sum() / (255 - INK[0])
    f, over = face(REGULAR), 16
    large = Image.new("L", (60 * 5 * over, 12 * 5 * over))
    draw, size = ImageDraw.Draw(large), 9 * 25.4 / 72 * 5 * over
    font = ImageFont.truetype(str(f.path), size, layout_engine=ImageFont.Layout.BASIC)
    line = run("Tobacco burst", REGULAR)
    for character, start in zip(line.text, line.starts, strict=True):
        draw.text((100 + start * size, 600), character, fill=255, font=font, anchor="ls")
    assert ink == pytest.approx(np.asarray(large, float).sum() / 255 / over**2, rel=0.03)
