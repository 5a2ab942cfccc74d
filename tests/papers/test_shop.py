"""Parts at hand, the gate, and the shop's papers as files."""

import csv
import io
import json

import numpy as np
import pytest
from pypdf import PdfReader

from mockup.errors import MockupError
from mockup.papers.parts_at_hand import dimensions, effect_words, fitting_details, fitting_marks, gate, pocket_words
from mockup.papers.print import print_plan
from mockup.papers.schedule import bought, materials
from mockup.papers.shop import shop_papers, write_shop
from mockup.papers.shop_file import read_shop
from mockup.papers.shop_values import fitting_curve
from mockup.papers.table import csv_bytes
from mockup.scene.load import load_scene

SHOP = """
[boards.table]
thickness = 60
[parts.body]
thickness = 40
[parts.plate]
thickness = 4
[fittings.bridge]
part = "body"
at = [60, 100]
clearance = 0.1
listed = { length = 20, width = 40, depth = 3 }
measured = { length = 20.05, width = 40.6MEASURED }
[fittings.strap]
part = "none"
listed = { diameter = 14 }
"""
TODAY = "2026-11-25"


def scene_with(plover, text):
    (plover.parent / "shop.toml").write_text(text)
    return load_scene(plover).with_variant("amber")


@pytest.fixture
def measured(plover):
    return scene_with(plover, SHOP.replace("MEASURED", ", depth = 3.0"))


def test_a_part_that_was_not_measured_keeps_the_gate_shut(plover):
    scene = scene_with(plover, SHOP.replace("MEASURED", ""))
    found = gate(scene, read_shop(scene), ())
    assert (found.ready, found.against) == (False, ("Bridge, on the body: depth not measured.",))
    said = "".join(p.extract_text() for p in _book(shop_papers(scene, paper="a4", today=TODAY)).pages)
    assert "Not ready to cut" in said and "Ready to cut" not in said


def _book(made):
    return PdfReader(io.BytesIO(next(data for name, data in made.files.items() if name.endswith(".shop.pdf"))))


def test_measured_parts_open_it_and_move_the_pocket(measured):
    shop = read_shop(measured)
    assert gate(measured, shop, ()).ready  # what touches no wood need not be measured
    by_name = {(d.fitting.name, d.name): d for d in dimensions(shop)}
    width = by_name["bridge", "width"]
    assert width.off and width.deviation == pytest.approx(0.6) and (width.pocket, width.needed) == pytest.approx((40.2, 40.8))
    assert pocket_words(measured, width, "mm").replace("\u00a0", " ") == \
        "Pocket in the body 0.6 mm (0.024 in) wider: 40.8 mm (1.606 in) instead of 40.2 mm (1.583 in)."
    assert pocket_words(measured, by_name["bridge", "length"], "mm") == ""  # 0.05 is within tolerance


def test_a_part_too_large_for_a_pocket_that_is_drawn_keeps_it_shut(plover):
    scene = scene_with(plover, SHOP.replace("MEASURED", ", depth = 3.0").replace("clearance = 0.1", "route = { width = 40.4 }"))
    found = gate(scene, read_shop(scene), ())
    assert not found.ready and "Bridge: measured width 40.6 mm (1.598 in) does not go into its pocket of 40.4" in found.against[0].replace("\u00a0", " ")


def test_no_list_is_no_yes(plover):
    scene = load_scene(plover).with_variant("amber")
    assert not gate(scene, read_shop(scene), ()).ready
    scene = scene_with(plover, 'bought = "none"')
    assert gate(scene, read_shop(scene), ()).ready


def test_hardware_is_drawn_at_its_measured_size(measured):
    shop = read_shop(measured)
    bridge = shop.fittings[0]
    own = fitting_curve(bridge, bridge.sizes)
    assert own.max(axis=0) - own.min(axis=0) == pytest.approx((40.6, 20.05))
    drawn = [i for i in fitting_marks(measured, shop, "front") if getattr(i, "closed", False)]
    assert any(len(i.lines) == 1 and i.lines[0].shape == own.shape and abs(i.lines[0] - own).max() < 1e-9 for i in drawn)
    plan = print_plan(measured, content="outline", shop=shop)
    assert any(getattr(i, "closed", False) and i.lines[0].shape == own.shape and abs(i.lines[0] - own).max() < 1e-9 for i in plan.items)


