"""From photo to board to a place on it to a picture that moves: the commands, on simulated photographs of a known board."""

import hashlib
import json
import os
import shutil
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageSequence

from mockup.board.dip import dip_file, dip_png, read_dip
from mockup.cli import run
from mockup.errors import MockupError
from mockup.scene.edit import with_placement
from mockup.scene.load import load_scene

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "board"))  # its camera

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="120mm" viewBox="0 0 100 120">
<ellipse id="top" cx="50" cy="60" rx="38" ry="48"/></svg>"""
SCENE = """# My board
[scene]
title = "Pipit"
centre = 50

[boards.mine]
photo = "board.png"       # measured

[parts.top]               # the only one
outline = "pipit.svg#top"
board = "mine"            # the very board
finish = [
  { stain = "honey", strength = 0.6 },
]
sheen = 30

# Variants come last.
[variants.one]
title = "One"
why = "As it is."
"""


def contents(folder):
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def bad(capsys):
    def tell(*arguments):
        assert run([str(a) for a in arguments]) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.count("\n") == 1 and "Traceback" not in err
        return err.rstrip("\n")

    return tell


@pytest.fixture(scope="module")
def shots(tmp_path_factory):
    """One board lit from its two ends, a lamp mirrored in another place each time (tests/board/simulator.py)."""
    import simulator as sim

    folder = tmp_path_factory.mktemp("photos")
    for name, lamp, glare in (("left", np.pi, ((140, 100), 9, 0.5)), ("right", 0.0, ((260, 130), 9, 0.5))):
        rng = np.random.default_rng(8)
        world, info, marks = sim.setup(rng, species="maple", size_mm=(300.0, 130.0), turn=1.0, bench=(30, 0, 0))
        data, truth = sim.photograph(world, info, rng=np.random.default_rng(3), size_px=(1500, 1125), tilt=8, fall=1.6, lamp=lamp, glare=glare,
                                     noise=0.7)
        (folder / f"{name}.jpg").write_bytes(data)
    return folder, truth


@pytest.fixture(scope="module")
def project(shots, tmp_path_factory):
    """A scene beside the board that both photographs gave."""
    folder = tmp_path_factory.mktemp("project")
    photos = contents(shots[0])
    assert run(["board", str(shots[0] / "left.jpg"), "--second", str(shots[0] / "right.jpg"), "--wood", "flame maple",
                "--report", str(folder / "report.png"), "--out", str(folder)]) == 0
    assert contents(shots[0]) == photos, "photographs stay as they are"
    (folder / "pipit.svg").write_text(SVG)
    (folder / "pipit.toml").write_text(SCENE)
    return folder


@pytest.fixture
def desk(project, tmp_path, monkeypatch):
    shutil.copytree(project, tmp_path / "pipit")
    monkeypatch.chdir(tmp_path / "pipit")
    return tmp_path / "pipit"


# -- card and board -------------------------------------------------------------------


@pytest.mark.parametrize("paper, size", [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_card_has_the_size_of_its_paper(mockup, tmp_path, paper, size):
    """ISO 216 (A4); ANSI/ASME Y14.1 size A."""
    import pikepdf

    done = mockup("card", "--paper", paper, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"card.{paper}.pdf\n")
    with pikepdf.open(tmp_path / f"card.{paper}.pdf") as pdf:
        assert [float(v) / 72 * 25.4 for v in pdf.pages[0].mediabox[2:]] == pytest.approx(size, abs=0.1)


def test_two_photos_give_a_board_without_glare_and_its_fibre_angles(project):
    record = tomllib.loads((project / "board.toml").read_text())
    assert record["size_mm"] == pytest.approx([300, 130], abs=2.5) and record["mean_lab"] == pytest.approx([78, 5, 21], abs=3)
    assert (record["actual"], record["dip"]) == (True, "board.dip.png")
    said = {v["topic"]: v["found"] for v in record["verdict"]}
    assert said["glare"].endswith("0.0 % in both.")
    dip = read_dip(project / "board.dip.png")
    with Image.open(project / "board.png") as image:
        assert dip.shape == image.size[::-1]
    with Image.open(project / "report.png") as image:
        assert image.width == 1600
    board = load_scene(project / "pipit.toml").boards["mine"]
    assert (board.wood, board.actual) == ("flame maple", True) and abs(board.grain) < 3


def test_a_board_by_its_corners(shots, tmp_path, capsys):
    folder, truth = shots
    box = np.array([[0, 0], [300, 0], [300, 130], [0, 130]], float)
    c, s = np.cos(np.radians(truth.turn)), np.sin(np.radians(truth.turn))
    corners = truth.to_image(box @ np.array([[c, s], [-s, c]]) + truth.origin)
    words = [f"{x:.1f},{y:.1f}" for x, y in corners]
    assert run(["board", str(folder / "left.jpg"), "--corners", *words, "--size", "300x130", "--indicative", "--out", str(tmp_path / "b.png")]) == 0
    assert capsys.readouterr().out.splitlines() == [str(tmp_path / n) for n in ("b.png", "b.toml", "b.mask.png")]
    record = tomllib.loads((tmp_path / "b.toml").read_text())
    assert record["size_mm"] == pytest.approx([300, 130], abs=0.5) and record["actual"] is False


@pytest.mark.parametrize("arguments, told", [
    (["--corners", "1,1", "2,2", "3,3", "4,4"], "without the board's size"),
    (["--corners", "100,100", "900,700", "900,100", "100,700", "--size", "300x130"], "crosses itself"),
    (["--corners", "1;1", "2,2", "3,3", "4,4"], '"1;1" is not x,y in pixels of the photo, as 812,440.'),
    (["--corners", "1,1", "900,2", "900,700", "--size", "300x130"], "4 points are needed, each x,y in pixels of the photo, as 812,440."),
    (["--ruler", "9"], "ruler"), (["--size", "30x13"], "mm"), (["--grey-value", "18"], "18"),
    (["--second", "nope.jpg"], "nope.jpg: There is no such file."), (["--dpi", "300", "--grey", "1,1"], "--dpi is for a flat scan"),
    (["--target", "2014"], '"2014" is not one of'), (["--report", "r.gif"], '".gif" cannot be written'),
    (["--out", "scene.png"], "scene.toml: This file is there already, and is not one of a board."),
    (["--wood", " "], "The kind of wood is empty"),
])
def test_board_refuses_in_one_line(shots, tmp_path, monkeypatch, bad, arguments, told):
    monkeypatch.chdir(tmp_path)
    Path("scene.toml").write_text("[scene]\n")
    assert told in bad("board", shots[0] / "left.jpg", *arguments)
    assert os.listdir() == ["scene.toml"]


def test_the_board_of_another_photo_is_never_written_over(tmp_path, monkeypatch, bad, capsys):
    """A top and a back photographed one after the other, and a picture of the maker's own, which bears that name by chance."""
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(4)
    for name in ("top", "back"):
        Image.fromarray(rng.integers(90, 190, (300, 500, 3), np.uint8)).save(f"{name}.png")
    scan = ["--dpi", "50"]
    assert run(["board", "top.png", *scan, "--out", "my guitar"]) == 0
    before, _ = contents(tmp_path), capsys.readouterr()
    told = bad("board", "back.png", *scan, "--out", "my guitar")
    assert told == ("my guitar/board.png: This picture is there already, and is the board of another photo, top.png. "
                    'Choose another name, as --out "my guitar/board-2.png", or move that one away.')
    assert contents(tmp_path) == before
    assert run(["board", "top.png", *scan, "--wood", "walnut", "--out", "my guitar"]) == 0, "the same photo, said better"
    capsys.readouterr()
    Path("board.png").write_bytes(b"mine")
    assert "is not one of a photo's board" in bad("board", "back.png", *scan) and Path("board.png").read_bytes() == b"mine"


