"""Sheet, approval, verification and demo as a maker runs them."""

import hashlib
import json
import os
import re
import resource
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from mockup.cli import run
from mockup.scene.places import builtin_scenes


@pytest.fixture
def desk(tmp_path, monkeypatch):
    folder = tmp_path / "desk"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def test_sheet_shows_the_variants_named_in_their_order(mockup, small_scene, desk):
    done = mockup("sheet", small_scene, cwd=desk)
    assert (done.returncode, done.stdout, done.stderr) == (0, "pipit.sheet.png\n", "")
    assert mockup("sheet", small_scene, "--variants", "blue, honey", "--out", "b.png", cwd=desk).returncode == 0
    sheet, turned = (np.asarray(Image.open(n)).astype(int) for n in ("pipit.sheet.png", "b.png"))
    assert sheet.shape == turned.shape

    def blue(half):
        return ((half[..., 2] - half[..., 0]) > 40).mean()

    middle = sheet.shape[1] // 2
    assert blue(sheet[:, middle:]) > 0.03 > 0.003 > blue(sheet[:, :middle])
    assert blue(turned[:, :middle]) > 0.03 > 0.003 > blue(turned[:, middle:])


@pytest.mark.parametrize("paper, size", [(None, (210, 297)), ("a4", (210, 297)), ("letter", (215.9, 279.4)), ("a3", (297, 420))])
def test_sheet_as_pdf(small_scene, desk, paper, size):
    """ISO 216:2007 table 1 (A4); ANSI/ASME Y14.1, A size: 8.5 x 11 inches."""
    import pikepdf

    assert run(["sheet", str(small_scene), "--out", "s.pdf", *(["--paper", paper] if paper else [])]) == 0
    with pikepdf.open("s.pdf") as pdf:
        box = [float(v) for v in pdf.pages[0].mediabox]
    assert sorted(np.array(box[2:]) / 72 * 25.4) == pytest.approx(sorted(size), abs=0.1)


@pytest.mark.parametrize("arguments, told", [
    (["--variants", "honey"], "pipit.toml: 1 variant is named; a sheet shows 2 to 8. Name 2 to 8."),
    (["--variants", "honey,bleu"], 'pipit.toml: There is no variant "bleu". Did you mean "blue"?'),
    (["--variants", "honey,honey"], 'pipit.toml: The variant "honey" is named twice. Name each once.'),
    (["--out", "a.docx"], 'a.docx: ".docx" cannot be written. Use one of: .pdf, .png, .jpg, .jpeg, .webp, .tif, .tiff.'),
])
def test_sheet_refuses_in_one_line(small_scene, desk, capsys, arguments, told):
    assert run(["sheet", str(small_scene), *arguments]) == 2
    assert capsys.readouterr() == ("", told + "\n")
    assert os.listdir() == []


# -- approve and verify --------------------------------------------------------


@pytest.fixture
def approved(small_scene, desk, capsys):
    """An approval in a folder beside the scene's; gives the record's path."""
    assert run(["approve", str(small_scene), "--variant", "blue", "--out", "../approvals"]) == 0
    out, err = capsys.readouterr()
    assert out == "../approvals/pipit.blue.approval.png\n../approvals/pipit.blue.approval.json\n"
    assert err == "To check it later: mockup verify ../approvals/pipit.blue.approval.json\n"
    return Path("../approvals/pipit.blue.approval.json")


def test_an_approval_verifies(mockup, small_scene, approved, desk):
    record = json.loads(approved.read_text())
    photo = hashlib.sha256((small_scene.parent / "flame.jpg").read_bytes()).hexdigest()
    assert photo in record["inputs"].values() and record["variant"] == "blue" and record["revision"] == "B"
    assert record["scene"] == {"file": "../pipit/pipit.toml"}, "from where the record lies: no path of this machine"
    done = mockup("verify", approved, cwd=desk)
    assert done.returncode == 0
    assert re.fullmatch(r"Nothing changed: inputs, recipe, version and all \d+ pixels are as approved\.\n", done.stdout)
    assert done.stderr == ""


def test_what_was_done_to_a_drawing_is_told_to_the_maker_and_stands_on_no_paper(small_scene, desk, capsys):
    drawing = small_scene.parent / "pipit.svg"
    drawing.write_text(drawing.read_text().replace("26 50 12 Z", "26 50 12").replace("24 10 50 12 Z", "24 10 50 12.03"))
    for words in (["sheet"], ["approve", "--variant", "blue"], ["share"], ["render"]):
        assert run([words[0], str(small_scene), *words[1:]]) == 0
        assert "pipit.svg#body: a gap of 0.03 mm is closed.\n" in capsys.readouterr().err
    record = Path("pipit.blue.approval.json").read_text()
    pages = [p for p in Path().iterdir() if p.suffix == ".html"]
    assert pages and not any("a gap of" in text for text in (record, *(p.read_text() for p in pages)))


@pytest.mark.parametrize("change, told", [
    (("strength = 0.6 }\n\"parts.top.sheen\"", "strength = 0.5 }\n\"parts.top.sheen\""),
     "Recipe parts.top.finish.1.strength: 0.6 before, 0.5 now."),
    (('cut = "bookmatch"', 'cut = "single"'), 'Recipe parts.top.cut: "bookmatch" before, "single" now.'),
    (('revision = "B"', 'revision = "C"'), 'Recipe scene.revision: "B" before, "C" now.'),
], ids=["strength", "cut", "revision"])
def test_a_changed_scene_is_said(mockup, small_scene, approved, desk, change, told):
    text = small_scene.read_text()
    assert change[0] in text
    small_scene.write_text(text.replace(*change))
    done = mockup("verify", approved, cwd=desk)
    assert done.returncode == 1 and 'Input "pipit.toml": changed.' in done.stdout.splitlines()
    if "cut" not in told:  # where a value lies in the record is the record's affair
        assert told in done.stdout.splitlines()
    else:
        assert '"bookmatch" before, "single" now.' in done.stdout
    same = "are as approved" in done.stdout
    assert same == ("revision" in told), "a new revision alone leaves the pixels as they were"


