"""The command line on files: what it writes, what it leaves alone, and what it says when it cannot."""

import contextlib
import ctypes
import hashlib
import json
import os
import pty
import resource
import select
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from mockup.cli import run
from mockup.papers.shop_file import shop_path
from mockup.scene.load import load_scene

ROOT = Path(__file__).resolve().parents[1]


def contents(folder):
    """Every file below a folder with a hash of what it holds."""
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """An empty folder to work in."""
    folder = tmp_path / "desk"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def bad(capsys):
    """Runs a command that must fail; gives what it said, line by line."""

    def tell(*arguments, code=2):
        assert run([str(a) for a in arguments]) == code
        out, err = capsys.readouterr()
        assert out == "" and err.endswith("\n")
        return err.splitlines()

    return tell


# -- render -------------------------------------------------------------------


def test_render_writes_one_picture_named_after_scene_and_variant(mockup, small_scene, desk):
    before = contents(small_scene.parent)
    done = mockup("render", small_scene, "--variant", "blue", cwd=desk)

    assert (done.returncode, done.stdout) == (0, "pipit.blue.png\n")
    assert done.stderr.splitlines()[0] == "561 x 613 pixels, 4 per mm"
    assert os.listdir(desk) == ["pipit.blue.png"]
    with Image.open(desk / "pipit.blue.png") as image:
        assert image.size == (561, 613)
        red, _, blue = np.asarray(image)[320, 280]
    assert blue > red + 40, "the middle of the top is blue"
    assert contents(small_scene.parent) == before


@pytest.mark.parametrize("suffix, kind", [("png", "PNG"), ("jpg", "JPEG"), ("webp", "WEBP"), ("TIF", "TIFF")])
def test_render_by_suffix(small_scene, desk, capsys, suffix, kind):
    assert run(["render", str(small_scene), "--scale", "1", "--out", f"deep/er/a.{suffix}"]) == 0
    assert capsys.readouterr().out == f"deep/er/a.{suffix}\n"
    with Image.open(f"deep/er/a.{suffix}") as image:
        assert (image.format, image.size) == (kind, (140, 153))


def test_render_twice_gives_the_same_bytes(small_scene, desk):
    for name in ("a.png", "b.png"):
        assert run(["render", str(small_scene), "--scale", "2", "--out", name]) == 0
    assert Path("a.png").read_bytes() == Path("b.png").read_bytes()


def test_the_back_shows_no_top(small_scene, desk):
    text = small_scene.read_text().replace("height = 44", 'height = 44\nside = "front"')
    small_scene.write_text(text)
    assert run(["render", str(small_scene), "--scale", "1"]) == 0
    assert run(["render", str(small_scene), "--scale", "1", "--side", "back"]) == 0
    front, back = (np.asarray(Image.open(n))[60:90, 55:85].mean(axis=(0, 1)) for n in ("pipit.png", "pipit.back.png"))
    assert front.sum() > back.sum() + 60, "honey top in front, brown body behind"


def test_placement_of_each_part_or_of_one(small_scene, desk, capsys):
    assert run(["render", str(small_scene), "--show", "placement", "--scale", "1"]) == 0
    assert capsys.readouterr().out == "pipit.placement.body.png\npipit.placement.top.png\n"
    assert run(["render", str(small_scene), "--show", "placement", "--part", "top", "--scale", "1", "--out", "t.jpg"]) == 0
    assert Image.open("t.jpg").size == Image.open("pipit.placement.top.png").size == (154, 194)


def test_placement_draws_a_part_that_runs_off_and_says_by_how_much(small_scene, desk, capsys, bad):
    small_scene.write_text(small_scene.read_text().replace("height = 40", "at = [20, 85]\nheight = 40"))
    (told,) = bad("render", small_scene)
    assert "pipit.toml" in told and "mm" in told
    assert run(["render", str(small_scene), "--show", "placement", "--part", "body"]) == 0
    assert "mm" in capsys.readouterr().err.splitlines()[-1]
    assert os.listdir() == ["pipit.placement.body.png"]


