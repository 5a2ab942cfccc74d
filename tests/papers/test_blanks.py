"""Blanks and volumes by hand, and cut maps."""

from dataclasses import replace

import numpy as np
import pytest
from rendered import by_pdfium, darkness, middles

from mockup.papers.blanks import blanks, board_problems, plain_blanks
from mockup.papers.cutmap import cut_plan, cut_points, full_size_cut
from mockup.papers.lengths import area_words, board_feet, length_words, liquid_words, spread_words, volume_words
from mockup.papers.page import Box, Text
from mockup.papers.pdf import pdf_book
from mockup.papers.shop_values import Allowance, Shop
from mockup.papers.tiles import EDGE
from mockup.scene.load import load_scene

SCENE = """
[scene]
title = "Dunlin"
centre = 100
[boards.plank]
photo = "plank.png"
mm_per_pixel = 1.0
wood = "ash"
actual = true
grain = {grain}
[parts.slab]
outline = "dunlin.svg#slab"
board = "plank"
turn = {turn}
cut = "{cut}"
at = {at}
"""
DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="400mm" viewBox="0 0 200 400">
<path id="slab" d="M 0 0 H 200 V 400 H 0 Z"/></svg>"""


@pytest.fixture
def dunlin(tmp_path):
    from PIL import Image

    def make(size=(300, 500), grain=90, turn=0, cut="single", at="[150, 250]"):
        Image.new("RGB", size, (200, 170, 120)).save(tmp_path / "plank.png")
        (tmp_path / "dunlin.svg").write_text(DRAWING)
        (tmp_path / "dunlin.toml").write_text(SCENE.format(grain=grain, turn=turn, cut=cut, at=at))
        return load_scene(tmp_path / "dunlin.toml")

    return make


SHOP = Shop(parts={"slab": 40.0}, boards={"plank": 50.0}, kerf=3.0, allowance=Allowance(length=30, width=20, thickness=5))


def test_a_board_foot_by_hand():
    # 12 x 12 x 1 in is one board foot; a body blank of 20 x 14 x 1 3/4 in is 490 / 144 of it, and 490 in³ is 0.0080297 m³ (1 in = 25.4 mm).
    assert board_feet(12 * 12 * 1 * 25.4**3) == pytest.approx(1)
    volume = 20 * 14 * 1.75 * 25.4**3
    assert board_feet(volume) == pytest.approx(3.4028, abs=1e-4)
    assert volume_words(volume).replace("\u00a0", " ") == "0.00803 m³\n3.40 board feet"


def test_words_of_measures():
    assert length_words(44.45).replace("\u00a0", " ") == "44.5 mm (1.750 in)" or length_words(44.45).startswith("44.4")
    assert length_words(44.45, "in").replace("\u00a0", " ").startswith("1.750 in (44.")
    assert area_words(92903.04 * 3).replace("\u00a0", " ") == "0.28 m² (3.0 sq ft)"
    assert liquid_words(29.5735295625 * 2).replace("\u00a0", " ") == "60 ml (2.0 fl oz)"


def test_a_blank_by_hand(dunlin):
    (b,) = blanks(dunlin(), SHOP)
    assert b.finished == pytest.approx((400, 200, 40)) and b.rough == pytest.approx((430, 220, 45))
    assert b.volume == pytest.approx(430 * 220 * 45)
    assert b.large_enough is True and board_problems((b,)) == ()
    assert sorted(b.corners[:, 0]) == pytest.approx([40, 40, 260, 260]) and sorted(b.corners[:, 1]) == pytest.approx([35, 35, 465, 465])
    (row,) = plain_blanks((b,))
    assert row["rough_length_in"] == pytest.approx(430 / 25.4, abs=1e-4) and row["board_feet"] == pytest.approx(430 * 220 * 45 / 25.4**3 / 144, abs=1e-3)


def test_the_grain_decides_what_is_length(dunlin):
    (b,) = blanks(dunlin(size=(500, 300), grain=0, turn=90, at="[250, 150]"), SHOP)
    assert b.finished == pytest.approx((400, 200, 40)) and b.large_enough


def test_a_pair_is_half_as_wide_and_resawn(dunlin):
    (b,) = blanks(dunlin(cut="bookmatch", at="[60, 250]"), SHOP)
    assert b.pieces == 2 and b.finished == pytest.approx((400, 100, 40)) and b.rough == pytest.approx((430, 120, 45))
    assert b.volume == pytest.approx(2 * 430 * 120 * 45) and b.resawn == pytest.approx(2 * 45 + 3)
    assert b.missing == {"thickness": pytest.approx(43)} and b.large_enough is False
    assert board_problems((b,)) == ('Slab: the board "plank" is 50.0 mm thick, and both leaves and the saw cut take 93.0 mm.',)


def test_a_board_that_is_too_small_says_where(dunlin):
    (b,) = blanks(dunlin(size=(210, 425), at="[105, 210]"), SHOP)
    assert b.missing == {"left": pytest.approx(5), "right": pytest.approx(5), "top": pytest.approx(5)}
    assert board_problems((b,))[0].startswith('Slab: the board "plank" lacks 5.0 mm (0.20 in) at the left')


def test_without_thickness_nothing_is_claimed(dunlin):
    (b,) = blanks(dunlin(), Shop())
    assert (b.volume, b.large_enough) == (None, None) and plain_blanks((b,))[0]["volume_m3"] is None


def test_places_to_mark_are_measured_from_two_edges(dunlin):
    points = {p.name: (p.x, p.y) for p in cut_points(dunlin().parts[0])}
    assert points["Furthest left"][0] == pytest.approx(50) and points["Furthest right"][0] == pytest.approx(250)
    assert points["Furthest up"][1] == pytest.approx(50) and points["Furthest down"][1] == pytest.approx(450)
    matched = {p.name: (p.x, p.y) for p in cut_points(dunlin(cut="bookmatch", at="[60, 250]").parts[0])}
    assert matched["Joint, one end"] == pytest.approx((60, 50)) and matched["Joint, other end"] == pytest.approx((60, 450))


def test_the_cut_map_is_true_to_size(dunlin):
    """Edge A to the far side of the part: 250 mm on one large sheet, measured in its pixels."""
    scene = dunlin()
    (b,) = blanks(scene, SHOP)
    (page,) = full_size_cut(scene, b, SHOP, None, detail="")
    at = round((EDGE + 200) / 25.4 * 300)
    row = darkness(by_pdfium(pdf_book([page], title="x"), 300, 1, (at, at + 3))).mean(axis=0)
    assert len(row) * 25.4 / 300 == pytest.approx(page.width, abs=0.2)
    lines = middles(row, 300, least=150)
    lines = [x for x in lines if EDGE + 2 < x < page.width - EDGE - 2]
    assert min(abs(b - a - 200) for a in lines for b in lines) < 0.1   # the part itself
    assert min(abs(b - a - 250) for a in lines for b in lines) < 0.3   # from edge A, whose line is thick


def test_the_kerf_lies_outside_the_part(dunlin):
    scene = dunlin()
    (b,) = blanks(scene, SHOP)
    plan = cut_plan(scene, b, SHOP, density=1.0)
    (kerf,) = [i for i in plan.items if getattr(i, "dash", ()) == (1.2, 1.2)]
    assert np.concatenate(kerf.lines).min(axis=0) == pytest.approx((47, 47), abs=0.01)


def test_a_board_that_is_only_shown_by_its_kind_must_be_measured(dunlin, tmp_path):
    """Blank 430 x 220 x 45 mm: of a library's picture nothing is known but the kind, so that the maker says how large the board is."""
    scene = dunlin(size=(900, 900), at="[450, 450]")
    text = (tmp_path / "dunlin.toml").read_text().replace("actual = true", "actual = false")
    (tmp_path / "dunlin.toml").write_text(text)
    scene = load_scene(tmp_path / "dunlin.toml")
    (b,) = blanks(scene, SHOP)
    assert b.large_enough is None and not b.missing
    assert board_problems((b,)) == ('Slab: the scene shows wood of the kind of "plank", not the board at hand; photograph that, or write its length and '
                                    "width under [boards.plank].",)
    for given, missing in (((430.0, 220.0), {}), ((425.0, 300.0), {"length": 5.0}), ((500.0, 200.0), {"width": 20.0})):
        (b,) = blanks(scene, replace(SHOP, board_sizes={"plank": given}))
        assert b.large_enough is (not missing) and b.missing == pytest.approx(missing)
    assert board_problems((b,)) == ('Slab: the board "plank" lacks 20.0 mm (0.79 in) of width for the rough blank.',)