def test_a_changed_photo_and_a_changed_picture_are_said(small_scene, approved, capsys):
    photo = small_scene.parent / "flame.jpg"
    kept = photo.read_bytes()
    image = np.array(Image.open(photo))
    image[300:320, 200:230] = 20
    Image.fromarray(image).save(photo, quality=95)
    assert run(["verify", str(approved)]) == 1
    out = capsys.readouterr().out
    assert 'Input "flame.jpg": changed.' in out and re.search(r"Pixels: \d+ of \d+ differ, by ΔE00", out)
    photo.write_bytes(kept)
    assert run(["verify", str(approved)]) == 0
    png = approved.with_suffix(".png")
    page = np.array(Image.open(png))
    page[page.shape[0] // 3:page.shape[0] // 2, 300:500] = 128
    Image.fromarray(page).save(png)
    assert run(["verify", str(approved)]) == 1


def test_verify_without_its_scene(small_scene, approved, capsys, tmp_path):
    shutil.move(small_scene.parent, tmp_path / "moved")
    assert run(["verify", str(approved)]) == 2
    assert capsys.readouterr().err.startswith("pipit.blue.approval.json: The scene ")
    assert run(["verify", str(approved), "--scene", str(tmp_path / "moved" / "pipit.toml")]) == 0


@pytest.mark.parametrize("text", [b"", b"{", b"[]", b'{"kind": 3}', b"\xff\xfe", b"[" * 100_000])
def test_what_is_no_record_is_refused(desk, capsys, text):
    Path("x.json").write_bytes(text)
    assert run(["verify", "x.json"]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and "Traceback" not in err


def test_an_approval_that_is_there_is_never_written_over(small_scene, approved, capsys):
    """Somebody may have signed it, and finished wood may have been compared with it."""
    png, again = approved.with_suffix(".png"), ["approve", str(small_scene), "--variant", "blue", "--out", str(approved.parent)]
    capsys.readouterr()
    png.write_bytes(png.read_bytes() + b"signed")
    before = png.read_bytes(), approved.read_bytes()
    assert run(again) == 0
    assert capsys.readouterr().out.splitlines() == [str(png), str(approved)]
    assert (png.read_bytes(), approved.read_bytes()) == before
    small_scene.write_text(small_scene.read_text().replace("sheen = 15", "sheen = 25"))
    for number in (2, 2):  # the second time it is the same as the one that is there
        assert run(again) == 0
        told = capsys.readouterr()
        second = approved.with_name(f"pipit.blue.{number}.approval.json")
        assert told.out.splitlines() == [str(second.with_suffix(".png")), str(second)]
        assert f"it stays. This one is pipit.blue.{number}.approval.png." in told.err
    assert (png.read_bytes(), approved.read_bytes()) == before
    assert sorted(p.name for p in approved.parent.iterdir()) == [f"pipit.blue{n}.approval.{e}" for n in (".2", "") for e in ("json", "png")]
    assert run(["verify", str(second)]) == 0 and run(["verify", str(approved)]) == 1


def test_an_approval_leaves_what_is_none(small_scene, desk):
    """A picture of the maker's own under that name stays, too."""
    Path("pipit.blue.approval.png").write_bytes(b"mine")
    assert run(["approve", str(small_scene), "--variant", "blue"]) == 0
    assert Path("pipit.blue.approval.png").read_bytes() == b"mine" and Path("pipit.blue.2.approval.json").is_file()


def test_approve_needs_a_variant_that_exists(small_scene, desk, capsys):
    assert run(["approve", str(small_scene)]) == 2
    assert capsys.readouterr().err == "mockup approve: Which variant? Say --variant NAME, or --choice FILE with the answer of the client. See mockup approve --help.\n"
    assert run(["approve", str(small_scene), "--variant", "bleu"]) == 2
    assert capsys.readouterr().err == 'pipit.toml: There is no variant "bleu". Did you mean "blue"?\n'
    assert os.listdir() == []


@pytest.mark.parametrize("limit", [2_000, 200_000], ids=["no room for the record", "no room for the picture"])
def test_an_approval_on_a_full_disk_is_not_half_there(mockup, small_scene, desk, limit):
    done = mockup("approve", small_scene, "--variant", "blue", "--out", "deep/approvals", cwd=desk,
                  preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)))
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.count("\n") == 1 and "The disk is full, so nothing was written." in done.stderr
    assert os.listdir(desk) == []


# -- demo ------------------------------------------------------------------------


@pytest.mark.slow
def test_demo_draws_every_scene_and_prints_every_path(mockup, desk):
    done = mockup("demo", cwd=desk)
    assert done.returncode == 0, done.stderr
    names = [f"mockup-demo/{scene}.{kind}" for scene in builtin_scenes() for kind in ("sheet.png", "approval.png", "approval.json")]
    assert done.stdout.splitlines() == names
    assert sorted(os.listdir("mockup-demo")) == sorted(Path(n).name for n in names)
    for name in names:
        if name.endswith(".png"):
            with Image.open(name) as image:
                assert image.width >= 1600
    assert mockup("verify", "mockup-demo/tern.approval.json", cwd=desk).returncode == 0


def test_demo_into_a_file_is_refused_before_any_work(desk, capsys):
    Path("taken").write_text("mine")
    assert run(["demo", "--out", "taken"]) == 2
    assert capsys.readouterr() == ("", "taken: This is a file, not a folder. Choose another folder.\n")
