"""Approvals and their records: what is written, and what is found when something changed since."""

import hashlib
import json
import os
import shutil

import cv2
import numpy as np
import pytest
from conftest_papers import make_folder
from PIL import Image

import mockup
from mockup.errors import MockupError
from mockup.papers.approval import approval, approve
from mockup.papers.page import Text
from mockup.papers.record import fingerprint, record_bytes, scene_name, scene_path
from mockup.papers.verify import verify
from mockup.render.colours import colours
from mockup.render.kept import Kept
from mockup.render.picture import picture
from mockup.scene.load import load_scene

TODAY = "2026-11-25"


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A folder with a scene and its approval, not to be spoiled."""
    home = tmp_path_factory.mktemp("approved")
    scene = make_folder(home / "plover")
    approve(load_scene(scene), "amber", home / "plover" / "papers", today=TODAY, px_width=1200)
    return home / "plover"


@pytest.fixture
def folder(done, tmp_path):
    """A copy that a test may spoil."""
    return shutil.copytree(done, tmp_path / "plover")


@pytest.fixture
def record(folder):
    return folder / "papers" / "plover.approval.json"


def change(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def rewrite(record, alter):
    """Change a record and give it a fingerprint that fits again."""
    data = json.loads(record.read_text())
    alter(data)
    data["fingerprint"] = fingerprint(data)
    record.write_bytes(record_bytes(data))


# -- what is written --------------------------------------------------------


def test_the_record_holds_the_hashes_of_files_and_pixels(done):
    data = json.loads((done / "papers" / "plover.approval.json").read_text(encoding="utf-8"))
    assert set(data["inputs"]) == {"plover.toml", "plover.svg", "table.png", "stain:amber", "film:oil varnish", "film:lacquer"}
    for name in ("plover.toml", "plover.svg", "table.png"):
        assert data["inputs"][name] == hashlib.sha256((done / name).read_bytes()).hexdigest()
    scene = load_scene(done / "plover.toml").with_variant("amber")
    made = picture(scene, scale=data["picture"]["scale"]).pixels
    assert data["picture"]["sha256"] == hashlib.sha256(made.tobytes()).hexdigest()
    assert (data["picture"]["height"], data["picture"]["width"]) == made.shape[:2]
    assert data["version"] == mockup.__version__ and data["libraries"]["numpy"] == np.__version__
    assert data["resolved"]["parts"]["body"]["finish"][0]["strength"] == 0.4
    assert [c["finished_lab"] for c in data["colours"]] == [list(c.finished_lab) for c in colours(scene)]
    assert (data["date"], data["revision"], data["variant"]) == (TODAY, "B", "amber")


def test_the_fingerprint_is_that_of_the_record_as_plain_json(done):
    text = (done / "papers" / "plover.approval.json").read_text(encoding="utf-8")
    data = json.loads(text)
    assert text == json.dumps(data, sort_keys=True, indent=2, ensure_ascii=False) + "\n"
    told = data.pop("fingerprint")
    plain = json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert told == hashlib.sha256(plain.encode("utf-8")).hexdigest()


def test_the_picture_is_in_the_approval_pixel_by_pixel(done):
    data = json.loads((done / "papers" / "plover.approval.json").read_text())
    page = np.asarray(Image.open(done / "papers" / "plover.approval.png"))
    x, y, w, h = data["image"]["x"], data["image"]["y"], data["picture"]["width"], data["picture"]["height"]
    assert hashlib.sha256(page[y:y + h, x:x + w].tobytes()).hexdigest() == data["picture"]["sha256"]
    assert page.shape[1] == 1200


def test_no_path_of_this_machine_is_told(done):
    text = (done / "papers" / "plover.approval.json").read_text()
    assert str(done) not in text and os.path.expanduser("~") + "/" not in text
    assert json.loads(text)["scene"] == {"file": "../plover.toml"}


def test_a_far_away_record_names_the_scene_alone(done, tmp_path):
    scene = load_scene(done / "plover.toml")
    assert scene_name(scene, tmp_path / "far" / "away" / "papers") == {"file": "plover.toml"}
    assert scene_name(scene, done) == {"file": "plover.toml"}
    assert scene_name(scene, done.parent) == {"file": "plover/plover.toml"}
    assert scene_name(scene, done.parent / "other") == {"file": "../plover/plover.toml"}


def test_the_page_says_all_of_it(done):
    made = approval(load_scene(done / "plover.toml"), "amber", done / "papers", today=TODAY, px_width=1200)
    said = " ".join(i.text for i in made.page.items if isinstance(i, Text)).replace("\u00a0", " ")
    digits = made.record["fingerprint"]
    for part in ("Plover", "Amber", "Warm.", "Revision B · 25 November 2026", "For A. Client", "1.", "2.", "Three coats of oil varnish",
                 "Semi-gloss, 60 GU at 60°", "Bare", "Finished", "95 % of the board's own", "Expected within ΔE00", "If light", "If dark", "Colours are library estimates", "Client", "Signature", "Date",
                 "The wood shown is the actual board.", f"Fingerprint {digits[:4]} {digits[4:8]} {digits[8:12]}", "Where it is cut"):
        assert part in said, part


def test_twice_the_same(done, tmp_path):
    scene = load_scene(done / "plover.toml")
    one = approve(scene, "amber", done / "papers" / ".." / "papers", today=TODAY, px_width=1200, name="again", kept=Kept())
    first = [p.read_bytes() for p in one]
    approve(scene, "amber", done / "papers", today=TODAY, px_width=1200, name="again", kept=Kept())
    assert first == [p.read_bytes() for p in one]
    for p in one:
        p.unlink()


def test_both_files_or_neither(folder):
    scene = load_scene(folder / "plover.toml")
    target = folder / "new"
    (target / "plover.approval.json").mkdir(parents=True)  # a folder stands in the way of the second
    with pytest.raises(MockupError, match="is a folder"):
        approve(scene, "amber", target, today=TODAY, px_width=1200)
    assert [p.name for p in target.iterdir()] == ["plover.approval.json"]


@pytest.mark.parametrize(("variant", "name", "found"), [("ambre", None, 'There is no variant "ambre"'), ("amber", "../x", "not a plain file name"),
                                                       ("amber", "a/b", "not a plain file name")])
def test_a_wrong_choice_is_one_sentence(done, variant, name, found):
    with pytest.raises(MockupError, match=found):
        approve(load_scene(done / "plover.toml"), variant, done / "papers", today=TODAY, name=name, px_width=1200)


# -- what is found ----------------------------------------------------------


def test_nothing_changed(record):
    found = verify(record)
    data = json.loads(record.read_text())
    count = data["picture"]["width"] * data["picture"]["height"]
    assert found.unchanged
    assert found.lines() == [f"Nothing changed: inputs, recipe, version and all {count} pixels are as approved."]


def test_a_moved_project_is_the_same(folder, tmp_path):
    moved = tmp_path / "elsewhere"
    folder.rename(moved)
    assert verify(moved / "papers" / "plover.approval.json").unchanged


def test_another_stain_strength(folder, record):
    change(folder / "plover.toml", '"parts.body.finish.1.strength" = 0.4\n', '"parts.body.finish.1.strength" = 0.5\n')
    found = verify(record)
    assert not found.unchanged and not found.edited and found.version is None and not found.image
    assert dict(found.inputs) == {"plover.toml": "changed"}
    assert [(c.path, c.before, c.after) for c in found.values] == [("parts.body.finish.1.strength", "0.4", "0.5")]
    assert {c.path for c in found.targets} >= {"body.finished_lab"} and not any(c.path.startswith("plate") for c in found.targets)
    assert found.pixels.differ > 0.05 * found.pixels.total and 0.3 < found.pixels.mean < found.pixels.most
    assert "Recipe parts.body.finish.1.strength: 0.4 before, 0.5 now." in found.lines()


def test_pixel_differences_are_those_of_an_independent_count(folder, record):
    """Counted and measured here with Pillow and scikit-image."""
    from skimage.color import deltaE_ciede2000, rgb2lab

    change(folder / "plover.toml", '"parts.body.finish.1.strength" = 0.4\n', '"parts.body.finish.1.strength" = 0.5\n')
    found = verify(record).pixels
    data = json.loads(record.read_text())
    x, y, w, h = data["image"]["x"], data["image"]["y"], data["picture"]["width"], data["picture"]["height"]
    before = np.asarray(Image.open(record.with_suffix(".png")))[y:y + h, x:x + w]
    now = picture(load_scene(folder / "plover.toml").with_variant("amber"), scale=data["picture"]["scale"]).pixels
    where = (before != now).any(axis=2)
    apart = deltaE_ciede2000(rgb2lab(before[where]), rgb2lab(now[where]))
    assert (found.total, found.differ) == (w * h, where.sum())
    assert (found.mean, found.most) == pytest.approx((apart.mean(), apart.max()), rel=0.02)


def test_a_comment_changes_the_input_and_nothing_else(folder, record):
    change(folder / "plover.toml", "[scene]", "# A comment.\n[scene]")
    found = verify(record)
    assert dict(found.inputs) == {"plover.toml": "changed"} and not found.unchanged
    assert not found.values and not found.targets and found.pixels is None
    assert found.lines()[-1].startswith("Pixels: all ")


def test_another_outline(folder, record):
    change(folder / "plover.svg", "M 60 10", "M 60 13")
    found = verify(record)
    assert dict(found.inputs) == {"plover.svg": "changed"}
    assert found.pixels.total > 0 and not found.edited


def test_one_pixel_of_the_board(folder, record):
    pixels = cv2.imread(str(folder / "table.png"))
    pixels[250, 215] = 255 - pixels[250, 215]
    cv2.imwrite(str(folder / "table.png"), pixels)
    found = verify(record)
    assert dict(found.inputs) == {"table.png": "changed"} and not found.values
    assert found.pixels is not None and 0 < found.pixels.differ


def test_an_input_that_is_gone(folder, record):
    (folder / "plover.svg").unlink()
    found = verify(record)
    assert dict(found.inputs) == {"plover.svg": "missing"} and not found.unchanged
    assert "does not exist" in found.scene
    assert 'Input "plover.svg": missing.' in found.lines()


def test_a_variant_that_is_gone(folder, record):
    text = (folder / "plover.toml").read_text()
    (folder / "plover.toml").write_text(text.replace("variants.amber]", "variants.other]").replace("variants.amber.", "variants.other."))
    found = verify(record)
    assert 'There is no variant "amber"' in found.scene and dict(found.inputs) == {"plover.toml": "changed"}


@pytest.mark.parametrize("alter", [lambda d: d.update(client="Somebody else"), lambda d: d["colours"][0]["finished_lab"].__setitem__(0, 12.5),
                                   lambda d: d.update(extra=1)])
def test_a_record_edited_by_hand(record, alter):
    data = json.loads(record.read_text())
    alter(data)
    record.write_text(json.dumps(data))
    found = verify(record)
    assert found.edited and not found.unchanged and not found.inputs and found.pixels is None
    assert found.lines()[0] == "The record was edited: it does not match its own fingerprint."


def test_a_record_written_anew_is_still_held_against_the_scene(record):
    rewrite(record, lambda d: d["resolved"]["parts"]["body"].update(sheen=61))
    found = verify(record)
    assert not found.edited
    assert [(c.path, c.before, c.after) for c in found.values] == [("parts.body.sheen", "61", "60.0")]


def test_another_layout_of_the_same_record_is_no_edit(record):
    record.write_text(json.dumps(json.loads(record.read_text())))
    assert verify(record).unchanged


def test_another_version(record):
    rewrite(record, lambda d: d.update(version="0.0.9"))
    found = verify(record)
    assert found.version == ("0.0.9", mockup.__version__) and not found.unchanged and not found.edited and found.pixels is None
    assert f"Version: 0.0.9 then, {mockup.__version__} now." in found.lines()


def test_versions_of_libraries_are_only_information(record):
    rewrite(record, lambda d: d["libraries"].update(numpy="1.0"))
    assert verify(record).unchanged


def test_a_touched_approval_picture(record):
    path = record.with_suffix(".png")
    data = json.loads(record.read_text())
    pixels = cv2.imread(str(path))
    pixels[data["image"]["y"] + 50, data["image"]["x"] + 50] = 0
    cv2.imwrite(str(path), pixels)
    found = verify(record)
    assert found.pixels is None and "does not show what the record says" in found.image and not found.unchanged
    path.unlink()
    assert "is missing" in verify(record).image
    path.write_bytes(b"no picture")
    assert "not a readable picture" in verify(record).image


def test_a_signature_is_no_change(record):
    path = record.with_suffix(".png")
    pixels = cv2.imread(str(path))
    pixels[-90:-70, 400:500] = (160, 60, 20)
    cv2.imwrite(str(path), pixels)
    assert verify(record).unchanged


def test_without_the_approved_picture_the_rest_is_still_told(folder, record):
    record.with_suffix(".png").unlink()
    change(folder / "plover.toml", '"parts.body.finish.1.strength" = 0.4\n', '"parts.body.finish.1.strength" = 0.5\n')
    found = verify(record)
    assert found.pixels.differ is None
    assert any("cannot be said" in line for line in found.lines())


def test_a_scene_that_moved_can_be_named(folder, record, tmp_path):
    new = tmp_path / "new"
    new.mkdir()
    for name in ("plover.toml", "plover.svg", "table.png"):
        (folder / name).rename(new / name)
    with pytest.raises(MockupError) as caught:
        verify(record)
    assert str(caught.value) == ('plover.approval.json: The scene "../plover.toml" is not where the record says. '
                                 "Put it back, or name the scene file to compare with.")
    assert verify(record, str(new / "plover.toml")).unchanged
    with pytest.raises(MockupError, match='There is no scene "nothing.toml"'):
        verify(record, tmp_path / "nothing.toml")


@pytest.mark.parametrize(("text", "found"), [
    ("", "not JSON"), ("{", "not JSON"), ("\x00\xff", "not JSON"), ("[" * 100_000, "not JSON"), ("[]", "no record of an approval"),
    ('{"kind": "else"}', "no record of an approval"), ('{"kind": "mockup approval", "format": 2}', "has format 2, and this version reads 1"),
    ('{"kind": "mockup approval", "format": 1}', 'no usable value for "scene"'), ('{"a": NaN}', "not JSON")])
def test_what_is_no_record_is_one_sentence(tmp_path, text, found):
    path = tmp_path / "x.json"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(MockupError, match=found) as caught:
        verify(path)
    assert "\n" not in str(caught.value)


def test_a_missing_record_is_one_sentence(tmp_path):
    with pytest.raises(MockupError, match="There is no such file"):
        verify(tmp_path / "none.json")


@pytest.mark.parametrize(("key", "value"), [
    (("scene", "file"), "/etc/hosts"), (("scene", "file"), "c:\\x.toml"), (("scene", "file"), 7), (("scene", "file"), "a" * 5000),
    (("scene", "file"), "x/" + "a" * 300), (("picture", "scale"), 1e9), (("picture", "scale"), "big"), (("picture", "side"), "top"),
    (("picture", "width"), -4), (("picture", "width"), 10**30), (("picture", "height"), True), (("image", "x"), -1), (("image", "file"), 3),
    (("inputs",), []), (("colours",), {}), (("variant",), 3), (("resolved",), "x")])
def test_a_hostile_record_is_one_sentence(record, key, value):
    def alter(data):
        for k in key[:-1]:
            data = data[k]
        data[key[-1]] = value

    rewrite(record, alter)
    with pytest.raises(MockupError) as caught:
        verify(record)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("odd", [
    {"image": {"file": "../plover.approval.png", "x": 0, "y": 0}, "inputs": {"/etc/hosts": "0", "..": 3, "stain:amber": None}},
    {"image": {"file": "a" * 3000, "x": 0, "y": 0}, "colours": [1, {"part": []}, {}], "resolved": {}},
    {"image": {"file": "plover.approval.png", "x": 999_999, "y": 0}}, {"variant": "\ufffd", "image": {"file": "", "x": 0, "y": 0}}])
def test_an_odd_record_is_a_finding(record, odd):
    rewrite(record, lambda data: data.update(odd))
    found = verify(record)
    assert not found.unchanged and found.lines() and found.image


def test_endless_numbers_and_half_characters(record):
    for spoiled in ("1e999", '"\\ud800"'):
        text = record.read_text().replace('"client": "A. Client"', f'"client": {spoiled}')
        record.with_name("y.json").write_text(text)
        with pytest.raises(MockupError, match="JSON has no place for"):
            verify(record.with_name("y.json"))


def test_built_in_scenes_are_named(tmp_path):
    from mockup.scene.places import builtin_scenes

    for name in builtin_scenes():
        scene = load_scene(name)
        record = {"scene": scene_name(scene, tmp_path)}
        assert record == {"scene": {"builtin": name}} and scene_path(record, tmp_path) == name
    with pytest.raises(MockupError, match="no built-in scene"):
        scene_path({"scene": {"builtin": "none"}}, tmp_path)
