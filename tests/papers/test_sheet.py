"""Sheets of a real scene."""

import io
import re

import cv2
import numpy as np
import pytest
from conftest_papers import OPTIONS
from pypdf import PdfReader

from mockup.colour.spaces import lab_to_linear
from mockup.errors import MockupError
from mockup.papers.describe import ALIKE, Option, alike_sentences, date_words, groups, lab_words, largest_seen, swatch
from mockup.papers.page import Box, Image, Text
from mockup.papers.pdf import pdf_bytes
from mockup.papers.raster import raster
from mockup.papers.sheet import sheet, write_sheet
from mockup.render.colours import colours
from mockup.render.kept import Kept
from mockup.render.picture import picture

TODAY = "2026-11-25"


def make(scene, names, kept, **more):
    return sheet(scene, names, today=TODAY, kept=kept, **({"px_width": 1000} | more))


def words(page):
    return " ".join(i.text for i in page.items if isinstance(i, Text)).replace("\u00a0", " ")


def test_patches_are_the_colours_to_a_code(good_scene, good_kept):
    """The code is worked out here by the sRGB curve of IEC 61966-2-1, not by the sheet's own function."""
    names = ["amber", "red", "blue"]
    page = make(good_scene, names, good_kept)
    patches = [i for i in page.items if isinstance(i, Box)]
    pixels, s = raster(page), page.px_per_mm
    assert len(patches) == 3 + 9
    squares = sorted((p for p in patches if p.width == p.height), key=lambda p: p.x)
    ends = sorted((p for p in patches if p.width != p.height), key=lambda p: p.x)
    for k, name in enumerate(names):
        body = next(c for c in colours(good_scene.with_variant(name), kept=good_kept) if c.part == "body")
        shown = {squares[k]: body.finished_lab,
                 **dict(zip(ends[3 * k:3 * k + 3], (body.light_lab, body.finished_lab, body.dark_lab), strict=True))}
        for patch, lab in shown.items():
            linear = np.clip(lab_to_linear(np.array(lab)), 0, 1)
            code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055) * 255
            assert np.abs(code - patch.fill).max() <= 0.5
            x, y = (round((v + 2) * s) for v in (patch.x, patch.y))
            assert tuple(pixels[y, x]) == patch.fill
        assert f"Range ΔE00 {body.error:.1f}" in words(page)
        assert lab_words(body.finished_lab).replace("\u00a0", " ") in words(page)


def test_the_caption_says_wood_finish_sheen_and_why(good_scene, good_kept):
    said = words(make(good_scene, ["amber", "blue"], good_kept))
    for part in ("Plover", "Revision B · 25 November 2026", "For A. Client", "Amber", "Blue", "Warm.", "It was asked for.",
                 "Dark table top (actual board)", "60 GU", "30 GU", "Cover", "The wood shown is the actual board.", "screens", "varies",
                 "Colours are library estimates, not tried on a test board", "95 of 100", "same light, scale and exposure"):
        assert part in said, part


def test_pictures_are_the_renderer_s_own_pixels(good_scene, good_kept):
    page = make(good_scene, ["amber", "blue"], good_kept)
    pixels, s = raster(page), page.px_per_mm
    frames = [i for i in page.items if isinstance(i, Image)]
    assert len(frames) == 2 and len({f.pixels.shape for f in frames}) == 1
    for name, frame in zip(("amber", "blue"), frames, strict=True):
        x, y = round(frame.x * s), round(frame.y * s)
        shown = pixels[y:y + frame.pixels.shape[0], x:x + frame.pixels.shape[1]]
        # The scale that a sheet of two chooses, from the picture's own width.
        scale = next(k for k in _scales(good_scene, frame, s))
        made = picture(good_scene.with_variant(name), scale=scale, kept=good_kept).pixels
        assert abs(made.shape[0] - shown.shape[0]) <= 1 and abs(made.shape[1] - shown.shape[1]) <= 1
        h, w = min(made.shape[0], shown.shape[0]), min(made.shape[1], shown.shape[1])
        assert (made[:h, :w] == shown[:h, :w]).mean() > 0.99


def _scales(scene, frame, density):
    from mockup.render.picture import MARGIN, scene_box

    x0, y0, x1, y1 = scene_box(scene)
    yield min((320 - 26 - 9) / 2 / (x1 - x0 + 2 * MARGIN), 210 / (y1 - y0 + 2 * MARGIN)) * density


def test_the_same_scene_gives_the_same_sheet(good_scene, good_kept):
    first, second = make(good_scene, ["amber", "red"], good_kept), make(good_scene, ["amber", "red"], Kept())
    assert (raster(first) == raster(second)).all()
    assert pdf_bytes(first) == pdf_bytes(second)