def test_the_files(measured, tmp_path):
    made, paths = write_shop(tmp_path / "out", measured, paper="letter", today=TODAY, start="2026-12-01", full_size=True)
    names = {p.name for p in paths}
    assert names == {"plover.amber.shop.pdf", "plover.amber.shop.json", "plover.amber.blanks.csv", "plover.amber.parts.csv",
                     "plover.amber.schedule.csv", "plover.amber.materials.csv", "plover.amber.to_buy.csv", "plover.amber.marks.csv",
                     "plover.amber.schedule.ics",
                     "plover.amber.cut.body.pdf", "plover.amber.cut.plate.pdf"}
    whole = json.loads((tmp_path / "out" / "plover.amber.shop.json").read_text())
    for table in ("blanks", "parts", "schedule", "materials", "marks"):
        rows = list(csv.DictReader(io.StringIO((tmp_path / "out" / f"plover.amber.{table}.csv").read_text())))
        assert len(rows) == len(whole[table]) > 0
        for row, plain in zip(rows, whole[table], strict=True):
            for key, value in plain.items():
                if isinstance(value, (int, float)) and not isinstance(value, bool):
                    assert float(row[key]) == pytest.approx(value)
                if key.endswith("_mm") and isinstance(value, float) and (inch := plain.get(key[:-2] + "in")) is not None:
                    assert inch == pytest.approx(value / 25.4, abs=5e-4)
    assert whole["ready_to_cut"] is made.gate.ready


