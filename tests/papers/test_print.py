"""Prints at true size, rendered back and measured."""

import io

import numpy as np
import pytest
from pypdf import PdfReader
from rendered import by_pdfium, by_poppler, darkness, middles, redness

from mockup.errors import MockupError
from mockup.papers.frets import Frets, fret_distance
from mockup.papers.furniture import Words, true_size_pages
from mockup.papers.hardware_lines import CENTRE, fret_slots, plain_frets
from mockup.papers.pdf import pdf_book
from mockup.papers.print import print_pages, print_plan, write_print
from mockup.papers.shop_values import Shop
from mockup.papers.tiles import EDGE, tiling, whole_sheet
from mockup.scene.load import load_scene

DPI, FINE = 200, 300
TODAY = "2026-11-25"
# A rectangle of known size is what a rule can check. Left edge at x = -180; its centre line lies far off, out of the way.
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="800mm" viewBox="-200 0 400 800">
<path id="slab" d="M -180 20 H 120 V 110 H -180 Z"/>
<path id="board" d="M -30 20 H 30 V 720 H -30 Z"/>
</svg>
"""
SCENE = """
[scene]
title = "Wren"
revision = "C"
centre = {centre}
[boards.plank]
photo = "plank.png"
mm_per_pixel = 1.6
wood = "test plank"
actual = true
[parts.slab]
outline = "wren.svg#{id}"
board = "plank"
turn = 0
roundover = 0
height = 1
finish = [ {{ paint = [10, 0, 0] }} ]
"""


@pytest.fixture(scope="module")
def wren(tmp_path_factory):
    from PIL import Image

    folder = tmp_path_factory.mktemp("wren")
    Image.new("RGB", (500, 500), (180, 140, 90)).save(folder / "plank.png")
    (folder / "wren.svg").write_text(DRAWING)
    for id in ("slab", "board"):
        (folder / f"{id}.toml").write_text(SCENE.format(id=id, centre=-900 if id == "slab" else 0))
    return lambda id="slab": load_scene(folder / f"{id}.toml")


def book(scene, **how):
    pages = print_pages(scene, today=TODAY, **{"content": "outline", **how})
    return pages, pdf_book(pages, title="Wren")


@pytest.fixture(scope="module", params=["a4", "letter"])
def tiled(request, wren):
    pages, data = book(wren(), paper=request.param)
    return request.param, pages, data


@pytest.fixture(scope="module")
def seen(tiled, tmp_path_factory):
    """seen(reader, number, band): rows of a page at FINE."""

    def page(reader, number, band):
        found = by_pdfium(tiled[2], FINE, number, band) if reader == "pdfium" else \
            by_poppler(tiled[2], FINE, number, tmp_path_factory.mktemp("pages"), band)
        if found is None:
            pytest.skip("no pdftoppm here")
        return found

    return page


READERS = ("pdfium", "poppler")


# A4: ISO 216. Letter, ANSI/ASME Y14.1: 8.5 x 11 in. A3: ISO 216. In points of 1/72 in; from memory, as in most tables.
@pytest.mark.parametrize("paper, points", [("a4", (595.276, 841.890)), ("letter", (612.0, 792.0)), ("a3", (841.890, 1190.551))])
def test_sheets_are_of_standard_size(wren, paper, points):
    _, data = book(wren(), paper=paper)
    for page in PdfReader(io.BytesIO(data)).pages:
        size = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert size == pytest.approx(points, abs=0.001)
        assert "100 %" in page.extract_text()


@pytest.mark.parametrize("reader", READERS)
def test_check_bars_measure_100_mm_and_4_in(tiled, seen, reader):
    _, pages, _ = tiled
    for number in range(2, len(pages) + 1):
        window = next(i for i in pages[number - 1].items if getattr(i, "closed", False) and i.width == 0.1)
        foot = window.lines[0][:, 1].max() + 10.5
        ends = []
        for down, end in ((2.2, 101.2), (9.4, 102.8)):
            # Just above the bar, where only the tall ticks at its ends are.
            band = [round((foot + down - above) / 25.4 * FINE) for above in (2.0, 1.7)]
            page = seen(reader, number, band)[:, :round((EDGE + end) / 25.4 * FINE)]
            found = middles(darkness(page).mean(axis=0), FINE, least=40)
            ends.append(found[-1] - found[0])
        assert ends == pytest.approx([100.0, 101.6], abs=0.05)


@pytest.mark.parametrize("reader", READERS)
def test_lengths_on_one_sheet_and_across_a_joint(tiled, seen, reader):
    """The slab is 300 mm wide and 90 high: over two sheets, met at the red line, it is so to 0.1 mm."""
    _, pages, _ = tiled
    assert [p.title.split()[-1] for p in pages[1:]] == ["A1", "A2"]
    found = []
    for number in (2, 3):
        # The slab is 90 mm high, in the middle of the window.
        window = next(i for i in pages[number - 1].items if getattr(i, "closed", False) and i.width == 0.1).lines[0]
        middle = float(window[:, 1].mean())
        band = [round((middle + d) / 25.4 * FINE) for d in (-68, 68)]
        page = seen(reader, number, band)[:, round((EDGE + 1) / 25.4 * FINE):round((pages[1].width - EDGE - 2) / 25.4 * FINE)]
        red = redness(page)
        dark = darkness(page) * (red < 40)
        # Crosses stand on the joint on both sheets: their long arms give its x.
        joint = middles((red > 60).sum(axis=0) * 1.0, FINE, least=60)
        level = middles((dark > 100).sum(axis=1) * 0.1, FINE, least=80)
        upright = middles((dark > 60).sum(axis=0) * 0.1, FINE, least=80)
        assert level[-1] - level[0] == pytest.approx(90.0, abs=0.1)
        found.append((upright, joint))
    (left, meets), (right, cut) = found
    assert meets and cut
    length = (meets[-1] - left[0]) + (right[-1] - cut[0])
    assert length == pytest.approx(300.0, abs=0.1)


# Fret by fret, mm from the nut at a scale of 648 mm: 12-tone equal temperament, S (1 - 2^(-k/12)); values as published in
# tables of fret positions, computed to 0.001 mm.
FRETS_648 = {1: 36.369, 2: 70.698, 3: 103.099, 5: 162.549, 7: 215.512, 9: 262.697, 12: 324.000, 15: 375.550, 17: 405.274, 19: 431.756,
             21: 455.348, 22: 466.161, 24: 486.000}


def test_frets_lie_where_the_table_says():
    for fret, mm in FRETS_648.items():
        assert fret_distance(648, fret) == pytest.approx(mm, abs=0.0006)


@pytest.mark.parametrize("paper", ["full", "a4"])
def test_frets_on_the_print(wren, paper):
    """Measured in the rendered sheets, across every joint."""
    frets = Frets(scale=648, count=24, nut=30, widths=(44, 58))
    pages, data = book(wren("board"), paper=paper, shop=Shop(frets=frets))
    found = {}
    for number, page in enumerate(pages, 1):
        if paper != "full" and number == 1:
            continue
        pixels = by_pdfium(data, DPI, number)
        # A rule beside the window tells the drawing's y on each sheet: its numbered ticks.
        numbered = {int(t.text.replace("−", "-")): t.y - 0.7 for t in page.items if hasattr(t, "text") and t.size == 5.5
                    and t.align == "right" and t.text.lstrip("−").isdigit()}
        assert len(numbered) > 2
        strip = slice(round((EDGE - 2.6) / 25.4 * DPI), round((EDGE - 2.1) / 25.4 * DPI))
        ticks = middles(darkness(pixels)[:, strip].mean(axis=1), DPI, least=40)
        drawn = {y: min(ticks, key=lambda t: abs(t - at)) for y, at in numbered.items()}
        (y0, at0), (y1, at1) = min(drawn.items()), max(drawn.items())
        scale = (at1 - at0) / (y1 - y0)
        assert scale == pytest.approx(1, abs=0.1 / (y1 - y0))
        # The number of a fret stands 1.6 mm beside its line, which is 44 mm long or more.
        x = next(t.x for t in page.items if hasattr(t, "text") and t.size == 6.5 and t.text.isdigit())
        column = round((x - 14) / 25.4 * DPI)
        for at in middles(darkness(pixels)[:, column], DPI, least=50):
            found[round(y0 + (at - at0), 2)] = number
    for fret, mm in FRETS_648.items():
        nearest = min(found, key=lambda y: abs(y - 30 - mm))
        assert nearest - 30 == pytest.approx(mm, abs=0.1), fret


def test_the_picture_lies_under_its_outline(wren):
    """The edge of black paint in the picture is the outline's, to 0.1 mm."""
    pages, data = book(wren(), paper="full", content="picture")
    page = by_pdfium(data, DPI, 1)
    row = page[round((EDGE + 50) / 25.4 * DPI)].mean(axis=1)
    left, right = np.flatnonzero(row < 120)[[0, -1]]
    lines, drawn = book(wren(), paper="full", content="outline")
    row = by_pdfium(drawn, DPI, 1)[round((EDGE + 50) / 25.4 * DPI)]
    ends = middles((255 - row.mean(axis=1)) * (row[:, 0] - row[:, 2] < 40), DPI)
    ends = [e for e in ends if 13 < e < lines[0].width - 13]
    assert left * 25.4 / DPI == pytest.approx(ends[0], abs=0.13)  # a pixel is 0.127 mm
    assert (right + 1) * 25.4 / DPI == pytest.approx(ends[-1], abs=0.13)
    assert pages[0].width == lines[0].width


