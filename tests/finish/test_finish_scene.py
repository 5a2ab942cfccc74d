"""Finish steps as a scene writes them, and a fitted stain named by its file."""

import json

import pytest

from mockup.errors import MockupError
from mockup.finish.steps import Burst, Coat, GrainFill, RubbedEdge, Stain, StainStep, Tint
from mockup.scene.library import films, stain_text, stains
from mockup.scene.load import load_scene

OLD = 'finish = [ { stain = "walnut brown", strength = 0.4 }, { coat = "oil", coats = 3 } ]'
FITTED = Stain(name="my blue", words="my blue dye", absorb=(5.1, 2.2, 0.61), uptake=1.3, bend=(0.9, 0.95, 1.0),
               basis="fitted on maple: held-out ΔE00 mean 0.7, 95 % 1.6, worst 2.4 over 60 patches", spread=1.6)


def steps_of(scene, finish):
    text = scene.read_text()
    assert OLD in text
    scene.write_text(text.replace(OLD, f"finish = [ {finish} ]"))
    loaded = load_scene(scene)
    part = next(p for p in loaded.parts if p.name == "body")
    return part.finish.steps, loaded


def test_every_kind_of_step(small_scene):
    steps, loaded = steps_of(small_scene, '{ stain = "amber" }, { fill = "clear" }, { fill = [22, 5, 6], amount = 0.8 }, '
                             '{ burst = "tobacco", rubbed = true }, { rubbed_edge = 5 }, { coat = "shellac" }, { tint = "red", strength = 0.3 }')
    assert [type(s) for s in steps] == [StainStep, GrainFill, GrainFill, Burst, RubbedEdge, Coat, Tint]
    assert steps[1].lab is None and steps[2].lab == (22, 5, 6) and steps[3].rubbed and steps[4].width == 5
    plain = loaded.resolved["parts"]["body"]["finish"]
    assert json.loads(json.dumps(plain)) == plain
    assert [next(iter(s)) for s in plain] == ["stain", "fill", "fill", "burst", "rubbed_edge", "coat", "tint"]


def test_a_fitted_stain_is_named_by_its_file(small_scene):
    (small_scene.parent / "my-blue.toml").write_text(stain_text(FITTED, "From a test board."), encoding="utf-8")
    steps, loaded = steps_of(small_scene, '{ stain = "my-blue.toml", strength = 0.5 }')
    assert steps[0].stain == FITTED
    assert loaded.sources["my-blue.toml"].name == "my-blue.toml"
    assert loaded.resolved["parts"]["body"]["finish"][0]["values"]["basis"].startswith("fitted on maple")


@pytest.mark.parametrize(("finish", "said"), [
    ('{ stain = "gone.toml" }', "does not exist"), ('{ stain = "../x.toml" }', "leads out of the scene's folder"),
    ('{ stain = "bad.toml" }', "absorb"), ('{ stain = "amber", strength = -0.2 }', "Strength is -0.2"), ('{ coat = "oil", coats = 200 }', "Coats is 200"),
    ('{ fill = "walnut" }', 'Use "clear"'), ('{ rubbed_edge = 900 }', "900"), ('{ tint = "amber", strength = 4 }', "Strength is 4"),
    ('{ burst = "amber", rubbed = 1 }', "Use true or false")])
def test_bad_steps_in_one_sentence(small_scene, finish, said):
    (small_scene.parent / "bad.toml").write_text('name = "x"\nwords = "x"\nabsorb = [1, 2]\nbasis = "x"\n')
    with pytest.raises(MockupError) as told:
        steps_of(small_scene, finish)
    assert len(told.value.problems) == 1 and said in str(told.value)


def test_library_values_say_how_sure_they_are():
    for name, entry in stains().items():
        assert (entry.value.spread >= 5) == (name != "natural")
    assert films()["water-borne"].value.spread < films()["oil varnish"].value.spread
