"""The scenes and the starter that travel with the program are good, and teach what they promise."""

import tomllib

import pytest

from mockup.errors import MockupError
from mockup.finish.words import finish_warnings
from mockup.render.placement import missing_wood
from mockup.scene import places
from mockup.scene.library import texture, textures
from mockup.scene.load import load_scene
from mockup.scene.places import builtin_scenes, scenes_folder, textures_folder
from mockup.scene.starter import starter_files


def all_views(scene):
    return [scene, *(scene.with_variant(v.name) for v in scene.variants)]


def test_the_two_demo_scenes_are_built_in():
    assert {"tern", "heron"} <= set(builtin_scenes())
    assert scenes_folder().name == "scenes" and textures_folder().name == "textures"


@pytest.mark.parametrize("home", ["mockup", "."])
def test_folders_are_found_in_a_wheel_and_in_a_checkout(tmp_path, monkeypatch, home):
    """A wheel carries scenes/ inside the package, a checkout beside it."""
    wanted = tmp_path / home / "scenes" / "wren"
    wanted.mkdir(parents=True)
    (wanted / "wren.toml").touch()
    (wanted / "notes.toml").touch()
    (tmp_path / "mockup").mkdir(exist_ok=True)
    monkeypatch.setattr(places, "PACKAGE", tmp_path / "mockup")
    assert builtin_scenes() == {"wren": wanted / "wren.toml"}
    with pytest.raises(MockupError, match='The folder "textures" .* is missing. Install the program again.'):
        textures_folder()


NAMES = ["tern", "heron", "bittern", "dunlin"]


@pytest.mark.parametrize("name", NAMES)
def test_demo_scene_loads_with_three_reasoned_variants(name):
    scene = load_scene(name)
    assert scene.name == name and scene.file == builtin_scenes()[name]
    assert len(scene.variants) >= 3 and all(v.why.endswith(".") for v in scene.variants)
    assert len({v.title for v in scene.variants}) == len(scene.variants)
    for view in all_views(scene):
        assert [w for part in view.parts for w in finish_warnings(part.finish)] == []


def test_what_each_demo_shows():
    """A bookmatched top, a fretless neck without a head, one single piece, a left-handed one with slanted frets."""
    tern, heron, bittern, dunlin = (load_scene(name) for name in NAMES)
    of = {scene.name: {p.name: p for p in scene.parts} for scene in (tern, heron, bittern, dunlin)}
    assert of["tern"]["top"].placement.cut == "bookmatch" and of["tern"]["top"].binding is not None
    assert [p.name for p in bittern.parts] == ["body", "fretboard"] and of["bittern"]["body"].placement.cut == "single"
    assert {"core", "neck-stripes"} <= set(of["heron"]) and "frets" not in {f.part for f in heron.fittings}
    assert dunlin.hand == "left" and of["dunlin"]["top"].form.dome > 0
    for scene, strings in ((tern, 4), (heron, 5), (bittern, 6), (dunlin, 8)):
        # Each string is one ring of the two pieces, wound and plain, that strings are made as.
        assert sum(len(f.shape.rings) for f in scene.fittings if f.part == "strings" and f.rods) == strings
        assert scene.centre == 0


@pytest.mark.parametrize("name", NAMES)
def test_every_demo_part_fits_on_its_board_with_its_grain_along_it(name):
    """As ``Placement`` says: of two matched pieces the wider lies right of the joint, a single one about the middle."""
    scene = load_scene(name)
    for part in scene.parts:
        if part.whole is not None:  # of a larger whole only what is seen of it need lie on the board, either end up
            assert not missing_wood(part, part.shape, scene.boards[part.board].size_mm, part.board) and part.placement.turn % 180 == 0
            continue
        (x0, y0, x1, y1), place = part.shape.bounds, part.placement
        board = scene.boards[part.board]
        assert abs(place.turn) < 5 and abs(place.turn - (board.grain - 90)) < 0.1
        half, tall = (x1 - x0) / 2, (y1 - y0) / 2
        left, right = (half, half) if place.cut == "single" else (0, max(place.joint - x0, x1 - place.joint))
        assert 0 <= place.at[0] - left and place.at[0] + right <= board.size_mm[0], part.name
        assert 0 <= place.at[1] - tall and place.at[1] + tall <= board.size_mm[1], part.name


def test_starter_is_a_scene_of_its_own(tmp_path):
    files = starter_files()
    assert list(files) == ["scene.toml", "body.svg"]
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    scene = load_scene(tmp_path)
    assert len(scene.variants) == 3 and len(scene.parts) == 1
    assert set(scene.sources) >= set(files)


def test_every_key_shown_as_a_remark_in_the_starter_is_a_good_one(tmp_path):
    """A maker takes the # off a line; that line must then be right."""
    files = starter_files()
    text = files["scene.toml"].decode()
    opened = []
    for line in text.splitlines():
        bare = line.strip().removeprefix("# ")
        value = bare.split("#")[0].rstrip() if '"#' not in bare else bare
        if line.strip().startswith("# ") and (" = " in value and not value.startswith("photo") or value.startswith("{")):
            line = bare
        opened.append(line)
    spoiled = "\n".join(opened)
    # The second board is remarked as a whole: it needs a photograph that a starter has not.
    spoiled = "\n".join(row for row in spoiled.splitlines()
                        if not row.startswith(("mm_per_pixel", "wood =", "actual =", "grain =")))
    tomllib.loads(spoiled)
    (tmp_path / "body.svg").write_bytes(files["body.svg"])
    (tmp_path / "scene.toml").write_text(spoiled)
    scene = load_scene(tmp_path)
    assert scene.parts[0].binding is not None and scene.centre == 180 and len(scene.parts[0].finish.steps) == 5


def test_textures_are_whole_and_indicative():
    assert {"flame-maple-1", "mahogany-1", "swamp-ash-1"} <= set(textures())
    for name, file in textures().items():
        wood = texture(file)
        assert wood.picture.is_file() and wood.wood and 0.02 < wood.mm_per_pixel < 1, name
        assert tomllib.loads(file.read_text())["actual"] is False
