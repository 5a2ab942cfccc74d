"""Whole instruments in a scene file: what is made, and one sentence for each mistake."""

from __future__ import annotations

import json

import numpy as np
import pytest

from mockup.errors import MockupError
from mockup.scene.load import load_scene
from mockup.scene.values import Fitting, Part

NECK = """
[neck]
scale = 420
bridge = 260
strings = 4
frets = 20
nut_width = 34
heel_width = 42
spread = 38
head = { length = 120, width = 60 }
tuners = { left = 2, right = 2, first = 36, pitch = 34 }
"""
PARTS = """
[parts.neck]
make = "neck"
board = "maple"
height = 52

[parts.board]
make = "fretboard"
board = "maple"
height = 58

[parts.frets]
make = "frets"

[parts.dots]
make = "markers"
material = "pearl"

[parts.nut]
make = "nut"

[parts.pickup]
make = "pickup"
kind = "double"
at = 230

[parts.bridge]
make = "bridge"
kind = "plate"
material = "chrome"

[parts.knob]
make = "knobs"
at = [200, 250]
material = "brass"

[parts.guard]
outline = "wren.svg#guard"
material = "plastic"
colour = "#202020"

[parts.tuners]
make = "tuners"
second = "plastic"
second_colour = [86, 1.5, 12]

[parts.pin]
make = "strap pins"
at = [150, 310]

[parts.lid]
make = "plate"
side = "back"
at = [150, 220, 15]
size = [60, 40]

[parts.strings]
make = "strings"
"""


@pytest.fixture
def whole(good):
    """The good scene with a neck and hardware, on a board long enough."""
    text = good.replace("mm_per_pixel = 2\n", "mm_per_pixel = 4\n").replace("\n[variants.plain]", f"{PARTS}\n[variants.plain]")
    text = text.replace("\nat = [140, 240]", "").replace("[boards.maple]", f"{NECK}\n[boards.maple]")
    # The anchor of the top was given for the smaller board.
    return text


@pytest.fixture
def made(folder, whole):
    (folder / "wren.toml").write_text(whole)
    return load_scene(folder / "wren.toml")


def by_part(scene):
    found: dict[str, list] = {}
    for piece in scene.order:
        found.setdefault(piece.part if isinstance(piece, Fitting) else piece.name, []).append(piece)
    return found


def test_everything_is_made_in_file_order(made):
    names = list(by_part(made))
    assert names == ["body", "top", "neck", "board", "frets", "dots", "nut", "pickup", "bridge", "knob", "guard", "tuners", "pin", "lid", "strings"]
    assert [p.name for p in made.parts] == ["body", "top", "neck", "board"]
    assert len({p.name for p in made.order}) == len(made.order)
    assert all(p.material.name in ("steel", "wound steel", "shade", "nickel", "chrome", "brass", "pearl", "bone", "black", "plastic")
               for p in made.fittings)


def test_what_is_made_stands_on_what_lies_under_it(made):
    found = by_part(made)
    top, board = found["top"][0], found["board"][0]
    assert found["bridge"][0].height == pytest.approx(top.height + 2.4)
    assert all(f.height > board.height for f in found["frets"] + found["nut"])
    assert max(f.height for f in found["strings"]) > max(f.height for f in found["frets"])
    lid = found["lid"][0]
    assert lid.side == "back" and lid.below < 0
    assert {f.side for f in found["tuners"]} == {"front", "back", "both"}
    pin = found["pin"][0].shape.bounds
    assert pin[1] >= 300 - 1e-6 and pin[3] > 305  # it stands out of the body's lower edge, and starts there


def test_the_record_says_it_all_and_bodies_have_records_as_before(made, folder, good):
    plain = json.loads(json.dumps(made.resolved))
    assert plain["neck"]["scale"] == 420 and plain["fittings"]["bridge"] == {"make": "bridge", "kind": "plate", "material": "chrome"}
    assert plain["parts"]["neck"]["make"] == "neck"
    (folder / "wren.toml").write_text(good)
    body = load_scene(folder / "wren.toml")
    assert set(body.resolved) == {"scene", "variant", "boards", "parts"} and body.order == body.parts
    assert not {"make", "carve", "strips", "bevel"} & set(body.resolved["parts"]["body"])