def test_a_left_out_or_other_name_costs_one_sentence(good_scene, plover):
    from conftest_papers import make_folder

    from mockup.scene.load import load_scene

    def told(scene, names):
        with pytest.raises(MockupError) as caught:
            make(scene, names, None)
        assert "\n" not in str(caught.value)
        return str(caught.value)

    assert told(good_scene, ["amber"]) == "plover.toml: 1 variant is named; a sheet shows 2 to 8. Name 2 to 8."
    assert told(good_scene, []) == "plover.toml: 0 variants are named; a sheet shows 2 to 8. Name 2 to 8."
    assert "9 variants are named" in told(good_scene, [o[0] for o in OPTIONS] + ["amber"])
    assert told(good_scene, ["amber", "rde"]) == 'plover.toml: There is no variant "rde". Did you mean "red"?'
    assert 'The variant "red" is named twice.' in told(good_scene, ["red", "red"])
    one = load_scene(make_folder(plover.parent, OPTIONS[:1]))
    assert told(one, None) == "plover.toml: The scene has one variant; a sheet shows 2 to 8. Add some under [variants]."
    nine = load_scene(make_folder(plover.parent, (*OPTIONS, ("ninth", "Ninth", "", "grey", 0.5))))
    assert "The scene has 9 variants" in told(nine, None)


def test_files_by_suffix(good_scene, good_kept, tmp_path):
    def write(name, **more):
        write_sheet(tmp_path / name, good_scene, ["amber", "red"], today=TODAY, kept=good_kept, px_width=1000, **more)
        return (tmp_path / name).read_bytes()

    for suffix, magic in ((".png", b"\x89PNG"), (".jpg", b"\xff\xd8\xff"), (".pdf", b"%PDF")):
        assert write(f"a{suffix}").startswith(magic)
    assert cv2.imread(str(tmp_path / "a.png")).shape[1] == 1000
    said = PdfReader(io.BytesIO((tmp_path / "a.pdf").read_bytes())).pages[0]
    # A4 lying, ISO 216; Letter upright or lying, ANSI/ASME Y14.1.
    assert sorted([float(said.mediabox.width), float(said.mediabox.height)]) == pytest.approx([595.276, 841.890], abs=0.001)
    assert "Plover" in said.extract_text() and "Warm." in said.extract_text()
    box = PdfReader(io.BytesIO(write("b.pdf", paper="letter"))).pages[0].mediabox
    assert sorted([float(box.width), float(box.height)]) == pytest.approx([612, 792], abs=0.001)
    with pytest.raises(MockupError, match="does not end in a format"):
        write("a.gif")
    assert not (tmp_path / "a.gif").exists()


def test_pictures_of_a_pdf_are_fine_enough_to_print(good_scene, good_kept):
    page = sheet(good_scene, ["amber", "red"], today=TODAY, paper="a4", px_width=None, kept=good_kept)
    for image in (i for i in page.items if isinstance(i, Image)):
        assert image.pixels.shape[1] / image.width * 25.4 == pytest.approx(300, rel=0.01)


def test_alike_is_said_when_it_is_so_and_only_then(good_scene, good_kept):
    said = words(make(good_scene, ["amber", "amber-again", "red"], good_kept))
    assert re.search(r"Amber and Amber again may look alike: the mean colour of the body differs by (only|less than) ΔE00 0\.\d\.", said)
    assert said.count("alike") == 1
    assert "alike" not in words(make(good_scene, ["amber", "red"], good_kept))


PARTS = re.compile(r"Dyed and Painted match under (?:daylight|a white LED) \(ΔE00 (\d\.\d)\) and part under a warm lamp \(ΔE00 (\d\.\d)\); estimate: ")


def test_a_pair_that_a_lamp_parts_is_told(metameric, good_kept, tmp_path):
    """Dye in wood and paint of its daylight colour: alike by day, and by a lamp not, as spectra of different colourants are (metamerism, CIE 15)."""
    found = PARTS.search(words(make(metameric, ["dyed", "painted", "blue"], good_kept)))
    assert found and float(found[1]) < 2.0 and float(found[2]) > 3.0
    assert "part under" not in words(make(metameric, ["dyed", "blue"], good_kept))
    from mockup.papers.approval import approval

    approved = approval(metameric, "dyed", tmp_path, today=TODAY, px_width=1200, kept=good_kept)
    assert PARTS.search(words(approved.page)) and any(PARTS.search(n.replace("\u00a0", " ")) for n in approved.record["notes"])
    assert "part under" not in words(approval(metameric, "blue", tmp_path, today=TODAY, px_width=1200, kept=good_kept).page)