def test_a_size_that_is_not_the_photos_is_told(tmp_path, monkeypatch, capsys):
    """Width and height changed about, and cm for mm: the wood would be drawn out, or ten times too fine."""
    monkeypatch.chdir(tmp_path)
    wood = np.random.default_rng(4).integers(90, 190, (400, 800, 3), np.uint8)
    Image.fromarray(wood).save("photo.png")
    corners = ["--corners", "40,40", "760,40", "760,360", "40,360"]  # 9 to 4
    found = {}
    for size in ("450x200", "200x450", "45x20"):
        assert run(["board", "photo.png", *corners, "--size", size]) == 0
        found[size] = capsys.readouterr().err
    assert "fair  The scale rests on the corners and the size you gave; " in found["450x200"]
    # (9 / 4) squared
    assert "poor  The size you gave, 200 x 450 mm, draws the board 5.1 times higher than the photo shows it, and its wood with it. Check it" in found["200x450"]
    assert "45 x 20 mm, which is small for a board. If that was cm or inches, give it in mm" in found["45x20"]


def test_a_photo_is_never_written_over(shots, tmp_path, monkeypatch, bad):
    monkeypatch.chdir(tmp_path)
    Image.open(shots[0] / "left.jpg").save("board.png")
    before = contents(tmp_path)
    assert "inputs are never changed" in bad("board", "board.png")
    assert contents(tmp_path) == before