def test_the_book_says_what_a_maker_must_know(measured):
    book = _book(shop_papers(measured, paper="letter", today=TODAY, start="2026-12-01"))
    pages = [p.extract_text() for p in book.pages]
    said = " ".join("\n".join(pages).split())
    assert {(round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in book.pages} == {(612, 792)}
    for words in ("Cut map: body", "From edge A", "P400 (CAMI 320)", "Oily rags heat by themselves", "lidded metal can", "common practice",
                  "safety data sheet", "board feet", "December 2026", "1 December 2026"):
        assert words in said, words


def test_a_board_too_small_keeps_the_gate_shut(plover):
    scene = scene_with(plover, SHOP.replace("MEASURED", ", depth = 3.0").replace("thickness = 60", "thickness = 20"))
    made = shop_papers(scene, paper="a4", today=TODAY)
    assert not made.gate.ready and any("20.0 mm thick" in t for t in made.gate.against)


@pytest.mark.parametrize("how, words", [
    ({"paper": "a4", "start": "2020-01-01"}, "The start, 2020-01-01, is past"),
    ({"paper": "a44"}, 'There is no paper "a44"'),
])
def test_bad_wishes_write_nothing(measured, tmp_path, how, words):
    with pytest.raises(MockupError, match=words):
        write_shop(tmp_path / "out", measured, today=TODAY, **how)
    assert not (tmp_path / "out").exists()


def test_mixed_units_write_nothing(plover, tmp_path):
    scene = scene_with(plover, SHOP.replace("40.6MEASURED", "1.6"))
    with pytest.raises(MockupError, match="looks like mm beside inches"):
        write_shop(tmp_path / "out", scene, paper="a4", today=TODAY)
    assert not (tmp_path / "out").exists()


def test_csv_of_odd_words():
    rows = [{"a": 'with "quotes", commas', "b": {"left": 1.5}}, {"a": None, "c": "Łódź\nline"}]
    back = list(csv.DictReader(io.StringIO(csv_bytes(rows).decode("utf-8"), newline="")))
    assert back == [{"a": 'with "quotes", commas', "b": "left 1.5", "c": ""}, {"a": "", "b": "", "c": "Łódź\nline"}]


def test_a_part_on_the_face_says_what_a_deviation_does_there(plover):
    """Without a pocket nothing is cut wider, but what is screwed down lies elsewhere."""
    text = SHOP.replace("MEASURED", "").replace(", depth = 3", "").replace("clearance = 0.1", "clearance = 0.1\nlet_in = false")
    scene = scene_with(plover, text)
    shop = read_shop(scene)
    by_name = {d.name: d for d in dimensions(shop) if d.fitting.name == "bridge"}
    assert effect_words(scene, by_name["width"], "mm").replace("\u00a0", " ") == \
        "No pocket: where it stands on the body it is 0.6 mm (0.024 in) wider; check its screw holes."
    assert effect_words(scene, by_name["length"], "mm") == ""


def test_pockets_are_drawn_as_they_are_cut(measured):
    """By hand: a bridge of 20.05 x 40.6 mm and 0.1 mm of air takes a pocket of 20.25 x 40.8 mm; the drawing is that large."""
    (d,) = fitting_details(measured, read_shop(measured))
    assert d.title == "1. Bridge" and "Pocket 40.8 mm (1.606 in) wide, 20.2 mm (0.797 in) long, 3.0 mm (0.118 in) deep" in d.words.replace("\u00a0", " ")
    green = next(m for m in d.marks if m.colour == (16, 110, 70))
    assert np.ptp(green.lines[0], axis=0) == pytest.approx([40.8, 20.25], abs=0.001)
    grey = next(m for m in d.marks if m.colour == (120, 120, 120))
    assert np.ptp(grey.lines[0], axis=0) == pytest.approx([40.0, 20.0], abs=0.001)


def test_what_to_buy_in_all_is_one_line_a_product(measured):
    found = materials(measured, read_shop(measured))
    total = dict(bought(found))
    mixed = [m for m in found if m.mix]
    assert mixed and total["boiled linseed oil"] == pytest.approx(sum(m.mix["boiled linseed oil"] for m in mixed))
    assert len(total) == len({name for m in found for name in (m.mix or {m.name: 0})})
    assert sum(total.values()) == pytest.approx(sum(m.ml for m in found))


@pytest.fixture(scope="module")
def tern(tmp_path_factory):
    """The shop's papers of a built-in scene, as its first file begins them: pages of text."""
    import shutil

    from mockup.papers.shop_start import shop_start
    from mockup.scene.places import builtin_scenes

    home = tmp_path_factory.mktemp("shop") / "tern"
    shutil.copytree(builtin_scenes()["tern"].parent, home)
    scene = load_scene(home / "tern.toml")
    (home / "shop.toml").write_text(shop_start(scene))
    return [" ".join(p.extract_text().replace("\u00a0", " ").split()) for p in _book(shop_papers(scene, paper="a4", today=TODAY)).pages]


def test_what_stands_against_several_parts_is_said_once(tern):
    assert "Ferrules 1 to 4, on the body: diameter not measured." in tern[0]
    assert 'Body, neck and heel: the scene shows wood of the kind of "mahogany", not the board at hand;' in tern[0]
    assert tern[0].count("not the board at hand") == 3


def test_no_page_is_begun_for_a_scrap(tern):
    """The instrument is drawn as large as a page of its own lets it be, and the words on protected wood stay together."""
    assert [w for page in tern for w in ("Front, scale 1 : 5.", "Back, scale 1 : 5.") if w in page] == ["Front, scale 1 : 5.", "Back, scale 1 : 5."]
    said = next(p for p in tern if "Rosewood (Dalbergia)" in p)
    assert "Mahogany (Swietenia)" in said and "ask your own CITES office" in said


def test_dimensions_of_a_part_stay_on_its_page():
    from mockup.papers.booklet import Booklet
    from mockup.papers.page import Text

    for many in range(40, 52, 2):
        book = Booklet("a4", "Plover", "", "A", "")
        book.page("Parts")
        rows = [(str(n) if n % 2 == 0 else "", "length" if n % 2 == 0 else "width") for n in range(many)]
        book.table(("", "Dimension"), rows, (1, 2), joined=[n for n in range(many) if n % 2])
        for page in book.done():
            said = [i.text for i in page.items if isinstance(i, Text)]
            assert said.count("length") == said.count("width")
