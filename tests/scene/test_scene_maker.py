"""What a maker of other instruments than the demos meets: no picture of what cannot be built, and a sentence that says why."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mockup.errors import MockupError
from mockup.outline.cut import overlap
from mockup.outline.head import crowding, posts
from mockup.outline.hardware import pickup
from mockup.outline.neck import Layout
from mockup.scene.load import load_scene
from mockup.scene.neck import CLOSEST

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="700mm" viewBox="-200 -300 400 700">
<defs><rect id="mould" width="300" height="300"/></defs>
<g id="layer"><path id="body" d="M -100 50 H 100 V 380 H -100 Z"/></g>
<g id="tail"><rect id="base" x="-40" y="320" width="80" height="40" fill="#203040"/><circle id="roller" cx="0" cy="340" r="6"/></g>
</svg>"""
SCENE = """
[scene]
centre = 0
hand = "right"
[boards.alder]
texture = "alder-1"
[neck]
scale = 500
bridge = 300
strings = 6
frets = 22
nut_width = 43
heel_width = 56
spread = 52
[parts.body]
outline = "plain.svg#body"
board = "alder"
height = 44
[parts.neck]
make = "neck"
board = "alder"
[parts.fretboard]
make = "fretboard"
board = "alder"
[parts.frets]
make = "frets"
[parts.own]
"""


@pytest.fixture
def maker(tmp_path):
    """Loads the plain scene with some of its text changed and a part of one's own."""
    (tmp_path / "plain.svg").write_text(SVG)

    def load(own: str = 'make = "nut"', *changes: tuple[str, str]):
        text = SCENE + own + "\n"
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new, 1)
        (tmp_path / "plain.toml").write_text(text)
        return load_scene(tmp_path / "plain.toml")

    return load


NUT = 'make = "nut"'
HEAD = 'head = { length = 150, width = 60 }\ntuners = '
MISTAKES = [
    (NUT, ("frets = 22", "frets = 0"), "neck.frets: Frets is 0. For a board without frets set fretless = true"),
    (NUT, ("bridge = 300\n", ""), "neck.bridge: Bridge is missing. Say where the scale ends on the centre line"),
    (NUT, ("spread = 52", "spread = 10"), "neck.spread: 6 strings stand 2.0 mm apart at the bridge. Widen spread to 25"),
    (NUT, ("spread = 52", "spread = 9\npairs = 8"), "neck.spread: 6 strings stand 0.5 mm apart at the bridge. Widen spread to 18"),
    (NUT, ("heel_width = 56", "heel_width = 42"), "neck.heel_width: At fret 22 the outer strings are 47.5 mm apart, on a board 42.0 mm wide."),
    (NUT, ("spread = 52", "spread = 52\nradius = 20"), "neck.radius: An arc of radius 20 mm does not reach over a board 56 mm wide. Use 0 (flat), or 28 mm or more."),
    (NUT, ("spread = 52", "spread = 52\nheel = -300"), "neck.heel: The neck would end at y = -300, above its nut at y = -200."),
    (NUT, ("spread = 52", "spread = 52\nhead = { length = 300, width = 34, end = 30 }\ntuners = { left = 6, right = 0, first = 40, pitch = 38 }"), "neck.tuners: String"),
    (NUT, ("spread = 52", "spread = 52\nhead = { length = 150, width = 30, end = 22 }"), "neck.tuners: The posts of strings 3 and 4 stand"),
    ('make = "tuners"', None, "parts.own.make: The neck has no head for tuners. Give it one under [neck]"),
    ('make = "markers"\nat = [3, 24]', None, "parts.own.at.2: Fret 24 is beyond the last, which is 22."),
    ('make = "pickup"', None, "parts.own.at: At is missing. Say how far down its middle lies, as at = its y in mm."),
    ('make = "pickup"\nat = 3000', None, "parts.own.at: At y = 3000 no wood is under it: that spans x -100 to 100, y -228 to 380."),
    ('make = "knobs"\nat = [[50, 300], [900, 300]]', None, "parts.own.at.2: At x = 900, y = 300 no wood is under it"),
    ('make = "cavity"\nat = [[50, 300, 0]]\nsize = [30, 30]\ndepth = 44', None, "parts.own.depth: The hollow is 44 mm deep, and the wood there 44 mm thick."),
    ('make = "neck pocket"\ndepth = 60', None, "parts.own.depth: The hollow is 60 mm deep, and the wood there 44 mm thick."),
    ('make = "heel"\nboard = "alder"', ('"plain.svg#body"', '"plain.svg#base"'), "parts.own.make: The neck ends at y = 168 and reaches no body below."),
    ('make = "neck"\nboard = "alder"\nstrips = [[-4, 4], [9, 9]]', None, "parts.own.strips.2: The strip is 0 mm wide."),
    ('outline = "plain.svg#body"\nboard = "alder"\nglue_lines = [-30, 130]', None, "parts.own.glue_lines.2: The line at 130 misses the part. It spans -100 to 100 mm"),
    ('outline = "plain.svg#body"\nboard = "alder"\nheight = 30\nthickness = 40', None, "parts.own.thickness: The part is 40 mm thick, and its upper face 30 mm"),
    ('outline = "plain.svg#body"\nboard = "alder"\nthickness = 8\ncarve = { rise = 8 }', None, "parts.own.carve: The carving falls by 8 mm, on wood 8 mm thick."),
    ('outline = "plain.svg#body"\nboard = "alder"\nthickness = 8\ncontours = [{ outline = "plain.svg#base", depth = 9 }]', None,
     "parts.own.contours.1: The hollow is 9 mm deep, in wood 8 mm thick."),
    ('outline = "plain.svg#body"\nboard = "alder"\nmaterial = "brass"', None, "parts.own: The part has both a board and a material. Give it one of them."),
    ('make = "nut"\n[parts.Frets]\nmake = "frets"', None, "parts.Frets: It is named \"Frets\", and so is parts.frets. Give each its own."),
    ('drawing = "plain.svg#tial"', None, 'parts.own.drawing: plain.svg: There is no group or outline with the id "tial". Did you mean "tail"?'),
    ('outline = ".#body"\nboard = "alder"', None, 'parts.own.outline: The file "." is a folder. Name a file in it.'),
    ('photo = "plain.svg"\nmm_per_pixel = 1\nat = [0, 200]', None, "parts.own.photo: plain.svg: This is not a picture file."),
]