def test_outlines_are_vectors(tiled):
    _, _, data = tiled
    for page in PdfReader(io.BytesIO(data)).pages[1:]:
        assert "/XObject" not in page["/Resources"] or not page["/Resources"]["/XObject"]
        assert page.get_contents().get_data().count(b" l") > 60


def test_sheets_name_row_column_and_scale(tiled):
    _, pages, data = tiled
    said = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    assert "A1" in said[0] and "A2" in said[0]
    for text, name in zip(said[1:], ("A1", "A2"), strict=True):
        assert f"Sheet {name}, " in text and "Print at 100 %" in text and "100 mm" in text and "4 in" in text
    assert "cut here" in said[2] and "A2 lies to here" in said[1]


def test_empty_sheets_are_left_out():
    ell = np.array([[0, 0], [20, 0], [20, 480], [380, 480], [380, 500], [0, 500]])
    found = tiling((0, 0, 380, 500), (210, 297), wanted=[ell])
    assert [t.name for t in found.tiles if t.empty] and len(found.printed) < len(found.tiles)
    assert {"A1"} <= {t.name for t in found.printed}


def test_what_a_sheet_is_stands_in_its_foot_whole():
    """The foot of a sheet of A4 has 40 mm for words."""
    from mockup.papers.page import Text

    pages = print_pages(load_scene("tern").with_variant("tobacco-burst"), paper="a4", today="2026-11-25", content="outline")
    both = print_pages(load_scene("tern").with_variant("tobacco-burst"), paper="full", today="2026-11-25")
    said = [i.text for page in (*pages, *both) for i in page.items if isinstance(i, Text)]
    assert not [text for text in said if text.endswith("…")]
    assert "Tobacco burst: front" in said and any("outline" in text for text in said)


