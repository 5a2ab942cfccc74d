"""Changes to the text of a scene: the values asked for, the remarks left where they stood."""

import tomllib

import pytest

from mockup.errors import MockupError
from mockup.scene.lines import line_of
from mockup.scene.places import builtin_scenes
from mockup.scene.rewrite import toml_value, with_order, with_values, with_variant, without

SCENES = {name: file.read_text() for name, file in builtin_scenes().items()}
TERN = SCENES["tern"]


def remarks(text):
    return [line[line.index("#"):] for line in text.splitlines() if "#" in line and '"#' not in line and '#' not in line.split("#")[0] and ".svg#" not in line]


@pytest.mark.parametrize("name", SCENES)
def test_values_change_and_remarks_stay(name):
    text = SCENES[name]
    data = tomllib.loads(text)
    for part in [p for p in data["parts"] if "finish" in data["parts"][p]]:
        values = {("parts", part, "sheen"): 33.5, ("parts", part, "at"): [10.25, 20.0], ("parts", part, "turn"): 90,
                  ("parts", part, "finish"): [*data["parts"][part]["finish"], {"coat": "oil", "coats": 2}]}
        changed = with_values(text, values)
        told = tomllib.loads(changed)
        for path, value in values.items():
            assert told["parts"][part][path[-1]] == value
            data["parts"][part][path[-1]] = value
        assert told == data
        assert remarks(changed) == remarks(text)
        text = changed


def test_a_step_takes_its_remark_along():
    steps = tomllib.loads(TERN)["variants"]["sea-blue"]["set"]["parts.top.finish"]
    path = ("variants", "sea-blue", "set", "parts.top.finish")
    turned = with_values(TERN, {path: [steps[1], steps[0], *steps[2:]]})
    rows = [line for line in turned.splitlines() if "sand_back = 0.6" in line]
    assert rows == ["  { sand_back = 0.6 },                          # leaves the black where it soaked in"]
    deeper = with_values(TERN, {path: [steps[0], {"sand_back": 0.7}, *steps[2:]]})
    assert "  { sand_back = 0.7 },                          # leaves" in deeper
    assert with_values(turned, {path: steps}) == TERN


def test_what_is_missing_is_made_where_it_belongs():
    changed = with_values(TERN, {("variants", "honey", "set", "parts.top.sheen"): 12})
    assert 'suits the mahogany back."\n[variants.honey.set]\n"parts.top.sheen" = 12\n# No change' in changed.replace("\n\n[variants.honey.set]", "\n[variants.honey.set]")
    changed = with_values(TERN, {("boards", "spare", "texture"): "walnut-1"})
    assert '[boards.rosewood]\ntexture = "rosewood-1"\n\n[boards.spare]\ntexture = "walnut-1"\n' in changed


def test_variants_come_go_and_move():
    more = with_variant(TERN, "night", 'The "night" one', "Dark.", {"parts.top.sheen": 5, "parts.top.finish": [{"stain": "black"}]})
    night = tomllib.loads(more)["variants"]["night"]
    assert night == {"title": 'The "night" one', "why": "Dark.", "set": {"parts.top.sheen": 5, "parts.top.finish": [{"stain": "black"}]}}
    assert without(more, ("variants", "night")).rstrip() == TERN.rstrip()
    order = list(tomllib.loads(TERN)["variants"])
    turned = with_order(TERN, order[::-1])
    assert list(tomllib.loads(turned)["variants"]) == order[::-1]
    assert sorted(remarks(turned)) == sorted(remarks(TERN))
    with pytest.raises(MockupError, match="does not name each variant once"):
        with_order(TERN, order[1:])


@pytest.mark.parametrize("text", [
    'parts = { top = { sheen = 3, finish = [] } }\n',
    'parts.top.sheen = 3\nparts.top.title = "A # in it"\n',
    '[parts]\n[parts.top]\r\nsheen = 3 # dull\r\n[parts.back]\r\nsheen = 4\r\n',
    '[parts."top"]\ntitle = """\n[parts.top]\nsheen = 1\n"""\nsheen = 3',
    '\ufeff[parts.top]\nlist = [\n[1, 2],\n[3, 4],\n]\nsheen = 3',
])
def test_however_the_file_is_written(text):
    """Either the value, and only it, has changed, or nothing has."""
    before = tomllib.loads(text.removeprefix("\ufeff"))
    for key, value in (("sheen", 7), ("turn", 1.5)):
        changed = with_values(text, {("parts", "top", key): value})
        before["parts"]["top"][key] = value
        assert tomllib.loads(changed.removeprefix("\ufeff")) == before
        assert changed.startswith("\ufeff") == text.startswith("\ufeff")
        text = changed
    assert ("# dull" in changed) == ("# dull" in text)


@pytest.mark.parametrize("value, text", [(True, "true"), (12.0, "12"), (0.125, "0.125"), (-0.0, "0"), ({"stain": "amber", "strength": 0.7},
                                         '{ stain = "amber", strength = 0.7 }'), ([1, 2.5], "[1, 2.5]"), ('say "yes"', '"say \\"yes\\""')])
def test_values_are_written_plainly(value, text):
    assert toml_value(value) == text
    assert tomllib.loads(f"x = {text}")["x"] == value


@pytest.mark.parametrize("path, line", [
    ("parts.top.finish.1.strength", '  { stain = "honey", strength = 0.75 },'),
    ("parts.top.sheen", "sheen = 80"),
    ("variants.sea-blue.set.parts.top.finish.2", "  { sand_back = 0.6 },                          # leaves the black where it soaked in"),
    ("neck.spread", "spread = 37                    # outer strings at the bridge"),
    ("parts.top.nothing", "[parts.top]"),
])
def test_the_line_of_a_value(path, line):
    number = line_of(TERN, path.split("."))
    assert TERN.splitlines()[number - 1] == line
    assert line_of(TERN, ("elsewhere", "x")) is None
