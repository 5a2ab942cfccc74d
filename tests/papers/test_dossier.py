"""The dossier and the revisions it keeps."""

import io
import json
import shutil

import numpy as np
import pytest
from pypdf import PdfReader

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import srgb8_to_lab
from mockup.errors import MockupError
from mockup.papers.dossier import LARGEST, dossier, write_dossier
from mockup.papers.revisions import Revision, difference, difference_map, kept_revisions, ramp, revision_words
from mockup.papers.verify import verify
from mockup.scene.load import load_scene

TODAY = "2026-11-25"


def edit(plover, old, new):
    text = plover.read_text()
    assert old in text
    plover.write_text(text.replace(old, new, 1))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """A scene in two revisions, and the dossiers of both."""
    from conftest_papers import OPTIONS, make_folder

    home = tmp_path_factory.mktemp("dossier")
    plover = make_folder(home / "plover", OPTIONS[:3])
    first = write_dossier(home / "out", load_scene(plover), "red", paper="a4", today=TODAY)
    edit(plover, 'revision = "B"', 'revision = "C"')
    edit(plover, '"parts.body.finish.1.strength" = 0.8', '"parts.body.finish.1.strength" = 0.3')
    second = write_dossier(home / "out", load_scene(plover), "red", paper="letter", today="2026-11-27")
    return plover, home / "out", first, second


def pages(path):
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


def test_it_holds_all_that_is_agreed(two):
    _, out, first, _ = two
    assert {p.name for p in first} == {"plover.red.dossier.pdf", "plover.red.dossier.json", "plover.red.dossier.csv", "plover.red.revision-01.json",
                                       "plover.red.revision-01.png"}
    said = pages(out / "plover.red.dossier.pdf")
    whole = " ".join(said)
    for words in ("For approval", "options at the same light", "Recipe and colour to meet", "Where it is cut", "Revisions", "What may vary",
                  "Red dye at 30 %", "Signature", "A. Client", "Fingerprint", "heat by themselves", "safety data sheet", "of 6"):
        assert words in whole, words


def test_every_page_has_its_number(two):
    said = pages(two[1] / "plover.red.dossier.pdf")
    for number, page in enumerate(said, 1):
        assert f"{number} of {len(said)}" in page


def test_a_recipe_stands_with_its_colours(tmp_path):
    """No page ends in the steps of a finish whose colours come on the next one."""
    from mockup.papers.page import Text

    made = dossier(load_scene("tern"), "tobacco-burst", tmp_path, paper="a4", today=TODAY)
    told = [[i.text for i in page.items if isinstance(i, Text)] for page in made.pages if "Recipe" in page.title]
    assert len(told) == 2
    for page in told:
        assert max(k for k, text in enumerate(page) if text.startswith("Sheen:")) < max(k for k, text in enumerate(page) if text == "Bare")


def test_it_can_be_mailed(two):
    _, out, _, _ = two
    data = (out / "plover.red.dossier.pdf").read_bytes()
    assert len(data) < LARGEST == 5_000_000
    read = PdfReader(io.BytesIO(data))
    for page in read.pages:
        assert {round(float(page.mediabox.width)), round(float(page.mediabox.height))} == {612, 792}
        for image in (i.get_object() for i in page["/Resources"]["/XObject"].values()):
            assert image["/Filter"] == "/DCTDecode"
    # Self-contained: nothing in it points outside.
    assert b"/URI" not in data and b"/GoToR" not in data and b"/EmbeddedFile" not in data


def test_what_changed_is_told_in_words_and_numbers(two):
    _, out, _, _ = two
    whole = json.loads((out / "plover.red.dossier.json").read_text())
    assert [r["revision"] for r in whole["revisions"]] == ["B", "C"]
    (change,) = whole["changes"]
    assert change["words"] == ["Body: red at 30 %, 3 coats of oil varnish; before: red at 80 %, 3 coats of oil varnish."]
    assert [v["path"] for v in change["values"]] == ["parts.body.finish.1.strength"]
    assert change["delta_e00"]["mean"] > 1 and change["delta_e00"]["p95"] > change["delta_e00"]["mean"]
    assert "From revision B to C" in " ".join(pages(out / "plover.red.dossier.pdf"))
    assert whole["colours"][0]["expected_delta_e00"] > 0


def test_a_burst_is_told_by_its_middle_and_edge_as_on_the_approval(plover, tmp_path):
    import csv

    from mockup.papers.approval import approval
    from mockup.papers.page import Box, Text
    from mockup.render.kept import Kept

    edit(plover, 'coat = "oil varnish", coats = 3 }', 'burst = "tobacco", width = 30 }, { coat = "oil varnish", coats = 3 }')
    edit(plover, "sheen = 60", "sheen = 60\nbinding = { width = 2, colour = [86, 1.5, 12] }")
    scene, kept = load_scene(plover), Kept()
    made = dossier(scene, "amber", tmp_path / "out", paper="a4", today=TODAY, kept=kept)
    agreed = approval(scene, "amber", tmp_path, today=TODAY, px_width=1500, kept=kept).page
    recipe = next(p for p in made.pages if "Recipe" in p.title)

    def of(page, title):
        at = next(k for k, i in enumerate(page.items) if isinstance(i, Text) and i.text == title)
        rows = [(a.text, b.text) for a, b in zip(page.items[at:], page.items[at + 1:]) if isinstance(a, Text) and isinstance(b, Text)
                and a.text in ("Bare", "Middle", "Edge", "If light", "If dark", "Finished")]
        return dict(rows[:3])

    rows = of(recipe, "Body, dark table top")
    assert list(rows) == ["Bare", "Middle", "Edge"] and rows == of(agreed, "Body, dark table top")
    fills, wanted = ([i.fill for i in page.items if isinstance(i, Box)] for page in (recipe, agreed))
    assert fills[:6] == wanted[:6] and len(set(fills[:3])) == 3
    said = " ".join(i.text for i in recipe.items if isinstance(i, Text)).replace("\u00a0", " ")
    assert "The mean over the burst is L" in said and "light, expected, dark" in said and "cream binding, 2 mm" in said
    assert "10 mm patches" not in said, "over a burst they say nothing of the wood"
    body, plate = json.loads(made.files["plover.amber.dossier.json"])["colours"]
    assert body["edge_lab"][0] < body["middle_lab"][0] and plate["middle_lab"] is None
    first, second = csv.DictReader(io.StringIO(made.files["plover.amber.dossier.csv"].decode()))
    assert float(first["edge_L"]) == body["edge_lab"][0] and second["edge_L"] == ""