@pytest.mark.parametrize("cut, words", [("bookmatch", "Blue: the left leaf, mirrored, out of the next leaf of the board."),
                                        ("slipmatch", "Blue: the left leaf, slid across, out of the next leaf of the board.")])
def test_a_map_names_the_leaves_as_the_trade_does(dunlin, tmp_path, cut, words):
    from mockup.papers.approval import placement_words
    from mockup.papers.booklet import Booklet
    from mockup.papers.cutmap import cut_pages

    scene = dunlin(size=(700, 700), at="[250, 350]", cut=cut)
    found = blanks(scene, SHOP)
    book = Booklet("a4", "Dunlin", "", "A", "")
    cut_pages(book, scene, found, SHOP)
    said = " ".join(i.text for i in book.done()[0].items if isinstance(i, Text)).replace("\u00a0", " ")
    assert words in said and f"{cut}ed pair" in said and "Red line: the joint." in said
    assert f": {cut}ed pair" in placement_words(scene, scene.parts[0])


def test_measures_of_a_small_part_do_not_cover_each_other(dunlin):
    """A slab of 20 x 10 mm on a board of 900: at 1 : 5 its four measures are a few mm apart on paper, and their numbers can be read."""
    from itertools import combinations

    from mockup.papers.cutmap import _measures

    for bounds in ((400.0, 400.0, 420.0, 410.0), (400.0, 400.0, 438.0, 438.0), (100.0, 50.0, 800.0, 700.0)):
        found = [i.bounds for i in _measures(bounds, 5.0) if isinstance(i, Box)]
        assert len(found) == 4
        for a, b in combinations(found, 2):
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (a, b)