@pytest.mark.parametrize(("own", "change", "words"), MISTAKES, ids=[f"{n}-{w[:34]}" for n, (_, _, w) in enumerate(MISTAKES)])
def test_what_cannot_be_built_is_one_sentence(maker, own, change, words):
    with pytest.raises(MockupError) as caught:
        maker(own, *([change] if change else []))
    told = str(caught.value).split("\n")
    assert len(told) == 1 and told[0].startswith("plain.toml: " + words), told


def test_what_can_be_built_is_not_refused(maker):
    """One string, strings down to the least apart, a flat board, 36 frets, a neck through the body."""
    maker(NUT, ("strings = 6", "strings = 1"), ("spread = 52", "spread = 0"))
    maker(NUT, ("spread = 52", f"spread = {5 * CLOSEST}"))
    maker(NUT, ("frets = 22", "frets = 36"), ("spread = 52", "spread = 52\nradius = 0\nheel = 380"))
    assert max(f.shape.bounds[3] for f in maker('make = "markers"', ("frets = 22", "frets = 36")).fittings if f.part == "own") > 230  # a dot at 36


def test_a_closed_gap_in_an_svg_is_told_with_the_scene(maker, tmp_path):
    maker()
    (tmp_path / "plain.svg").write_text(SVG.replace("H -100 Z", "H -100 V 50.03"))
    assert maker().notes == ("plain.svg#body: a gap of 0.03 mm is closed",)


def test_a_part_of_ones_own_is_one_group_of_a_drawing(maker):
    """Body and hardware may lie in one drawing; of all that is in it each outline is taken once, and no moulds."""
    pieces = [f for f in maker('drawing = "plain.svg#tail"\nmaterials = { roller = "brass" }').fittings if f.part == "own"]
    assert [f.material.name for f in pieces] == ["plastic", "brass"] and pieces[0].shape.bounds == pytest.approx((-40, 320, 40, 360))
    assert "plain.svg" in maker('drawing = "plain.svg#tail"').sources
    assert len([f for f in maker('drawing = "plain.svg"').fittings if f.part == "own"]) == 3


def test_fret_lines_of_a_fretless_board_are_let_in(maker):
    lines = next(f for f in maker(NUT, ("frets = 22", "frets = 22\nfretless = true")).fittings if f.part == "frets")
    board = next(p for p in maker().parts if p.name == "fretboard")
    assert not lines.rods and lines.height - board.height < 0.1
    assert len(lines.shape.rings) == 22 and lines.shape.bounds[2] == pytest.approx(-lines.shape.bounds[0])
    y = -200 + 500 * (1 - 2 ** (-12 / 12))
    assert any(abs(ring[:, 1].mean() - y) < 0.01 for ring in lines.shape.rings)


