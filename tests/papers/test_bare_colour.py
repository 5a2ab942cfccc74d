"""A range holds for one bare colour: where nobody measured that of the instrument's own wood, every paper says so beside the number."""

import json
import re

import pytest
from conftest_papers import OPTIONS, make_folder

from mockup.cli import run
from mockup.papers.approval import approval
from mockup.papers.describe import assumed_bare, basis_sentence
from mockup.papers.dossier import dossier
from mockup.papers.page import Text
from mockup.papers.share import share_page
from mockup.papers.sheet import sheet
from mockup.render.colours import colours
from mockup.scene.load import load_scene

TODAY = "2026-11-25"
# What "mockup board" writes beside a photo of this scale.
RECORD = 'mm_per_pixel = 0.3\nwood = "dark table top"\nactual = true\ngrain = 90\n\n[quality]\ncolour_basis = "{}"\n'
TERSE = 'photo = "table.png"\n\n[parts.body]'


def scene_on(folder, board):
    """The scene on a board that is measured, as a camera showed it, or of its kind."""
    path = make_folder(folder, OPTIONS[:3])
    text = re.sub(r'photo = "table.png".*?\[parts.body\]', TERSE, path.read_text(), flags=re.S)
    (folder / "table.toml").write_text(RECORD.format("nothing" if board == "camera" else "grey card"))
    if board == "kind":
        text = text.replace('photo = "table.png"', 'photo = "table.png"\nactual = false')
    path.write_text(text)
    return load_scene(path)


@pytest.fixture(scope="module", params=["measured", "camera", "kind"])
def one(request, tmp_path_factory):
    return request.param != "measured", scene_on(tmp_path_factory.mktemp(request.param) / "plover", request.param)


def words(*pages):
    return " ".join(" ".join(i.text for i in page.items if isinstance(i, Text)).replace("\u00a0", " ") for page in pages)


BASIS = "if the bare wood has exactly the colour shown; the instrument's own was not measured."


def test_every_paper_says_what_its_range_holds_for(one, tmp_path, good_kept):
    assumed, scene = one
    bare = next(c.bare_lab for c in colours(scene, kept=good_kept) if c.part == "body")
    said = words(sheet(scene, today=TODAY, px_width=1200, kept=good_kept))
    assert (f"if the bare wood measures L {bare[0]:.1f} a {bare[1]:.1f} b {bare[2]:.1f}" in re.sub(r" +", " ", said)) is assumed
    assert (BASIS in said) is assumed
    for made in (approval(scene, "red", tmp_path, today=TODAY, px_width=1500, kept=good_kept).page,), \
            dossier(scene, "red", tmp_path, paper="a4", today=TODAY, kept=good_kept).pages:
        said = words(*made)
        expected = len(re.findall(r"Expected within ΔE00 [\d.]+", said))
        assert expected == 2 and len(re.findall(r"Expected within ΔE00 [\d.]+ if the bare wood measures as given \(", said)) == expected * assumed
        assert (BASIS in said) is assumed
    said = share_page(scene, today=TODAY, kept=good_kept).decode("utf-8").replace("&#x27;", "'").replace("\u00a0", " ")
    assert ("in 95 of 100 cases (library estimate), if the bare wood has exactly the colour shown." in said) is assumed
    assert (BASIS in said) is assumed


def test_the_command_says_it_too(one, capsys):
    assumed, scene = one
    assert run(["colours", str(scene.file), "--variant", "red"]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if "95 of 100" in line]
    assert [line.endswith(" of the finished mean, if it measures bare as above") for line in told] == [assumed] * 2
    assert run(["colours", str(scene.file), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["parts"]


def test_under_covering_paint_the_wood_does_not_matter(plover):
    plover.write_text(plover.read_text().replace('finish = [ { coat = "lacquer", coats = 2 } ]', "finish = [ { paint = [60, 10, 10] } ]"))
    scene = load_scene(plover)
    assert assumed_bare(scene, "body") and not assumed_bare(scene, "plate")


def test_of_several_parts_those_are_named(good_scene, good_kept):
    body, plate = colours(good_scene, kept=good_kept)
    assert basis_sentence([body, plate], [body]).replace("\u00a0", " ").endswith(
        ", on the body only if its bare wood has exactly the colour shown, which was not measured.")