@pytest.mark.parametrize("arguments, told", [
    (["--variant", "blu"], 'pipit.toml: There is no variant "blu". Did you mean "blue"?'),
    (["--show", "placement", "--part", "tip"], 'pipit.toml: There is no part "tip". Did you mean "top"?'),
    (["--show", "placement", "--out", "a.png"], "mockup render: --out names one file, but the scene has 2 parts: body, top. "
                                                "Add --part NAME, or leave --out away."),
    (["--out", "a.gif"], 'a.gif: ".gif" cannot be written. Use one of: .png, .jpg, .jpeg, .webp, .tif, .tiff.'),
    (["--out", "a"], "a: The file name has no ending that says what to write. Use one of: .png, .jpg, .jpeg, .webp, .tif, .tiff."),
    (["--scale", "0"], "mockup render: Scale is 0 pixels per mm. Use 0.05 to 100; 11.8 is full size at 300 dpi."),
    (["--scale", "nan"], "mockup render: Scale is nan pixels per mm. Use 0.05 to 100; 11.8 is full size at 300 dpi."),
    (["--scale", "-inf"], "mockup render: Scale is -inf pixels per mm. Use 0.05 to 100; 11.8 is full size at 300 dpi."),
    (["--scale", "100"], "mockup render: The picture would be 14025 x 15325 pixels. Use a scale of at most 74.72 pixels per mm."),
])
def test_render_refuses_in_one_line(small_scene, desk, bad, arguments, told):
    assert bad("render", small_scene, *arguments) == [told]
    assert os.listdir() == []


def test_inputs_are_never_written(small_scene, desk, bad):
    before = contents(small_scene.parent)
    os.symlink(small_scene.parent / "flame.jpg", "link.jpg")
    for out in (small_scene.parent / "flame.jpg", "link.jpg", Path("..") / "pipit" / "flame.jpg"):
        assert bad("render", small_scene, "--out", out) == [
            f"{out}: The scene reads this file. Write to another one: inputs are never changed."]
    assert contents(small_scene.parent) == before


# -- scenes that are wrong ------------------------------------------------------


def test_every_mistake_of_a_scene_has_its_line(small_scene, desk, bad):
    text = small_scene.read_text()
    for old, new in (('stain = "honey"', 'stain = "huney"'), ("sheen = 15", "sheen = 150"), ("mm_per_pixel = 0.25", "mm_per_pixel = nan"),
                     ("revision", "revison")):
        text = text.replace(old, new)
    small_scene.write_text(text)
    for command in (["render"], ["sheet"], ["colours"]):
        lines = bad(*command, small_scene)
        assert len(lines) >= 4 and all(line.startswith("pipit.toml: ") for line in lines)
        assert any('parts.top.finish.1' in line and 'Did you mean "honey"?' in line for line in lines)
    assert os.listdir() == []


@pytest.mark.parametrize("photo", ["../secret.jpg", "/etc/passwd", "link.jpg"])
def test_nothing_outside_the_folder_is_read(small_scene, desk, bad, photo):
    os.rename(small_scene.parent / "flame.jpg", small_scene.parent.parent / "secret.jpg")
    os.symlink("../secret.jpg", small_scene.parent / "link.jpg")
    small_scene.write_text(small_scene.read_text().replace("flame.jpg", photo))
    lines = bad("render", small_scene)
    assert len(lines) == 1 and "folder" in lines[0] and "boards.flame.photo" in lines[0]


def test_a_variant_cannot_name_a_file_elsewhere(small_scene, desk, bad):
    small_scene.write_text(small_scene.read_text() + '\n[variants."../../x"]\n')
    bad("render", small_scene, "--variant", "../../x")
    assert os.listdir() == []


def test_a_broken_photo_is_one_line(mockup, small_scene, desk):
    photo = small_scene.parent / "flame.jpg"
    photo.write_bytes(photo.read_bytes()[:20_000])
    done = mockup("render", small_scene, cwd=desk)
    assert done.returncode == 2 and done.stdout == ""
    assert len(done.stderr.splitlines()) == 1 and "flame.jpg" in done.stderr and "Traceback" not in done.stderr


# -- new -------------------------------------------------------------------------


