"""Whatever the file holds, the loader gives a Scene or a MockupError and nothing else."""

import math
import tomllib

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st


from mockup.errors import MockupError
from mockup.scene.change import paths
from mockup.scene.load import load_scene
from mockup.scene.values import Scene

LIGHT = settings(deadline=None, derandomize=True, max_examples=150,
                 suppress_health_check=[HealthCheck.function_scoped_fixture])

WORDS = st.sampled_from(["top", "body", "maple", "stain", "amber", "finish", "sheen", "width", "coat", "photo", "wren.svg#top",
                         "12 mm", "..", "", "\0", "nan", "1", "set", "single", "#ff0000", "texture", "é" * 30])
SCALARS = st.one_of(WORDS, st.text(max_size=12), st.booleans(), st.integers(), st.floats(), st.dates(), st.times(),
                    st.integers(-10**30, 10**30), st.floats(0, 1), st.integers(0, 100))
VALUES = st.recursive(SCALARS, lambda inner: st.one_of(
    st.lists(inner, max_size=4), st.dictionaries(st.one_of(WORDS, st.text(max_size=6)), inner, max_size=4)), max_leaves=8)


def toml(value) -> str:
    """One value as TOML, tables inline."""
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            return '"' + "".join(f"\\U{ord(c):08x}" for c in value if not 0xD800 <= ord(c) < 0xE000) + '"'
        case float():
            return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf") if math.isinf(value) else repr(value)
        case list():
            return "[" + ", ".join(map(toml, value)) + "]"
        case dict():
            # Names that only differ in what toml() drops would be written twice.
            named = {toml(k): v for k, v in value.items()}
            return "{" + ", ".join(f"{k} = {toml(v)}" for k, v in named.items()) + "}"
        case int():
            return str(value)
    return value.isoformat()


def put(node, path, value):
    key, *rest = path
    if isinstance(node, list):
        place = int(key) - 1
        return [put(v, rest, value) if rest else value for v in [node[place]]] if len(node) == 1 else [
            (put(v, rest, value) if rest else value) if i == place else v for i, v in enumerate(node)]
    return {k: (put(v, rest, value) if rest else value) if k == key else v for k, v in node.items()}


def fate(folder, text) -> Scene | MockupError:
    (folder / "wren.toml").write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
    try:
        scene = load_scene(folder / "wren.toml")
    except MockupError as error:
        lines = str(error).split("\n")
        assert len(lines) == len(error.problems) <= 41 and all(p.found for p in error.problems)
        assert all(line.startswith("wren.toml: ") and line.isprintable() and len(line) < 1000 for line in lines), lines
        return error
    assert isinstance(scene, Scene)
    for variant in scene.variants:
        assert scene.with_variant(variant.name).parts
    return scene


@LIGHT
@given(st.dictionaries(st.sampled_from(["scene", "boards", "parts", "variants", "x"]),
                       st.dictionaries(st.sampled_from(["top", "a", "title"]), VALUES, max_size=3)))
def test_random_data(folder, data):
    fate(folder, "\n".join(f"{toml(k)} = {toml(v)}" for k, v in data.items()))


@LIGHT
@given(st.data())
def test_a_good_scene_with_one_value_changed(folder, good, data):
    raw = tomllib.loads(good)
    where = paths(raw) + ["variants.red.set", "variants.red", "variants.plain"]
    path = data.draw(st.sampled_from(where))
    value = data.draw(VALUES)
    changed = put(raw, path.split("."), value)
    fate(folder, "\n".join(f"{k} = {toml(v)}" for k, v in changed.items()))


@LIGHT
@given(st.text(max_size=30) | st.lists(st.one_of(WORDS, st.integers(-1, 9).map(str)), min_size=1,
                                                             max_size=6).map(".".join), VALUES)
def test_a_variant_with_any_path_and_value(folder, good, path, value):
    fate(folder, good + f"{toml(path)} = {toml(value)}\n")


@LIGHT
@given(st.data())
def test_a_good_scene_with_letters_lost_or_swapped(folder, good, data):
    text = bytearray(good.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        if data.draw(st.booleans()):
            del text[at:at + data.draw(st.integers(1, 30))]
        else:
            text[at] = data.draw(st.integers(0, 255))
    fate(folder, bytes(text))


@LIGHT
@given(st.binary(max_size=200))
def test_random_bytes(folder, data):
    fate(folder, data)


@settings(LIGHT, max_examples=60)
@given(st.text(max_size=60))
def test_random_names_of_scenes(name):
    try:
        assert isinstance(load_scene(name), Scene)
    except MockupError as error:
        assert str(error)


def test_the_writer_of_these_tests_is_true(good):
    raw = tomllib.loads(good)
    again = tomllib.loads("\n".join(f"{k} = {toml(v)}" for k, v in raw.items()))
    assert again == raw