def test_every_point_is_on_a_sheet_and_joints_agree():
    for size in ((100, 100), (187, 238), (700, 420), (1010, 380)):
        found = tiling((-3, 5, size[0] - 3, size[1] + 5), (215.9, 279.4))
        x0, y0 = found.tiles[0].window[:2]
        x1, y1 = found.tiles[-1].window[2:]
        assert x0 <= -3 + 1 and y0 <= 5 + 1 and x1 >= size[0] - 3 - 1 and y1 >= size[1] + 5 - 1
        for tile in found.tiles:
            for side, back, step in (("right", "left", (1, 0)), ("bottom", "top", (0, 1))):
                if (other := found.neighbour(tile, *step)) is not None:
                    assert found.joint(tile, side) == found.joint(other, back)


@pytest.mark.parametrize("how, words", [
    ({"paper": "100x140"}, "paper 100x140: The paper, 100 x 140 mm, is too small for a tile. Use paper of at least 176 x 88 mm."),
    ({"paper": "a44"}, 'paper: There is no paper "a44". Did you mean "a4"? Or give mm, as 610x1500.'),
    ({"paper": "4x4"}, "paper: A paper of 4x4 mm cannot be printed on. Use 50 to 5000 mm each way."),
    ({"paper": "a4", "content": "outlines"}, 'content: There is no content "outlines". Did you mean "outline"?'),
])
def test_what_cannot_be_printed_is_refused_in_one_sentence(wren, tmp_path, how, words):
    path = tmp_path / "wren.pdf"
    with pytest.raises(MockupError) as told:
        write_print(path, wren(), today=TODAY, **how)
    assert str(told.value) == words
    assert not path.exists()


