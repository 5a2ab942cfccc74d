"""A good file becomes the values it says, with the promised defaults."""

import json

import numpy as np
import pytest

from mockup.errors import MockupError
from mockup.finish.steps import Burst, Coat, Paint, SandBack, StainStep
from mockup.papers.describe import wood_sentence
from mockup.scene.library import films, stains
from mockup.scene.load import load_scene
from mockup.scene.values import Variant


def parts_of(scene):
    return {part.name: part for part in scene.parts}


def test_every_value_of_the_file_arrives(folder):
    scene = load_scene(folder / "wren.toml")
    assert (scene.name, scene.title, scene.revision, scene.client) == ("wren", "Wren", "A", "")
    assert (scene.date, scene.hand, scene.ground, scene.centre) == ("2026-11-25", "right", (88, 0, 0), 150)
    assert [p.name for p in scene.parts] == ["body", "top"]
    body, top = scene.parts
    assert (body.title, body.height, body.side, body.binding, body.finish.steps) == ("Body", 44, "both", None, ())
    assert (body.placement.at, body.placement.turn, body.placement.cut) == ((140, 240), 3, "single")
    stain, sand, burst, coat, paint = top.finish.steps
    assert stain == StainStep(stain=stains()["amber"].value, strength=0.7)
    assert sand == SandBack(amount=0.4)
    assert burst == Burst(stain=stains()["tobacco"].value, strength=0.8, width=70, edge=8)
    assert coat == Coat(film=films()["oil varnish"].value, coats=4)
    assert paint == Paint(lab=(40, 30, 20), cover=0.6, words="smoke")
    assert top.finish.sheen == 85 and body.finish.sheen == 20
    assert (top.binding.width, top.binding.lab, top.binding.line) == (2.2, (86, 1.5, 12), 0.5)


def test_board_is_measured_from_its_picture(folder):
    board = load_scene(folder / "wren.toml").boards["maple"]
    assert board.size_mm == (300, 500) and board.actual and board.wood == "flame maple"
    assert board.grain == 90  # along the long side
    assert board.path.name == "maple.png"


@pytest.mark.parametrize("beside, sentence", [
    (None, " Its colour is as the camera showed it, not measured."), ('[quality]\ncolour_basis = "nothing"', " Its colour is as the camera showed it, not measured."),
    ('[quality]\ncolour_basis = "grey card"', ""), ("", ""),
])
def test_a_client_is_told_when_nothing_measured_the_boards_colour(folder, beside, sentence):
    """Left out for a board with a record that says what its colour rests on, and for a drawn one, whose record has no verdict."""
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace('wood = "flame maple"\n', "", 1))
    if beside is None:
        file.write_text(file.read_text().replace("mm_per_pixel = 2\n", 'mm_per_pixel = 2\nwood = "flame maple"\n'))
    else:
        (folder / "maple.toml").write_text(f'mm_per_pixel = 2\nwood = "flame maple"\nactual = true\n{beside}\n')
    assert wood_sentence(load_scene(file)) == "The wood shown is the actual board." + sentence


@pytest.mark.parametrize("beside, measured", [
    ('mm_per_pixel = 2\nwood = "flame maple"\nactual = true\n[quality]\ncolour_basis = "nothing"', False),
    ('mm_per_pixel = 2\nwood = "flame maple"\nactual = true\n[quality]\ncolour_basis = "grey card"', True),
    ('[shop]\nof = "another file of that name"', False),
    ("this is no table", False),
])
def test_a_scene_that_says_all_of_its_board_does_not_make_it_measured(folder, beside, measured):
    (folder / "maple.toml").write_text(beside + "\n")
    scene = load_scene(folder / "wren.toml")
    assert scene.boards["maple"].unmeasured is not measured and "maple.toml" not in scene.sources


def test_matched_halves_lie_in_the_middle_of_the_board(folder):
    """The wider half is 92 mm (60 to the joint at 152) and lies right of the joint: that is 46 mm left of the middle."""
    top = parts_of(load_scene(folder / "wren.toml"))["top"]
    assert top.placement.joint == 152 and top.placement.at == (150 - 46, 250)


@pytest.mark.parametrize(("turn", "at"), [(0, (104, 245)), (90, (155, 204)), (180, (196, 255))])
def test_matched_halves_stay_in_the_middle_when_turned_and_slipped(folder, turn, at):
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace("joint = 152", f"joint = 152\nturn = {turn}\nslip = 10"))
    assert parts_of(load_scene(file))["top"].placement.at == pytest.approx(at)


def test_single_piece_lies_in_the_middle_of_the_board(folder):
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace("at = [140, 240]\nturn = 3\n", ""))
    body = parts_of(load_scene(file))["body"]
    assert body.placement.at == (150, 250) and body.placement.turn == 0


@pytest.mark.parametrize(("grain", "turn"), [(0, 90), (90, 0), (88, -2), (-90, 0), (45, -45), (180, 90)])
def test_turn_left_out_lays_the_grain_along_the_drawing(folder, grain, turn):
    """The drawing's y axis, turned clockwise by ``turn``, is the grain's direction on the board."""
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace("turn = 3\n", "").replace("actual = true", f"actual = true\ngrain = {grain}"))
    found = parts_of(load_scene(file))["body"].placement.turn
    assert found == turn
    along = np.array([-np.sin(np.radians(found)), np.cos(np.radians(found))])
    wood = np.array([np.cos(np.radians(grain)), np.sin(np.radians(grain))])
    assert abs(along @ wood) == pytest.approx(1)


