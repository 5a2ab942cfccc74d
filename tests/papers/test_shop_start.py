"""The shop's file to begin with."""

import tomllib

import pytest

from mockup.papers.parts_at_hand import gate
from mockup.papers.shop_file import read_shop
from mockup.papers.shop_start import shop_start
from mockup.scene.load import load_scene
from mockup.scene.places import builtin_scenes


@pytest.mark.parametrize("name", sorted(builtin_scenes()))
def test_it_reads_without_a_mistake_and_keeps_the_gate_shut(name, tmp_path):
    import shutil

    shutil.copytree(builtin_scenes()[name].parent, tmp_path / name)
    scene = load_scene(tmp_path / name / f"{name}.toml")
    (tmp_path / name / "shop.toml").write_text(shop_start(scene))
    shop = read_shop(scene)
    assert len({f.name for f in shop.fittings}) == len(shop.fittings)
    if any(f.part for f in shop.fittings):
        assert not gate(scene, shop, ()).ready
        text = shop_start(scene).replace("# measured", "measured")
        (tmp_path / name / "shop.toml").write_text(text)
        assert gate(scene, read_shop(scene), ()).ready


@pytest.mark.parametrize("name", ["tern", "gannet"])
def test_no_size_of_wood_can_be_left_as_it_was_suggested(name, tmp_path):
    """A thickness that nobody measured, with its # taken away, is refused: it would say "ready to cut"."""
    import shutil

    from mockup.errors import MockupError

    shutil.copytree(builtin_scenes()[name].parent, tmp_path / name)
    scene = load_scene(tmp_path / name / f"{name}.toml")
    text = shop_start(scene)
    head, _, rest = text.partition("# Common practice")
    for key in ("thickness", "length", "width"):
        head = head.replace(f"# {key} = ", f"{key} = ")
    (tmp_path / name / "shop.toml").write_text(head.replace("# [", "[") + "# Common practice" + rest)
    with pytest.raises(MockupError) as told:
        read_shop(scene)
    assert "thickness is 0" in str(told.value).lower() and "Use " in str(told.value)


def test_hardware_comes_with_its_drawn_size():
    data = tomllib.loads(shop_start(load_scene("heron")))
    cover = data["fittings"]["cover"]
    # The scene says: a plate of 56 x 98 mm at 100, 342, not turned, on the back.
    assert (cover["listed"], cover["at"], cover["side"]) == ({"length": 98.0, "width": 56.0}, [100.0, 342.0], "back")
    assert cover.get("turn", 0) == pytest.approx(0, abs=0.2)
    assert data["fittings"]["neck-pickup"]["let_in"] and data["fittings"]["knobs-1"]["listed"] == {"diameter": 17.0}
    assert "strings" not in data["fittings"]


def test_hardware_of_the_back_lies_on_what_is_seen_there():
    """Ferrules stand on the body's back, whatever lies over the neck pocket in front; a jack in the edge is not seen from its face at all."""
    data = tomllib.loads(shop_start(load_scene("tern")))["fittings"]
    assert {data[f"ferrules-{k}"]["part"] for k in range(1, 5)} == {"body"} and data["cover"]["part"] == "body"
    assert data["nut"]["part"] == "neck" and data["bridge"]["part"] == "top"
    assert "jack" not in data


def test_a_scene_without_hardware_says_so():
    assert tomllib.loads(shop_start(load_scene("gannet")))["bought"] == "none"