@pytest.mark.parametrize("more, neck, frets", [
    ("", "", (4, 5)), ("", "\nfretless = true", (5,)), ("between = true", "\nfretless = true", (4, 5)),
])
def test_dots_stand_between_frets_or_where_a_finger_stops_the_string(maker, more, neck, frets):
    """Common practice: the position dots of a board without lines mark the place of the fret itself."""
    dots = [f for f in maker(f'make = "markers"\nat = [5]\n{more}', ("frets = 22", f"frets = 22{neck}")).fittings if f.part == "own"]
    y = sum(-200 + 500 * (1 - 2 ** (-n / 12)) for n in frets) / len(frets)
    assert len(dots) == 1 and dots[0].shape.bounds == pytest.approx((-3, y - 3, 3, y + 3), abs=0.01)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_boards_and_heels_know_the_edge_that_goes_on_under_nut_and_body(maker, hand):
    parts = {p.name: p for p in maker('make = "heel"\nboard = "alder"', ('hand = "right"', f'hand = "{hand}"')).parts}
    board, heel, body = parts["fretboard"], parts["own"], parts["body"]
    assert board.edged.bounds[1] < board.shape.bounds[1] - 40 and board.edged.bounds[3] == board.shape.bounds[3]
    assert overlap(board.edged, board.shape).area == pytest.approx(board.shape.area)
    assert overlap(heel.edged, body.shape).area > 100 and overlap(heel.shape, body.shape) is None
    assert overlap(heel.edged, heel.shape).area == pytest.approx(heel.shape.area)
    assert body.edged is None


def test_a_pocket_is_cut_in_the_body_only(maker):
    """Listed after the neck, too."""
    scene = maker('make = "neck pocket"')
    pocket, body = next(f for f in scene.fittings if f.part == "own"), scene.parts[0]
    assert overlap(pocket.shape, body.shape).area == pytest.approx(pocket.shape.area)


LAYOUT = Layout(centre=0, bridge=300, scales=(500, 500), square=7, strings=6, pair=0, nut_spread=36, spread=52, nut_width=43, heel_width=56, frets=22, overhang=8)


@pytest.mark.parametrize("turn", [0, 20, -45])
@pytest.mark.parametrize("kind", ["single", "double", "bar"])
def test_a_slanted_pickup_reaches_as_far_as_the_strings(turn, kind):
    """Poles and blades lie in their case; each pole, or the middle of two rows, under its string, whatever the slant. They are the last piece."""
    pieces = pickup((0.0, 200.0), LAYOUT, kind, turn)
    case, poles = next(p.shape for p in pieces if p.kind == "main" and p.rise == 7.0), pieces[-1].shape
    assert overlap(poles, case).area == pytest.approx(poles.area)
    nut, saddle = LAYOUT.ends()
    if kind != "bar":
        x = np.array([ring[:, 0].mean() for ring in poles.rings]).reshape(-1, 6)
        assert np.allclose(x.mean(axis=0), nut[:, 0] + 0.8 * (saddle[:, 0] - nut[:, 0]), atol=0.01)
    else:
        assert all(np.ptp(ring[:, 0]) > 36 + 0.8 * 16 for ring in poles.rings)  # all the strings at that height


def test_two_strings_of_a_pair_share_a_pole():
    from dataclasses import replace

    paired = replace(LAYOUT, strings=10, pair=2.0)
    for kind, count in (("single", 5), ("double", 10)):
        poles = pickup((0.0, 200.0), paired, kind, 10)[-1].shape.rings
        assert len(poles) == count and all(np.ptp(ring[:, 0]) == pytest.approx(4.8, abs=0.01) for ring in poles)  # round, and not run together


def test_posts_have_room():
    from mockup.outline.figures import plate

    wide, narrow = plate((0, -290), (70, 180)), plate((0, -290), (26, 180))
    kept = dict(first=40, pitch=35, inset=12)
    assert crowding(posts(wide, LAYOUT, 3, 3, **kept), LAYOUT) == ""
    told = crowding(posts(narrow, LAYOUT, 3, 3, **kept), LAYOUT)
    assert told.startswith("The posts of strings") and "stand" in told
    assert math.isfinite(float(told.split("stand ")[1].split(" ")[0]))