def test_left_hand_mirrors_outline_and_joint_and_leaves_the_board(folder):
    right = load_scene(folder / "wren.toml")
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace('hand = "right"', 'hand = "left"\ncentre = 160'))
    left = load_scene(file)
    for mine, other in zip(left.parts, right.parts, strict=True):
        x0, y0, x1, y1 = other.shape.bounds
        assert mine.shape.bounds == pytest.approx((320 - x1, y0, 320 - x0, y1))
        assert mine.placement.turn == other.placement.turn
    assert left.parts[0].placement.at == right.parts[0].placement.at
    assert left.parts[1].placement.joint == 320 - 152


def test_variant_changes_only_what_it_names(folder):
    scene = load_scene(folder / "wren.toml")
    assert scene.variant is None and [v.name for v in scene.variants] == ["plain", "red"]
    red = scene.with_variant("red")
    assert isinstance(red.variant, Variant) and red.variant.why == "It is red."
    assert red.variants == scene.variants
    top, was = parts_of(red)["top"], parts_of(scene)["top"]
    assert top.finish.steps[0].stain.name == "red" and top.finish.steps[0].strength == 0.7
    assert top.finish.steps[1:5] == was.finish.steps[1:] and top.finish.steps[5].film.name == "shellac"
    assert parts_of(red)["body"].finish.sheen == 5 and parts_of(scene)["body"].finish.sheen == 20
    back = red.with_variant("plain")  # starts from the file, not from red
    assert parts_of(back)["top"].finish == was.finish and back.variant.name == "plain"


def test_unknown_variant_offers_the_nearest(folder):
    with pytest.raises(MockupError) as caught:
        load_scene(folder / "wren.toml").with_variant("rd")
    assert str(caught.value) == 'wren.toml: There is no variant "rd". Did you mean "red"?'


def test_resolved_is_plain_whole_and_the_same_each_time(folder):
    scene = load_scene(folder / "wren.toml").with_variant("red")
    text = json.dumps(scene.resolved, allow_nan=False, sort_keys=True)
    assert json.loads(text) == scene.resolved
    assert text == json.dumps(load_scene(folder / "wren.toml").with_variant("red").resolved, sort_keys=True)
    assert str(folder) not in text
    top = scene.resolved["parts"]["top"]
    assert top["finish"][0]["values"]["absorb"] == list(stains()["red"].value.absorb)
    assert top["roundover"] == 3 and top["slip"] == 0 and top["outline"] == "wren.svg#top"
    assert scene.resolved["variant"]["name"] == "red"
    assert scene.resolved["boards"]["maple"]["picture"] == "maple.png"


def test_sources_name_every_file_read_and_no_other(folder):
    scene = load_scene(folder / "wren.toml")
    assert set(scene.sources) == {"wren.toml", "wren.svg", "maple.png", "stain:amber", "stain:tobacco", "film:oil varnish"}
    assert all(path.is_file() for path in scene.sources.values())
    assert {"stain:red", "film:shellac"} <= set(scene.with_variant("red").sources)
    assert "stain:amber" not in scene.with_variant("red").sources


def test_scene_and_its_parts_are_frozen(folder):
    scene = load_scene(folder / "wren.toml")
    for value, name in ((scene, "title"), (scene.parts[0], "height"), (scene.parts[0].placement, "turn")):
        with pytest.raises(AttributeError):
            setattr(value, name, 1)
    with pytest.raises(TypeError):
        scene.boards["x"] = None


def test_hex_colour_is_read_as_srgb(folder):
    """#DEB887 = 222 184 135 is Lab 77.017 7.054 30.022 (computed with the matrix of IEC 61966-2-1)."""
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace("ground = [88, 0, 0]", 'ground = "#DEB887"'))
    assert load_scene(file).ground == pytest.approx((77.017, 7.054, 30.022), abs=0.03)


def test_byte_order_mark_and_dos_line_ends_are_no_matter(folder):
    file = folder / "wren.toml"
    plain = load_scene(file).resolved
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))
    assert load_scene(file).resolved == plain


def test_a_folder_stands_for_its_scene(folder):
    assert load_scene(folder).title == "Wren"  # wren/wren.toml
    (folder / "scene.toml").write_text((folder / "wren.toml").read_text().replace('"Wren"', '"Wren two"'))
    assert load_scene(folder).title == "Wren two"


def test_a_folder_of_ones_own_comes_before_the_built_in_scene_of_its_name(folder, monkeypatch):
    monkeypatch.chdir(folder.parent)
    (folder.parent / "tern").mkdir()
    assert load_scene("tern").title != "Wren"  # nothing in it but papers, perhaps
    folder.rename(folder.parent / "gannet")
    (folder.parent / "gannet" / "wren.toml").rename(folder.parent / "gannet" / "gannet.toml")
    assert load_scene("gannet").title == "Wren"


def test_library_names_may_be_written_loosely(folder):
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace('"oil varnish"', '"Oil_Varnish"'))
    assert load_scene(file).parts[1].finish.steps[3].film.name == "oil varnish"