def test_another_suffix_is_refused(wren, tmp_path):
    with pytest.raises(MockupError, match="A print is a PDF"):
        write_print(tmp_path / "wren.png", wren(), paper="a4", today=TODAY)


def test_the_same_print_gives_the_same_bytes(wren):
    assert book(wren(), paper="a4")[1] == book(wren(), paper="a4")[1]


def test_frets_of_a_scene_are_its_slots():
    """Tern: scale 584 mm, the bridge at y = 292, so the nut's front edge at -292; equal temperament, S (1 - 2^(-k/12))."""
    scene = load_scene("tern").with_variant("honey")
    frets = next(f for f in scene.fittings if f.part == "frets")
    slots = fret_slots([frets])
    assert len(slots) == 21
    for k, run in enumerate(slots, 1):
        assert run[:, 1] == pytest.approx([584 * (1 - 2 ** (-k / 12)) - 292] * 2, abs=0.005)
        assert run[0, 0] == pytest.approx(-run[1, 0], abs=0.005) and run[1, 0] > 15
    rows = plain_frets(scene, Shop())
    assert [r["fret"] for r in rows] == list(range(1, 22)) and rows[11]["left_y_mm"] == pytest.approx(0.0, abs=0.006)
    assert rows[1]["from_last_mm"] == pytest.approx(584 * (2 ** (-1 / 12) - 2 ** (-2 / 12)), abs=0.006)
    assert rows[0]["left_x_in"] == pytest.approx(rows[0]["left_x_mm"] / 25.4, abs=1e-4) and rows[0]["from_last_mm"] is None
    # Frets that the shop's file lists go before them.
    assert plain_frets(scene, Shop(frets=Frets(scale=648, count=3, nut=0, widths=(44, 58))))[2]["left_y_mm"] == pytest.approx(103.099, abs=0.001)


def test_strings_are_drawn_only_when_asked_for():
    scene = load_scene("tern").with_variant("honey")
    lines = {}
    for strings in (False, True):
        plan = print_plan(scene, content="outline", strings=strings)
        lines[strings] = [line for i in plan.items if getattr(i, "width", 0) == 0.1 and getattr(i, "colour", None) == CENTRE for line in i.lines]
    assert not lines[False] and len(lines[True]) >= 4
    # They run from the nut, at the middles that the scene gives them, to the bridge.
    at_nut = sorted({round(float(line[0, 0]), 2) for line in lines[True] if abs(line[:, 1].min() + 292) < 6 and abs(line[:, 1].max()) > 250})
    assert len(at_nut) == 4 and at_nut[0] < -10 < 10 < at_nut[-1]