def test_how_a_board_is_stored_is_no_note_for_a_client(desk, capsys):
    """What mockup board wrote is read as fine as it is: that goes without saying, on a picture and on an approval."""
    assert run(["render", "pipit.toml", "--scale", "1"]) == 0
    assert "bits" not in capsys.readouterr().err
    assert run(["approve", "pipit.toml", "--variant", "one"]) == 0
    assert not [n for n in json.loads(Path("pipit.one.approval.json").read_text())["notes"] if "bits" in n]


# -- place ------------------------------------------------------------------------------


def test_the_best_places_as_a_picture_and_one_taken(desk, capsys):
    before = (desk / "pipit.toml").read_text()
    assert run(["place", "pipit.toml", "--part", "top"]) == 0
    out, err = capsys.readouterr()
    assert out == "pipit.top.places.png\n" and (desk / "pipit.toml").read_text() == before
    lines = [line.split() for line in err.splitlines()]
    assert [line[0] for line in lines[:2]] == ["1", "2"]
    with Image.open("pipit.top.places.png") as image:
        assert image.width > 500 and image.info["icc_profile"]
    others = {n: h for n, h in contents(desk).items() if n != "pipit.toml"}
    assert run(["place", "pipit.toml", "--take", "2"]) == 0, "the only part need not be named"
    assert capsys.readouterr().out == "pipit.toml\n", "the path as it was given"
    assert {n: h for n, h in contents(desk).items() if n != "pipit.toml"} == others
    after = (desk / "pipit.toml").read_text()
    kept = after.splitlines()
    new = [line for line in kept if line not in before.splitlines()]
    assert [line.split(" = ")[0] for line in new] == ["at", "turn"]
    assert [line for line in kept if line not in new] == before.splitlines(), "remarks and order stay"
    assert kept.index(new[0]) == kept.index('board = "mine"            # the very board') + 1
    place = load_scene("pipit.toml").parts[0].placement
    at = [float(v.strip(",")) for v in lines[1][2:4]]
    assert place.at == tuple(at) and place.turn == float(lines[1][5])
    assert run(["place", "pipit.toml", "--take", "1"]) == 0
    assert len((desk / "pipit.toml").read_text().splitlines()) == len(kept), "changed, not added again"
    capsys.readouterr()
    for given, told in ((".", "pipit.toml"), ("../pipit", "../pipit/pipit.toml"), (str(desk), str(desk / "pipit.toml"))):
        assert run(["place", given, "--take", "1"]) == 0
        assert capsys.readouterr().out == f"{told}\n"


def test_a_keep_out_is_kept_out(desk, capsys):
    assert run(["place", "pipit.toml", "--keep-out", "100,65,12", "--take", "1", "--aim", "plain"]) == 0
    part = load_scene("pipit.toml").parts[0]
    from mockup.render.placement import leaves

    points = leaves(part)[0].to_board(part.shape.rings[0])
    from shapely.geometry import Point, Polygon

    assert Polygon(points).distance(Point(100, 65)) >= 12