def test_left_hand_mirrors_everything_made(folder, whole):
    (folder / "wren.toml").write_text(whole)
    right = load_scene(folder / "wren.toml")
    (folder / "wren.toml").write_text(whole.replace('hand = "right"', 'hand = "left"'))
    left = load_scene(folder / "wren.toml")
    for mine, other in zip(left.order, right.order, strict=True):
        assert mine.name == other.name and mine.height == pytest.approx(other.height), mine.name
        back = mine.shape.mirrored(left.centre)
        assert back.area == pytest.approx(other.shape.area, rel=1e-9)
        assert np.allclose(back.bounds, other.shape.bounds, atol=1e-6), mine.name
        for a, b in zip(getattr(mine, "rods", ()), getattr(other, "rods", ()), strict=True):
            assert np.allclose((2 * left.centre - a[0], a[1], 2 * left.centre - a[2], a[3], a[4]), b, atol=1e-6)


def test_strips_lie_in_the_wood_they_would_in_the_whole(folder, good):
    text = good.replace("[parts.top]", '[parts.core]\noutline = "wren.svg#body"\nboard = "maple"\nstrips = [[-20, 20]]\n'
                                       'at = [140, 240]\nturn = 3\nglue_lines = [0]\n\n[parts.top]')
    (folder / "wren.toml").write_text(text)
    body, core, _ = load_scene(folder / "wren.toml").parts
    assert core.shape.area == pytest.approx(40 * 200) and core.whole.area == body.shape.area
    assert core.placement == body.placement and core.lines == (150,)


ONE = [
    ("strings = 4", "strings = 12",
     "neck.strings: 12 strings on a nut 34 mm wide stand 2.5 mm apart. Widen nut_width to 62 or more, or take fewer strings."),
    ("strings = 4", "strings = 5\npairs = 2", "neck.strings: There are 5 strings in pairs. Use an even number, or take pairs out."),
    ("nut_width = 34", "nut_width = 34\nnut_spread = 40", "neck.nut_spread: The outer strings are 40 mm apart on a nut 34 mm wide."),
    ("scale = 420", "scale = [420, 410, 400]", "neck.scale: Scale is a list of 3. Use 1 to 2 numbers"),
    ("scale = 420\n", "", "neck.scale: Scale is missing. Add scale = the length in mm, or [lowest, highest] for slanted frets."),
    ("scale = 420", 'scale = "16 in"', 'neck.scale.1: Number is "16 in", in quotes. Write 406.4, without quotes; lengths are in mm.'),
    ("left = 2, right = 2", "left = 2, right = 3", "neck.tuners: There are 2 tuners on the left and 3 on the right for 4 strings."),
    ("length = 120", "length = 62", "neck.tuners: The head ends before its last tuner."),
    ("length = 120", "lenght = 120", 'neck.head.lenght: There is no key "lenght" here. Did you mean "length"?'),
    ('make = "bridge"', 'make = "brigde"', 'parts.bridge.make: Make is "brigde". Did you mean "bridge"?'),
    ('kind = "plate"', 'kind = "plank"', 'parts.bridge.kind: Kind is "plank". Did you mean "plate"?'),
    ('material = "chrome"', 'material = "crome"', 'parts.bridge.material: Material is "crome". Did you mean "chrome"?'),
    ('material = "chrome"', 'material = "chrome"\ncolour = "#ffffff"', 'parts.bridge.colour: "chrome" has a colour of its own.'),
    ('make = "bridge"', 'make = "bridge"\nboard = "maple"', "parts.bridge.board: A bridge is not made of a board."),
    ('make = "bridge"', 'make = "bridge"\noutline = "wren.svg#top"', "parts.bridge: The part has both make and outline."),
    ("at = [200, 250]", "at = [200]", "parts.knob.at: At is a list of 1. Use a list of points, as [[x, y], …], at most 60."),
    ("at = [200, 250]\n", "", "parts.knob.at: At is missing. Say where, as at = [[x, y]]."),
    ("at = [150, 310]", "at = [1500, 310]", "parts.pin.at.1: No wood is within 60 mm."),
    ("size = [60, 40]", "size = [60]", "parts.lid.size: Size is a list of 1."),
    ('make = "neck"', 'make = "neck"\nbevel = -1', "parts.neck.bevel: Bevel is -1. Use 0 (none) to 60 mm."),
    ("height = 44", "height = 44\ncarve = { reach = 60 }", "parts.body.carve.rise: Rise is missing."),
    ("height = 44", 'height = 44\ncontours = [{ outline = "wren.svg#tpo", depth = 9 }]',
     'parts.body.contours.1.outline: There is no outline with the id "tpo" in wren.svg. Did you mean "top"?'),
    ("size = [60, 40]", "size = [60, 40]\ndepth = 9", 'parts.lid.depth: There is no key "depth" here.'),
    ("[parts.frets]", '[parts.hole]\nmake = "cavity"\nat = [[200, 250, 0]]\nsize = [40, 30]\ndepth = 300\n\n[parts.frets]',
     "parts.hole.depth: Depth is 300. Use 1 to 80 mm."),
    ("[parts.frets]", '[parts.hole]\nmake = "cavity"\nat = [[200, 250, 0]]\n\n[parts.frets]', "parts.hole.size: Size is missing. Add size = [width, height] in mm."),
    ("[parts.frets]", '[parts.jack]\nmake = "jack"\n\n[parts.frets]',
     "parts.jack.at: At is missing. Say where on the edge, as at = [[x, y]]; the jack goes to the nearest edge."),
    ("height = 44", "height = 44\nbinding = { width = 2, colour = [86, 1, 12], purfling = 3 }",
     "parts.body.binding.purfling: Purfling is 3. Use 1 to 9 lines from the binding inward, as [{ width = 0.5"),
    ("height = 44", "height = 44\nbinding = { width = 2, colour = [86, 1, 12], line = 0.5, purfling = [{ width = 0.5, colour = [20, 0, 0] }] }",
     "parts.body.binding.line: The binding has both line and purfling. Give it one of them."),
    ("height = 44", "height = 44\nbinding = { width = 2, colour = [86, 1, 12], purfling = [{ width = 0, colour = [20, 0, 0] }] }",
     "parts.body.binding.purfling.1.width: Width is 0. Use 0.1 to 5 mm."),
    ("height = 44", "height = 44\nstrips = [[300, 320]]", "parts.body.strips: No strip crosses the part. It spans -100 to 100 mm from the centre line."),
]