def test_new_is_a_scene_that_can_be_drawn(mockup, desk):
    done = mockup("new", "first", cwd=desk)
    assert (done.returncode, done.stdout) == (0, "first/scene.toml\nfirst/body.svg\n")
    assert done.stderr == "Edit the first of them, then: mockup sheet first\n"
    assert mockup("render", "first", "--scale", "0.5", cwd=desk).returncode == 0


def test_the_command_that_new_suggests_can_be_typed(desk, capsys):
    assert run(["new", "Grüne Gitarre"]) == 0
    told = capsys.readouterr().err.rstrip().split("then: mockup ")[1]
    assert run([*shlex.split(told), "--out", "s.png"]) == 0 and Path("s.png").is_file()


def test_papers_of_two_projects_in_one_folder_keep_apart(desk, capsys):
    """Both scenes are called scene.toml: their folders tell them apart, and so do the papers, from wherever the command is given."""
    for name in ("first", "zwölf (2)"):
        assert run(["new", name]) == 0
        Path(name, "scene.shop.toml").write_text("")
    capsys.readouterr()
    for scene, at, paper in (("first", desk, "first.cherry-gloss.png"), ("zwölf (2)", desk, "zwölf -2.cherry-gloss.png"),
                             (".", desk / "first", "first.cherry-gloss.png"), ("scene.toml", desk / "first", "first.cherry-gloss.png")):
        with contextlib.chdir(at):
            assert run(["render", scene, "--variant", "cherry-gloss", "--scale", "0.3"]) == 0
            assert capsys.readouterr().out.splitlines() == [paper] and Path(paper).is_file()
    scene = load_scene(desk / "first")
    assert (scene.name, scene.with_variant("deeper").name, shop_path(scene).name) == ("first", "first", "scene.shop.toml")


def test_new_overwrites_nothing(desk, bad, capsys):
    assert run(["new", "first"]) == 0
    capsys.readouterr()
    Path("first/scene.toml").write_text("mine")
    before = contents(desk)
    assert bad("new", "first") == ["first/scene.toml: This file is there already, and stays as it is. Choose another folder."]
    os.remove("first/scene.toml")
    assert bad("new", "first")[0].startswith("first/body.svg: This file is there already")
    assert "first/scene.toml" not in contents(desk) and contents(desk).items() <= before.items()
    Path("file").write_text("")
    assert bad("new", "file") == ["file: This is a file, not a folder. Choose another folder."]


# -- colours and lists -----------------------------------------------------------