def test_two_parts_do_not_get_the_same_wood(dunlin, tmp_path):
    """By hand: 45 mm for each of two blanks is 90 mm; on a board of 50 mm they may not lie over each other, on one of 90 mm they may."""
    dunlin(size=(700, 500), at="[150, 250]")
    text = (tmp_path / "dunlin.toml").read_text()
    second = "\n[parts.back]" + text.split("[parts.slab]")[1]
    for at, thick, told in (("[160, 250]", 50.0, True), ("[160, 250]", 90.0, False), ("[500, 250]", 50.0, False)):
        (tmp_path / "dunlin.toml").write_text(text + second.replace("at = [150, 250]", f"at = {at}"))
        found = blanks(load_scene(tmp_path / "dunlin.toml"), replace(SHOP, parts={"slab": 40.0, "back": 40.0}, boards={"plank": thick}))
        said = board_problems(found)
        assert said == (('Slab and back: their blanks lie over each other on the board "plank"; move one, or take another board.',) if told else ()), at


def test_spread_by_hand():
    # 1 m² is 10.7639 sq ft and a US gallon 3.78541 l, so 14 m² a litre is 14 * 10.7639 * 3.78541 = 570 sq ft a gallon.
    assert spread_words(14).replace("\u00a0", " ") == "14 m²/l\n570 sq ft/gal"