def test_an_approval_shows_its_range(good_scene, good_kept, tmp_path):
    from mockup.papers.approval import approval

    page = approval(good_scene, "red", tmp_path, today=TODAY, px_width=1200, kept=good_kept).page
    body = next(c for c in colours(good_scene.with_variant("red"), kept=good_kept) if c.part == "body")
    fills = [i.fill for i in page.items if isinstance(i, Box)]
    wanted = [swatch(lab) for lab in (body.light_lab, body.finished_lab, body.dark_lab)]
    assert any(fills[k:k + 3] == wanted for k in range(len(fills)))
    assert "light, expected, dark" in words(page)


def test_a_burst_shows_the_range_of_its_middle():
    from mockup.papers.sheet_colour import range_ends
    from mockup.render.colours import PartColour

    colour = PartColour("top", "Top", "b", "maple", True, (80.0, 5.0, 18.0), (50.0, 10.0, 30.0), 1.0, "library estimate", 2.0, 6.0,
                        (56.0, 9.0, 29.0), (45.0, 11.0, 32.0), (60.0, 8.0, 40.0), (20.0, 12.0, 15.0))
    assert range_ends(colour) == ((66.0, 7.0, 39.0), (60.0, 8.0, 40.0), (55.0, 9.0, 42.0))


@pytest.mark.parametrize(("lightness", "alike"), [(2.0, False), (2.5, False), (1.9, True), (0.0, True)])
def test_alike_below_two(lightness, alike):
    """Greys about L 50: CIEDE2000 is there (L' mean near 50, S_L = 1) the difference of lightness; Sharma, Wu and Dalal 2005, eq. 15."""
    options = [Option("One", "Top", (50 - lightness / 2, 0.0, 0.0), 50), Option("Two", "Top", (50 + lightness / 2, 0.0, 0.0), 50)]
    assert bool(alike_sentences(options)) == alike


def test_every_alike_pair_is_told_and_no_other():
    rng = np.random.default_rng(5)
    from skimage.color import deltaE_ciede2000

    for _ in range(60):
        labs = rng.normal((50, 20, 30), 1.2, (int(rng.integers(2, 9)), 3))
        said = alike_sentences([Option(f"o{k}", "Top", tuple(lab), 50) for k, lab in enumerate(labs)])
        told = set()
        for sentence in said:
            who = [int(k) for k in re.findall(r"o(\d)", sentence.split(" may ")[0])]
            told |= {(a, b) for a in who for b in who if a < b}
        assert told == {(a, b) for a in range(len(labs)) for b in range(a + 1, len(labs)) if deltaE_ciede2000(labs[a], labs[b]) < ALIKE}


def test_a_difference_of_sheen_is_told_too():
    both = [Option("One", "Top", (50.0, 0.0, 0.0), 20), Option("Two", "Top", (50.5, 0.0, 0.0), 80)]
    assert alike_sentences(both) == ["One and Two may look alike: the mean colour of the top differs by only ΔE00\u00a00.5; their sheen differs."]


def test_the_part_most_seen_is_not_a_body_under_its_top(good_scene):
    from dataclasses import replace

    body, plate = good_scene.parts
    top = replace(body, name="top", title="Top", height=48.0, shape=body.shape.inset(1.0))
    covered = replace(good_scene, parts=(body, top, plate))
    assert largest_seen(covered) == "top"
    assert largest_seen(good_scene) == "body"
    assert [g.titles for g in groups(covered)] == [("Top", "Body"), ("Cover",)]


def test_words_of_values():
    assert lab_words((32.04, -0.04, -12.36)) == "L\u00a032.0\u00a0\u00a0a\u00a00.0\u00a0\u00a0b\u00a0−12.4"
    assert swatch((100.0, 0.0, 0.0)) == (255, 255, 255) and swatch((0.0, 0.0, 0.0)) == (0, 0, 0)
    assert date_words("2026-03-01") == "1\u00a0March\u00a02026"
    with pytest.raises(MockupError, match='"soon" is not a date'):
        date_words("soon")


def test_the_scene_s_own_date_goes_first(good_scene, good_kept):
    from dataclasses import replace

    dated = replace(good_scene, date="2026-10-01", views={k: replace(v, date="2026-10-01") for k, v in good_scene.views.items()})
    assert "1 October 2026" in words(make(dated, ["amber", "red"], good_kept))


def test_progress_rises_to_one(good_scene):
    heard = []
    sheet(good_scene, ["amber", "red"], today=TODAY, px_width=1000, kept=Kept(), report=heard.append)
    assert heard == sorted(heard) and heard[-1] == pytest.approx(1)


def test_a_tall_instrument_fills_the_height_of_its_approval(tmp_path):
    """What is approved is the picture: it is not small beside long columns of words."""
    from mockup.papers.approval import approval
    from mockup.scene.load import load_scene

    scene = load_scene("heron")
    made = approval(scene, scene.variants[0].name, tmp_path, today=TODAY, px_width=1200)
    height = made.record["picture"]["height"] / made.page.px_per_mm
    assert height > 0.7 * made.page.height