def test_hardware_is_redrawn_at_its_measured_size(tmp_path, monkeypatch):
    """In the outline and in the picture: a plate measured 4 mm longer than drawn is 4 mm longer on the rendered sheet, its screws are not larger."""
    import shutil

    from mockup.papers.drawn_hardware import at_measured_size, drawn_hardware
    from mockup.papers.shop_file import read_shop
    from mockup.papers.shop_start import shop_start
    from mockup.scene.places import builtin_scenes

    shutil.copytree(builtin_scenes()["tern"].parent, tmp_path / "tern")
    scene = load_scene(tmp_path / "tern" / "tern.toml").with_variant("honey")
    text = shop_start(scene)
    (tmp_path / "tern" / "shop.toml").write_text(text.replace("# measured = { length = 43.6, width = 59.6 }", "measured = { length = 47.6, width = 57.6 }"))
    shop = read_shop(scene)
    assert drawn_hardware(scene)["bridge"].sizes == pytest.approx({"length": 43.6, "width": 59.6}, abs=0.05)
    sized = at_measured_size(scene, shop)
    assert drawn_hardware(sized)["bridge"].sizes == pytest.approx({"length": 47.6, "width": 57.6}, abs=0.05)
    assert drawn_hardware(sized)["neck-pickup"] .sizes == pytest.approx(drawn_hardware(scene)["neck-pickup"].sizes, abs=0.06)
    before, after = ([f for f in s.fittings if f.part == "bridge"][1].shape.rings for s in (scene, sized))  # its screws
    for a, b in zip(before, after, strict=True):
        assert np.ptp(b, axis=0) == pytest.approx(np.ptp(a, axis=0))
    monkeypatch.setattr("mockup.papers.print.DENSITY", 2.0)
    lengths = {}
    for content in ("outline", "picture"):
        for which, given in (("drawn", None), ("measured", shop)):
            plan = print_plan(scene, content=content, shop=given)
            pages = true_size_pages(plan, whole_sheet(plan.box), Words("Tern", "front"))
            band = [round((EDGE - plan.box[1] + y) / 25.4 * DPI) for y in (272, 332)]
            column = by_pdfium(pdf_book(pages, title="Tern"), DPI, 1, band)[:, round((EDGE + 15 - plan.box[0]) / 25.4 * DPI)]
            if content == "outline":
                found = middles(255 - column.mean(axis=1), DPI, least=50)
                lengths[content, which] = max(found) - min(found)
            else:
                grey = (np.ptp(column, axis=1) < 45).nonzero()[0]  # nickel among maple
                lengths[content, which] = (grey.max() - grey.min() + 1) * 25.4 / DPI
    assert lengths["outline", "drawn"] == pytest.approx(43.6, abs=0.1) and lengths["outline", "measured"] == pytest.approx(47.6, abs=0.1)
    assert lengths["picture", "measured"] - lengths["picture", "drawn"] == pytest.approx(4.0, abs=1.1)  # a pixel of the picture is half a mm


def test_the_paper_around_the_picture_is_left_white(wren):
    """Grey ground and shadow would be ink for nothing: beside the slab, below it too, nothing is printed."""
    _, data = book(wren("board"), paper="full", content="picture")
    page = by_pdfium(data, 100, 1).astype(int)[:-130]  # without the bars at the foot
    dark = page.max(axis=2) < 90  # the slab is painted black: the rows and columns that are mostly that
    rows, columns = np.flatnonzero(dark.sum(axis=1) > 150), np.flatnonzero(dark.sum(axis=0) > 150)
    beside = 4  # pixels, a millimetre
    within = 20  # and not yet at the rule
    top, bottom, left, right = rows.min(), rows.max(), columns.min(), columns.max()
    for strip in (page[top:bottom, left - within:left - beside], page[top:bottom, right + beside:right + within],
                  page[bottom + beside:bottom + within, left:right]):
        assert strip.size and strip.min() >= 254