@pytest.mark.parametrize(("old", "new", "words"), ONE, ids=[f"{n}-{w[:36]}" for n, (_, _, w) in enumerate(ONE)])
def test_one_mistake_gives_one_line(told, whole, old, new, words):
    lines = told((old, new), text=whole)
    assert len(lines) == 1, lines
    assert lines[0].startswith("wren.toml: ") and words in lines[0]


def test_cavities_pockets_and_jacks(folder, whole):
    """What is cut into the wood lies below its face, from either side; a pocket is as wide as the neck and its gap."""
    for hand in ("right", "left"):
        text = whole.replace('hand = "right"', f'hand = "{hand}"').replace("[parts.neck]\nmake", """[parts.pocket]
make = "neck pocket"
depth = 15

[parts.hole]
make = "cavity"
at = [[200, 250, 90]]
size = [40, 30]
depth = 28

[parts.guard-route]
outline = "wren.svg#guard"
colour = [40, 10, 20]
depth = 6

[parts.jack]
make = "jack"
at = [[245, 200]]

[parts.neck]
make""", 1)
        (folder / "wren.toml").write_text(text)
        scene = load_scene(folder / "wren.toml")
        of = {f.name: f for f in scene.fittings}
        body, face = scene.parts[0], max(p.height for p in scene.parts if p.name in ("body", "top"))
        flip = (lambda x: x) if hand == "right" else (lambda x: 2 * scene.centre - x)
        pocket, hole, route, jack = of["pocket"], of["hole"], of["guard-route"], of["jack"]
        assert (pocket.side, pocket.height) == ("front", face - 15) and pocket.material.name == "shielding paint"
        assert (hole.side, hole.below) == ("back", body.below + 28)
        x0, y0, x1, y1 = hole.shape.bounds
        assert (x1 - x0, y1 - y0) == pytest.approx((30, 40)) and (x0 + x1) / 2 == pytest.approx(flip(200))
        assert route.height == face - 6 and route.material.lab == (40, 10, 20)
        assert route.edge.roundover == 0  # a floor's edge stands in a corner
        neck = next(p for p in scene.parts if p.name == "neck")
        assert pocket.shape.bounds[3] == pytest.approx(neck.shape.bounds[3] + 0.2, abs=1e-3)
        assert pocket.shape.bounds[1] == pytest.approx(body.shape.bounds[1], abs=1e-6)
        # The jack stands out of the right flank of the drawing, at its height.
        x0, y0, x1, y1 = jack.shape.bounds
        assert abs(flip(250) - (x0 if hand == "right" else x1)) < 1e-6 and (y0 + y1) / 2 == pytest.approx(200)
    (folder / "wren.toml").write_text(whole.replace("[parts.body]", '[parts.pocket]\nmake = "neck pocket"\n\n[parts.body]', 1))
    with pytest.raises(MockupError, match=r"The neck ends at y = \d+ and reaches no body below. List the pocket after the body it is cut in"):
        load_scene(folder / "wren.toml")