def test_the_map_is_the_difference_of_the_pictures(two):
    _, out, _, _ = two
    before, now = kept_revisions(out, "plover.red")
    found = difference(before, now)
    rows, columns = np.mgrid[5:before.pixels.shape[0] - 5:37, 5:before.pixels.shape[1] - 5:41]
    for y, x in zip(rows.ravel(), columns.ravel(), strict=True):
        a, b = (p.pixels[y - 1:y + 2, x - 1:x + 2].mean(axis=(0, 1)).round().astype(np.uint8) for p in (before, now))
        assert found.apart[y, x] == pytest.approx(float(ciede2000(srgb8_to_lab(a), srgb8_to_lab(b))), abs=0.5)
    assert found.apart[:3].max() < 1  # the ground stayed
    assert difference_map(found).shape == before.pixels.shape


def test_the_ramp_gets_darker():
    light = ramp(np.linspace(0, 12, 60)).astype(float) @ (0.2126, 0.7152, 0.0722)
    assert (np.diff(light) <= 1e-9).all() and light[0] - light[-1] > 150


def test_a_kept_revision_is_a_record_that_verify_reads(two):
    plover, out, _, _ = two
    found = verify(out / "plover.red.revision-02.json", plover)
    assert found.unchanged, found.lines()


def test_the_same_again_keeps_no_new_revision(two, tmp_path):
    plover, out, _, second = two
    shutil.copytree(out, tmp_path / "out")
    made = dossier(load_scene(plover), "red", tmp_path / "out", paper="letter", today="2026-12-09")
    assert made.revision.number == 2 and set(made.files) == {"plover.red.dossier.pdf", "plover.red.dossier.json", "plover.red.dossier.csv"}


def test_a_change_without_a_new_revision_is_refused(two, tmp_path):
    plover, out, _, _ = two
    shutil.copytree(plover.parent, tmp_path / "plover")
    shutil.copytree(out, tmp_path / "out")
    copy = tmp_path / "plover" / "plover.toml"
    edit(copy, "coats = 3", "coats = 5")
    before = sorted(p.name for p in (tmp_path / "out").iterdir())
    with pytest.raises(MockupError) as told:
        write_dossier(tmp_path / "out", load_scene(copy), "red", paper="a4", today=TODAY)
    assert str(told.value) == 'plover.toml: Revision "C" was kept on 2026-11-27 and has changed since. Give the scene its next revision: ' \
                              "[scene] revision."
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == before


@pytest.mark.parametrize("spoil, words", [
    (lambda out: (out / "plover.red.revision-01.json").write_text((out / "plover.red.revision-01.json").read_text().replace('"red"', '"rad"')),
     "plover.red.revision-01.json: This kept revision was edited: it does not match its own fingerprint."),
    (lambda out: shutil.copy(out / "plover.red.revision-02.png", out / "plover.red.revision-01.png"),
     "plover.red.revision-01.png: The picture of this kept revision is not the one its record names."),
])
def test_an_edited_revision_is_refused(two, tmp_path, spoil, words):
    plover, out, _, _ = two
    shutil.copytree(out, tmp_path / "out")
    spoil(tmp_path / "out")
    with pytest.raises(MockupError) as told:
        dossier(load_scene(plover), "red", tmp_path / "out", paper="a4", today=TODAY)
    assert str(told.value).startswith(words)


def test_other_outlines_are_not_compared_point_by_point(two):
    _, out, _, _ = two
    before, now = kept_revisions(out, "plover.red")
    found = difference(before, Revision(3, "D", now.record, now.pixels[:-5]))
    assert found.apart is None and difference_map(found) is None


def test_values_other_than_finishes_are_named():
    base = {"resolved": {"parts": {"top": {"title": "Top", "sheen": 80, "finish": []}}, "scene": {"hand": "right"}}, "inputs": {"top.svg": "1"}}
    now = {"resolved": {"parts": {"top": {"title": "Top", "sheen": 25, "finish": [{"coat": "oil", "coats": 1}]}}, "scene": {"hand": "left"}},
           "inputs": {"top.svg": "2"}}
    assert revision_words(base, now) == ("Top: 1 coat of oil; before: bare.", "Top, sheen: 25; before: 80.",
                                         'Scene hand: "left"; before: "right".', 'File "top.svg": changed.')
    assert revision_words(base, base) == ("Nothing that shows.",)