def test_colours_as_text_and_as_json(small_scene, desk, capsys):
    assert run(["colours", str(small_scene), "--variant", "blue", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["variant"] == "blue" and [p["part"] for p in told["parts"]] == ["body", "top"]
    body, top = told["parts"]
    assert top["finished_lab"][2] < 0 < top["bare_lab"][2], "blue over yellowish wood"
    assert body["actual"] is True and body["wood"] == "flame maple" and "library estimate" in body["basis"]
    assert run(["colours", str(small_scene), "--variant", "blue"]) == 0
    text = capsys.readouterr().out
    for part in told["parts"]:
        for lab in (part["bare_lab"], part["finished_lab"]):
            assert f"L* {lab[0]:5.1f}   a* {lab[1]:5.1f}   b* {lab[2]:5.1f}" in text
    assert "flame maple, the actual board" in text
    assert os.listdir() == []


@pytest.mark.parametrize("what, names", [("stain", ["honey", "dark walnut"]), ("wood", ["flame-maple-1", "swamp-ash-1"])])
def test_lists_have_one_entry_a_line(what, names, capsys):
    assert run([what, "list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    found = [line.split("  ")[0] for line in lines]
    assert set(names) <= set(found) and len(set(found)) == len(found) == len(lines)


# -- the machine says no -----------------------------------------------------------


def limited(mockup, limit, *arguments, cwd):
    """Run the command where no file may grow beyond ``limit`` bytes, as on a full disk."""
    return mockup(*arguments, cwd=cwd, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)))


@pytest.mark.parametrize("command", [["render"], ["sheet"], ["sheet", "--out", "s.pdf"], ["sheet", "--out", "s.jpg"]],
                         ids=" ".join)
def test_a_full_disk_leaves_nothing_behind(mockup, small_scene, desk, command):
    done = limited(mockup, 20_000, command[0], small_scene, *command[1:], cwd=desk)
    assert done.returncode == 2 and done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.endswith("The disk is full, so nothing was written. Free some space or choose another folder.")
    assert os.listdir(desk) == []


def test_a_full_disk_keeps_the_older_picture(mockup, small_scene, desk):
    (desk / "pipit.png").write_bytes(b"older")
    assert limited(mockup, 20_000, "render", small_scene, cwd=desk).returncode == 2
    assert contents(desk) == {"pipit.png": hashlib.sha256(b"older").hexdigest()}


def _no_special_rights():
    # A superuser writes into read-only folders; PR_CAPBSET_DROP (24) of CAP_DAC_OVERRIDE (1) takes that away.
    if os.geteuid() == 0:
        ctypes.CDLL(None).prctl(24, 1, 0, 0, 0)


@pytest.mark.skipif(sys.platform != "linux", reason="drops a right of the superuser by a Linux call")
@pytest.mark.parametrize("command", [["render"], ["sheet"], ["new"]], ids=" ".join)
def test_a_read_only_folder(mockup, small_scene, desk, command):
    desk.chmod(0o555)
    target = ["first"] if command == ["new"] else [small_scene]
    try:
        done = mockup(*command, *target, cwd=desk, preexec_fn=_no_special_rights)
    finally:
        desk.chmod(0o755)
    assert done.returncode == 2 and done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert "cannot be written to. Choose another folder, or allow writing there." in line
    assert os.listdir(desk) == []


def test_output_that_nobody_reads(desk):
    """As in ``mockup stain list | head -1``."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([sys.executable, "-m", "mockup", "stain", "list"], stdout=write, stderr=subprocess.PIPE,
                          env={**os.environ, "PYTHONPATH": str(ROOT)})
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full here")
def test_output_onto_a_full_disk(desk):
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "mockup", "stain", "list"], stdout=full, stderr=subprocess.PIPE, text=True,
                              env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "The disk is full" in done.stderr


# -- stopped half-way ----------------------------------------------------------------


def on_a_terminal(*arguments, cwd, stop):
    """Start a command with stderr on a terminal; once it shows its progress send ``stop``. Gives code and all it showed."""
    outer, inner = pty.openpty()
    process = subprocess.Popen([sys.executable, "-m", "mockup", *map(str, arguments)], cwd=cwd, stdin=subprocess.DEVNULL,
                               stdout=subprocess.DEVNULL, stderr=inner, env={**os.environ, "PYTHONPATH": str(ROOT)})
    os.close(inner)
    shown, sent, end = "", False, time.monotonic() + 90
    while time.monotonic() < end:
        if not select.select([outer], [], [], 0.2)[0]:
            continue
        try:
            piece = os.read(outer, 4096).decode()
        except OSError:  # the other end is closed
            break
        shown += piece
        if not sent and " left" in shown:
            process.send_signal(stop)
            sent = True
    os.close(outer)
    assert sent, f"no progress was shown: {shown!r}"
    return process.wait(30), shown


@pytest.mark.parametrize("stop, code, told", [
    (signal.SIGINT, 130, "Stopped. No file was left half-written."), (signal.SIGTERM, 143, None)], ids=["SIGINT", "SIGTERM"])
def test_stopped_while_drawing(small_scene, desk, stop, code, told):
    before = contents(small_scene.parent)
    found, shown = on_a_terminal("render", small_scene, "--scale", "60", cwd=desk, stop=stop)
    assert found == code and "Traceback" not in shown
    assert "\rDrawing pipit " in shown and " % " in shown
    assert told is None or shown.rstrip().split("\r")[-1].strip() == told
    assert os.listdir(desk) == [] and contents(small_scene.parent) == before


def test_no_progress_into_a_file(mockup, small_scene, desk):
    done = mockup("render", small_scene, "--scale", "25", cwd=desk)
    assert done.returncode == 0 and "%" not in done.stderr and "\r" not in done.stderr
