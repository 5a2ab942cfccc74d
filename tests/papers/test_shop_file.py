"""The shop's file beside a scene."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mockup.errors import MockupError
from mockup.papers.practice import cami_words, film_practice, films_practice, grits, protected_woods, steps_practice
from mockup.papers.shop_file import read_shop
from mockup.scene.load import load_scene

GOOD = """
units = "{units}"
start = 2026-12-01
rest = ["Sunday"]
kerf = {kerf}
[allowance]
length = {allow}
[boards.table]
thickness = {board}
[parts.body]
thickness = {board}
[films."oil varnish"]
coats_per_day = 1
[fittings.bridge]
part = "body"
at = [{x}, {y}]
listed = {{ length = {length}, width = {width}, depth = {depth} }}
measured = {{ length = {more}, width = {width}, depth = {depth} }}
[fittings.pin]
part = "none"
listed = {{ diameter = {width} }}
"""
MM = {"kerf": 2.54, "allow": 25.4, "board": 44.45, "x": 60, "y": 63.5, "length": 50.8, "width": 12.7, "depth": 6.35, "more": 51.054}
INCHES = {k: round(v / 25.4, 9) for k, v in MM.items()}


def shop_of(plover, text):
    (plover.parent / "shop.toml").write_text(text)
    return read_shop(load_scene(plover))


def test_without_a_file_usual_values_hold(plover):
    shop = read_shop(load_scene(plover))
    assert (shop.file, shop.kerf, shop.fittings, shop.frets) == ("", 2.5, (), None)


def test_inches_and_mm_say_the_same(plover):
    mm, inches = shop_of(plover, GOOD.format(units="mm", **MM)), shop_of(plover, GOOD.format(units="in", **INCHES))
    assert mm.boards["table"] == pytest.approx(44.45) == inches.boards["table"]
    assert (mm.kerf, mm.allowance.length) == pytest.approx((inches.kerf, inches.allowance.length)) == (2.54, 25.4)
    for a, b in zip(mm.fittings, inches.fittings, strict=True):
        assert dict(a.listed) == pytest.approx(dict(b.listed)) and dict(a.measured) == pytest.approx(dict(b.measured))
        assert a.at == pytest.approx(b.at)
    assert mm.rest == {6} and mm.start == "2026-12-01"
    assert [f.missing for f in mm.fittings] == [(), ("diameter",)]
    assert film_practice("oil varnish", mm.films).coats_per_day == 1
    assert "changed by this shop" in film_practice("oil varnish", mm.films).basis


def test_a_scene_s_own_file_goes_before_the_folder_s(plover):
    (plover.parent / "shop.toml").write_text("kerf = 1")
    (plover.parent / "plover.shop.toml").write_text("kerf = 3")
    assert read_shop(load_scene(plover)).kerf == 3


BRIDGE = '[fittings.bridge]\npart = "body"\nat = [0, 0]\n'


@pytest.mark.parametrize("text, words", [
    ("kerf = 40", "kerf: Kerf is 40. Use 0 to 10 mm."),
    ('units = "in"\nkerf = 3', "kerf: Kerf is 3. Use 0 to 0.394 in."),
    ('kerf = "0.1 in"', 'kerf: Kerf is "0.1 in", in quotes. Write 2.54, without quotes; lengths are in mm.'),
    ('start = "2026-12-01"', 'start: Start is "2026-12-01". Write it without quotes: start = 2026-12-01.'),
    ('rest = ["sun"]', 'rest.1: Rest day "sun" is no weekday. Did you mean "sunday"?'),
    ("[boards.tabel]\nthickness = 20", 'boards.tabel: The scene has no board "tabel". Did you mean "table"?'),
    ('[films."oil varnsh"]\nloss = 0.1', 'films.oil varnsh: There is no schedule for "oil varnsh". Did you mean "oil varnish"?'),
    ('[films.oil]\nloss = 2', "films.oil.loss: Loss is 2. Use 0 to 0.95."),
    ('[films.oil]\nlevel_grits = [800, 400]', "films.oil.level_grits: Level grits is a list of 2. Use FEPA P numbers, coarse to fine, as "
                                               "[400, 800, 1500]."),
    ('[films.oil]\ncoat_per_day = 2', 'films.oil.coat_per_day: There is no key "coat_per_day" here.'),
    (BRIDGE, "fittings.bridge.listed: Listed is missing. Add listed = { length = ..., width = ..., depth = ... }, or diameter for a round "
             "part."),
    (BRIDGE + "listed = { depth = 3 }", "fittings.bridge.listed: A part needs length and width, or a diameter. Add them as the maker of the "
                                        "part lists them."),
    (BRIDGE + "listed = { length = 80, width = 40 }\nmeasured = { length = 3.15 }",
     "fittings.bridge.measured.length: 3.15 beside a listed 80 looks like mm beside inches. Write all lengths of this file in mm."),
    (BRIDGE + "listed = { diameter = 20 }\nmeasured = { length = 20 }",
     "fittings.bridge.measured.length: It has no listed length to be held against. Add length to listed."),
    (BRIDGE.replace('"body"', '"bodi"') + "listed = { diameter = 20 }", 'fittings.bridge.part: There is no part "bodi". Did you mean "body"?'),
])
def test_each_mistake_is_told_in_a_line(plover, text, words):
    with pytest.raises(MockupError) as told:
        shop_of(plover, text)
    assert str(told.value).startswith("shop.toml: " + words), str(told.value)


# FEPA P (ISO 6344) beside CAMI (ANSI B74.18) by mean grain, as in published tables of abrasive grades.
@pytest.mark.parametrize("p, cami", [(180, "180"), (220, "220"), (280, "240"), (400, "320"), (800, "400"), (1000, "500"), (1200, "600")])
def test_grits_of_the_two_scales(p, cami):
    assert cami_words(p) == cami


def test_grits_get_finer_and_the_scales_part_after_220():
    sizes = [g.um for g in grits()]
    assert sizes == sorted(sizes, reverse=True)
    assert all(int(g.fepa[1:]) == int(g.cami) for g in grits() if g.fepa and g.cami and g.um > 60)
    assert all(int(g.fepa[1:]) > int(g.cami) for g in grits() if g.fepa and g.cami and g.um < 60)
    assert cami_words(150) == "about 150" and cami_words(1500).startswith("about ")


def test_everything_is_marked_as_common_practice():
    assert {p.basis for p in films_practice().values()} | {s.basis for s in steps_practice().values()} == {"common practice"}


@pytest.mark.parametrize("wood, names", [("Brazilian rosewood", ["Rosewood (Dalbergia)"]), ("mahogany", ["Mahogany (Swietenia)"]),
                                         ("African mahogany", []), ("flame maple", [])])
def test_protected_woods(wood, names):
    assert [name for name, _ in protected_woods([wood])] == names


KEYS = ("units", "start", "rest", "kerf", "bought", "allowance", "boards", "parts", "films", "frets", "fittings", "table", "body", "oil",
        "bridge", "listed", "measured", "route", "part", "at", "turn", "side", "length", "width", "diameter", "depth", "thickness", "mix",
        "cautions", "level_grits", "recoat_hours", "scale", "count", "nut", "let_in", "tolerance")
VALUES = st.recursive(st.one_of(st.sampled_from(["mm", "in", "body", "none", "sunday", "3 in", ""]), st.integers(-10**9, 10**9), st.booleans(),
                                st.floats(allow_nan=False, allow_infinity=False), st.lists(st.integers(-5, 900), max_size=4)),
                      lambda inner: st.dictionaries(st.sampled_from(KEYS), inner, max_size=5), max_leaves=25)


def toml(value):
    """An inline TOML value."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + "}"
    return "[" + ", ".join(map(toml, value)) + "]" if isinstance(value, list) else json.dumps(value)


@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=7))
@settings(deadline=None, max_examples=150, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_it_holds_it_is_read_or_refused(good_scene, tmp_path_factory, data):
    from dataclasses import replace

    folder = tmp_path_factory.mktemp("shop")
    (folder / "shop.toml").write_text("".join(f"{k} = {toml(v)}\n" for k, v in data.items()) or "\n# nothing\nkerf = 1\n")
    scene = replace(good_scene, folder=folder)
    try:
        read_shop(scene)
    except MockupError as error:
        assert all(str(p).startswith("shop.toml") and "\n" not in str(p) for p in error.problems)