@pytest.mark.parametrize("arguments, told", [
    (["pipit.toml", "--part", "tip"], 'pipit.toml: There is no part "tip". Did you mean "top"?'),
    (["pipit.toml", "--margin", "70"], "fits nowhere on this board"), (["pipit.toml", "--angle", "0"], "grain within 0 degrees"),
    (["pipit.toml", "--take", "9"], "9"), (["pipit.toml", "--thickness", "12"], 'The part "top" is not bookmatched.'),
    (["pipit.toml", "--keep-out", "1,2"], '"1,2" is not x,y,radius in mm on the board'), (["pipit.toml", "--out", "board.png"], "inputs are never changed"),
    (["tern", "--part", "top", "--take", "1"], "tern.toml: A built-in scene stays as it is."),
])
def test_place_refuses_in_one_line(desk, bad, arguments, told):
    before = contents(desk)
    assert told in bad("place", *arguments)
    assert contents(desk) == before


@pytest.mark.parametrize("text", [
    '[parts.top]\nboard = "b"\n', '[parts.top]\r\nat = [1, 2] # here\r\nboard = "b"\r\n\r\n# next\r\n[x]\r\ny = 1\r\n', '[parts."top"]',
    '[parts]\ntop = { board = "b", cut = "single" } # one line\n', 'parts.top.board = "b"\nparts.top.turn = 3\n',
    '\ufeff[parts.top]\nboard = """\n[parts.top]\n"""\n', "[ parts . top ] # odd\n\n# remark\n[parts.top.binding]\nwidth = 2\n",
])
def test_any_way_of_writing_a_part(text):
    """at and turn are set, every other value and every remark stays."""
    out = with_placement(text, "top", (12.5, 3), -4)
    wanted, found = (tomllib.loads(t.removeprefix("\ufeff")) for t in (text, out))
    wanted["parts"]["top"].update(at=[12.5, 3.0], turn=-4.0)
    assert found == wanted
    assert all(line.split("#")[1] in out for line in text.splitlines() if "#" in line)
    assert ("\r\n" in out) == ("\r\n" in text) and out.startswith("\ufeff") == text.startswith("\ufeff")


def test_a_part_made_from_measures_is_left_to_its_maker():
    with pytest.raises(MockupError, match="no table of its own"):
        with_placement('[scene]\ntitle = "x"\n', "neck", (1, 2), 3)


# -- render --light tilt ----------------------------------------------------------------


def frames_of(path):
    with Image.open(path) as image:
        return [f.convert("RGB").copy() for f in ImageSequence.Iterator(image)], image