def test_purfling_is_read_and_recorded(folder, good):
    lines = "purfling = [{ width = 0.5, colour = [15, 0, 0] }, { width = 0.8, colour = [90, 0, 4] }, { width = 0.5, colour = [15, 0, 0] }]"
    (folder / "wren.toml").write_text(good.replace("line = 0.5", lines))
    scene = load_scene(folder / "wren.toml")
    binding = scene.parts[1].binding
    assert [w for w, _ in binding.purfling] == [0.5, 0.8, 0.5] and binding.purfling[1][1] == (90, 0, 4)
    assert binding.depth == pytest.approx(2.2 + 1.8)
    assert [p["width"] for p in scene.resolved["parts"]["top"]["binding"]["purfling"]] == [0.5, 0.8, 0.5]


def test_a_fretboard_wider_than_its_neck_is_told(told, whole):
    lines = told(('[parts.neck]\nmake = "neck"', '[parts.neck]\noutline = "wren.svg#narrow"'), text=whole)
    assert lines == ["wren.toml: parts.board: The fretboard is 34.2 mm wide at y = -154, and the neck under it 30.0. "
                     "Widen the neck, or make nut_width and heel_width smaller."]


@pytest.mark.parametrize("make", ["neck", "fretboard", "frets", "strings", "pickup"])
def test_what_needs_a_neck_says_so(told, good, make):
    at = "\nat = 200" if make == "pickup" else ""
    lines = told(("[parts.top]", f'[parts.extra]\nmake = "{make}"{at}\n\n[parts.top]'), text=good)
    assert len(lines) == 1 and "Describe scale, strings and frets first, under [neck]." in lines[0], lines


def test_parts_of_wood_and_fittings_are_told_apart(made):
    assert all(isinstance(p, (Part, Fitting)) for p in made.order)
    assert made.fittings == tuple(p for p in made.order if not isinstance(p, Part))


def test_variants_share_what_they_do_not_change_and_make_anew_what_they_do(folder, whole):
    text = whole + """
[variants.calm]
[variants.calm.set]
"parts.body.sheen" = 60

[variants.thick]
[variants.thick.set]
"parts.body.height" = 60
"parts.top.height" = 61

[variants.gold]
[variants.gold.set]
"parts.bridge.material" = "gold-coloured"

[variants.wide]
[variants.wide.set]
"neck.spread" = 40

[variants.lefty]
[variants.lefty.set]
"scene.hand" = "left"
"""
    (folder / "wren.toml").write_text(text)
    scene = load_scene(folder / "wren.toml")
    of = {name: {f.name: f for f in scene.with_variant(name).fittings} for name in ("calm", "thick", "gold", "wide", "lefty")}
    base = {f.name: f for f in scene.fittings}
    assert of["calm"] == base
    assert of["thick"]["pickup"].height == base["pickup"].height + 16 and of["thick"]["frets"].height == base["frets"].height
    assert of["gold"]["bridge"].material.name == "gold-coloured" and of["gold"]["frets"] is base["frets"]
    assert of["wide"]["strings.2"].shape.bounds != base["strings.2"].shape.bounds
    centre = scene.centre
    assert of["lefty"]["knob"].shape.bounds[0] == pytest.approx(2 * centre - base["knob"].shape.bounds[2])
    # Each variant alone, in a file of its own, is the same.
    for name in of:
        text_alone = text.replace("[variants.", "[variants.x-").replace(f"[variants.x-{name}", f"[variants.{name}")
        alone = load_scene_text(folder, text_alone, name)
        for key, fitting in of[name].items():
            assert (fitting.height, fitting.below, fitting.material) == (alone[key].height, alone[key].below, alone[key].material)
            for a, b in zip(fitting.shape.rings, alone[key].shape.rings, strict=True):
                assert np.array_equal(a, b)


def test_a_head_in_a_drawing_of_its_own_is_a_source_of_every_variant(folder, whole):
    (folder / "head.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="400mm" viewBox="0 -400 300 400">'
                                     '<path id="head" d="M 120 -290 L 180 -290 L 180 -160 L 120 -160 Z"/></svg>')
    text = whole.replace("head = { length = 120, width = 60 }", 'head = "head.svg#head"')
    (folder / "wren.toml").write_text(text + '\n[variants.calm]\n[variants.calm.set]\n"parts.body.sheen" = 60\n')
    assert "head.svg" in load_scene(folder / "wren.toml").with_variant("calm").sources


def load_scene_text(folder, text, name):
    """The fittings of one variant of a scene that has no other."""
    head, *tables = text.split("[variants.")
    own = "".join(f"[variants.{t}" for t in tables if t.startswith((f"{name}]", f"{name}.set]")))
    (folder / "alone.toml").write_text(head + own)
    return {f.name: f for f in load_scene(folder / "alone.toml").with_variant(name).fittings}