def test_the_figure_moves_and_the_picture_says_what_that_rests_on(desk, capsys):
    """Only wood moves, and as its fibres lie; the loop closes; measured where two photographs told, else estimated."""
    with Image.open("board.png") as image:
        width, height = image.size
    # A curl of 12 mm along the grain, which runs along x; the simulated boards have none.
    wave = np.sin(np.arange(width) * (300 / width) * 2 * np.pi / 12)
    dip_file(desk / "board.png").write_bytes(dip_png(np.tile(6 * wave, (height, 1))))
    assert run(["render", "pipit.toml", "--light", "tilt", "--scale", "2", "--out", "frames"]) == 0
    out, err = capsys.readouterr()
    files = out.splitlines()
    assert len(files) == 24 and files[0] == "frames/pipit.tilt.00.png" and "flame maple: measured from two photographs" in err
    stack = np.stack([np.asarray(Image.open(f)).astype(float) for f in files])
    moved = stack.std(axis=0).mean(axis=2)
    height, width = moved.shape
    top = (slice(height // 2 - 60, height // 2 + 40), slice(width // 2 - 40, width // 2 + 40))
    assert moved[top].mean() > 4 and moved[:20, :20].max() == 0, "the ground stands still"
    # Turned upright the board's x runs up the drawing: the lamp of the first frame stands where the wave falls.
    swing = (stack[0] - stack[12])[top].mean(axis=(1, 2))
    part = load_scene("pipit.toml").parts[0]
    from mockup.render.placement import leaves

    (leaf,) = leaves(part)
    y = (np.arange(top[0].start, top[0].stop) + 0.5) / 2 - 28 + part.shape.bounds[1]
    x = leaf.to_board(np.stack([np.full(y.shape, 50.0), y], axis=1))[:, 0]
    rises = np.sin(x * 2 * np.pi / 12) * np.sign(leaf.matrix[0, 1])
    assert np.corrcoef(swing, rises)[0, 1] < -0.9, "fibres that rise away from the lamp flash"
    steps = np.abs(np.diff(np.concatenate([stack, stack[:1]]), axis=0)).mean(axis=(1, 2, 3))
    assert steps[-1] < 1.5 * steps[:-1].max(), "the last frame leads to the first"
    dip_file(desk / "board.png").unlink()
    assert run(["render", "pipit.toml", "--light", "tilt", "--scale", "2"]) == 0
    out, err = capsys.readouterr()
    assert out == "pipit.tilt.webp\n" and "estimated from one picture" in err
    frames, image = frames_of("pipit.tilt.webp")
    assert 8 < len(frames) <= 24 and image.info["loop"] == 0
    assert run(["render", "pipit.toml", "--light", "tilt", "--scale", "1", "--out", "t.gif"]) == 0
    assert len(frames_of("t.gif")[0]) == 24


def test_two_opened_leaves_move_against_each_other(desk):
    """Fibres of a leaf opened like a page dip the other way: where one half flashes the other is dull."""
    (desk / "pipit.toml").write_text(SCENE.replace('board = "mine"', 'board = "mine"\ncut = "bookmatch"'))
    assert run(["render", "pipit.toml", "--light", "tilt", "--scale", "2", "--out", "frames"]) == 0
    first, other = (np.asarray(Image.open(f"frames/pipit.tilt.{n:02d}.png")).astype(float).mean(axis=2) for n in (0, 12))
    change = first - other
    middle = change.shape[1] // 2
    rows = slice(change.shape[0] // 2 - 70, change.shape[0] // 2 + 50)
    right, left = change[rows, middle + 4:middle + 60], change[rows, middle - 60:middle - 4][:, ::-1]
    assert np.corrcoef(right.ravel(), left.ravel())[0, 1] < -0.5


def test_fibre_angles_read_back(tmp_path):
    dip = np.linspace(-30, 30, 200).reshape(10, 20)
    (tmp_path / "a.dip.png").write_bytes(dip_png(dip))
    assert np.abs(read_dip(tmp_path / "a.dip.png") - dip).max() <= 1 / 512 + 1e-6
    Image.new("RGB", (4, 4)).save(tmp_path / "b.dip.png")
    with pytest.raises(MockupError, match="no map of fibre angles"):
        read_dip(tmp_path / "b.dip.png")


@pytest.mark.parametrize("arguments, told", [
    (["--side", "both"], "--light tilt goes with one side"), (["--out", "a.png"], 'a.png: ".png" cannot be written. Use one of: .webp, .gif.'),
    (["--scale", "40"], "too large to send"), (["--light", "disco"], '"disco" is not "tilt"'), (["--out", "board.png"], '".png" cannot be written'),
])
def test_tilt_refuses_in_one_line(desk, bad, arguments, told):
    before = contents(desk)
    assert told in bad("render", "pipit.toml", "--light", "tilt", *arguments)
    assert contents(desk) == before


# -- colours under another light, and later ---------------------------------------------


def test_colours_elsewhere_are_estimates_with_their_reasons(desk, capsys):
    assert run(["colours", "pipit.toml", "--light", "warm", "--years", "20", "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    (part,), (later,) = plain["parts"], plain["estimates"]
    assert later["lab"][2] > part["finished_lab"][2] and later["lab"][1] > part["finished_lab"][1], "yellower under oil, redder under a lamp"
    assert later["less"][0] > later["lab"][0] > later["more"][0] and "maple" in later["basis"] and "spectra guessed" in later["basis"]
    assert run(["colours", "pipit.toml", "--light", "led"]) == 0
    assert "under a white LED: ΔE00" in capsys.readouterr().out
    assert run(["colours", "pipit.toml"]) == 0
    assert "estimate" not in capsys.readouterr().out.replace("library estimate", "")


@pytest.mark.parametrize("arguments, told", [
    (["--years", "90"], "Age is 90 years. Use 0 to 60."), (["--years", "-1"], "Age is -1 years."), (["--case"], "--case goes with --years."),
    (["--light", "candle"], '"candle" is not one of'),
])
def test_colours_refuse_in_one_line(desk, bad, arguments, told):
    assert told in bad("colours", "pipit.toml", *arguments)
