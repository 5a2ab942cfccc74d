"""Woods and stains on the command line: pictures to choose from, boards drawn, stains learned and solved."""

import os
import re
import sys
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from mockup.cli import run
from mockup.colour.spaces import linear_to_lab
from mockup.files.photo import read_photo
from mockup.scene.library import read_film, read_stain, stains, textures
from mockup.scene.load import load_scene

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "finish"))  # its camera and its dyes: the truth that "fit" is tried on

SCENE = """
[scene]
title = "Pipit"
[boards.new]
photo = "{photo}"
{more}
[parts.top]
outline = "pipit.svg#top"
finish = [ {{ stain = "{stain}", strength = 1 }} ]
[variants.one]
title = "One"
why = "As it is."
"""
SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="60mm" viewBox="0 0 40 60"><ellipse id="top" cx="20" cy="30" rx="9" ry="14"/></svg>"""


@pytest.fixture
def desk(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pipit.svg").write_text(SVG)
    return tmp_path


@pytest.fixture
def bad(capsys):
    def tell(*arguments):
        assert run([str(a) for a in arguments]) == 2
        out, err = capsys.readouterr()
        assert out == "" and err.count("\n") == 1 and "Traceback" not in err
        return err.rstrip("\n")

    return tell


def lab(pixels):
    return linear_to_lab(pixels.reshape(-1, 3).mean(axis=0, dtype=np.float64) / 65535)


# -- wood ---------------------------------------------------------------------------


def test_list_with_a_picture_of_it(desk, capsys):
    """A line for each board, and a tile for each line, in its own colour."""
    assert run(["wood", "list", "--out", "deep/woods.jpg"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == [*textures(), "deep/woods.jpg"]
    page = np.asarray(Image.open("deep/woods.jpg")).astype(int)
    ebony, spruce = (list(textures()).index(n) for n in ("ebony-1", "spruce-1"))
    tile = page.shape[1] / 297
    at = [(round((12 + k % 6 * (248 / 6 + 5) + 20) * tile), round((30 + k // 6 * 68 + 25) * tile)) for k in (ebony, spruce)]
    dark, pale = (page[y, x].sum() for x, y in at)
    assert pale > dark + 200


def test_kinds_are_those_that_can_be_made(desk, capsys):
    assert run(["wood", "list", "--kinds"]) == 0
    assert "quilt-maple" in capsys.readouterr().out


def test_a_made_board_is_one_a_scene_can_name(mockup, desk):
    done = mockup("wood", "make", "Flame Maple", "--cut", "quarter", "--size", "90x40", "--seed", "7", "--scale", "4", cwd=desk)
    assert (done.returncode, done.stdout) == (0, "flame-maple-7.png\nflame-maple-7.toml\n")
    with Image.open(desk / "flame-maple-7.png") as image:
        assert image.size == (160, 360), "the grain along the longer side, and that upright"
        assert image.info["icc_profile"]
    record = tomllib.loads((desk / "flame-maple-7.toml").read_text())
    assert (record["cut"], record["actual"]) == ("quarter", False)
    (desk / "pipit.toml").write_text(SCENE.format(photo="flame-maple-7.png", more="", stain="honey"))
    board = load_scene(desk / "pipit.toml").boards["new"]
    assert (board.wood, board.actual, board.grain) == ("flame maple", False, 90)
    assert board.size_mm == pytest.approx((40, 90), abs=0.1)


def test_what_a_scene_says_goes_before_the_file_beside_it(desk):
    assert run(["wood", "make", "walnut", "--size", "90x40", "--scale", "2", "--out", "w.jpg"]) == 0
    (desk / "pipit.toml").write_text(SCENE.format(photo="w.jpg", more='wood = "old walnut"', stain="honey"))
    board = load_scene(desk / "pipit.toml").boards["new"]
    assert (board.wood, board.mm_per_pixel, board.actual) == ("old walnut", 0.5, False)
    (desk / "w.toml").write_text((desk / "w.toml").read_text().replace("= 0.5", "= 900"))
    with pytest.raises(Exception, match="w.toml"):
        load_scene(desk / "pipit.toml")


def test_the_same_seed_is_the_same_board_and_a_raking_light_is_no_board(desk):
    for out, more in (("a.png", []), ("b.png", []), ("c.png", ["--seed", "2"]), ("d.png", ["--light", "raking"])):
        assert run(["wood", "make", "cherry", "--size", "60x30", "--scale", "3", "--out", out, *more]) == 0
    a, b, c, d = (Path(f"{n}.png").read_bytes() for n in "abcd")
    assert a == b and a != c and a != d
    assert not Path("d.toml").exists()


@pytest.mark.parametrize("name, file", [("hard maple", "maple-1"), ("maple-plain-2", "maple-1"), ("Flame Maple", "flame-maple-1"), ("bird's-eye maple", "birdseye-maple-1")])
def test_a_wood_is_sawn_by_any_name_that_the_list_prints(desk, name, file):
    assert run(["wood", "make", name, "--size", "60x30", "--scale", "2"]) == 0
    assert Path(f"{file}.png").exists()


@pytest.mark.parametrize("arguments, told", [
    (["walnt"], 'There is no wood "walnt". Did you mean "walnut"?'),
    (["walnut", "--size", "0x0"], "A board of 0 x 0 mm cannot be sawn."),
    (["walnut", "--size", "3kmx2"], '"3kmx2" is not WIDTHxHEIGHT in mm, as 600x200.'),
    (["walnut", "--size", "9000x9000"], "cannot be sawn"),
    (["walnut", "--seed", "1.5"], '"1.5" is not a whole number.'),
    (["walnut", "--seed", "-1"], "is not a whole number from 0 up"),
    (["walnut", "--cut", "quater"], 'There is no cut "quater". Did you mean "quarter"?'),
    (["walnut", "--faults", "kont"], 'There is no fault "kont". Did you mean "knot"?'),
    (["walnut", "--scale", "900"], "900 pixels per mm"),
    (["walnut", "--out", "w.bmp"], '".bmp" cannot be written'),
    (["walnut", "--out", "pipit.png"], "pipit.toml: This file is there already, and is not one of a drawn board."),
])
def test_make_refuses_in_one_line(desk, bad, arguments, told):
    (desk / "pipit.toml").write_text("[scene]\n")
    assert told in bad("wood", "make", *arguments)
    assert sorted(os.listdir()) == ["pipit.svg", "pipit.toml"]


# -- stain ---------------------------------------------------------------------------


def test_a_stain_on_every_wood(desk, capsys):
    """Darker and yellower from the bare end to the full one, on the palest wood at the top."""
    assert run(["stain", "show", "Amber", "--strengths", "0,1", "--on", "walnut-1,maple-plain-1", "--out", "a.png"]) == 0
    assert capsys.readouterr().out == "a.png\n"
    page = read_photo(Path("a.png")).pixels
    strip = page[int(8 * 34):int(8 * 39)]
    bare, full = (lab(strip[:, int(8 * x):int(8 * (x + 40))]) for x in (55, 140))
    assert full[0] < bare[0] - 8 and full[2] > bare[2] + 15


@pytest.mark.slow
def test_all_stains_on_all_woods(desk):
    assert run(["stain", "show", "--all"]) == 0
    assert os.listdir() != [] and Image.open("stains.png").width > 3000


@pytest.mark.parametrize("arguments, told", [
    ([], "Name one stain, or give --all."), (["honey", "--all"], "Name one stain, or give --all."),
    (["hony"], 'There is no stain named "hony". Did you mean "honey"?'), (["honey", "--coat", "laquer"], 'Did you mean "lacquer"?'),
    (["honey", "--strengths", "0,2"], "0, 2 are no strengths for a strip."), (["honey", "--strengths", "a"], '"a" is not numbers'),
    (["no.toml"], "no.toml: There is no such file."), (["honey", "--coats", "200"], "200"),
    (["honey", "--out", "a.toml"], '".toml" cannot be written'), (["honey", "--on", "walnt-1"], 'Did you mean "walnut-1"?'),
])
def test_show_refuses_in_one_line(desk, bad, arguments, told):
    assert told in bad("stain", "show", *arguments)
    assert os.listdir() == ["pipit.svg"]


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Photographs of an offcut, bare and stained amber: spectra, a camera of its own, noise (tests/finish/finish_spectra.py)."""
    from finish_spectra import DYES, Camera, moved, offcut

    from mockup.files.picture import write_picture

    folder, size, camera = tmp_path_factory.mktemp("testboard"), (200, 280), Camera()
    wood = offcut("maple", seed=3, size=size)
    shots = {"bare": camera.photo(wood.spectra(), seed=1), "stained": camera.photo(wood.spectra(DYES["amber"]), seed=2, warp=moved(size)),
             "coated": camera.photo(wood.spectra(DYES["amber"], film=0.12), seed=4, warp=moved(size)),
             "other": camera.photo(offcut("maple", seed=9, size=size).spectra(DYES["amber"]), seed=5)}
    from mockup.colour.spaces import encode_srgb

    for name, linear in shots.items():
        write_picture(folder / f"{name}.png", np.rint(encode_srgb(np.clip(linear, 0, 1)) * 255).astype(np.uint8), px_per_mm=2.5)
    return folder


def test_fit_writes_a_stain_and_a_film_that_a_scene_can_name(photos, desk, capsys):
    told = ["--bare", photos / "bare.png", "--stained", photos / "stained.png", "--coated", photos / "coated.png", "--dye"]
    assert run(["stain", "fit", *map(str, told), "--name", "My Amber", "--size", "112", "--wood", "maple"]) == 0
    out, err = capsys.readouterr()
    assert out == "my-amber.toml\nmy-amber-film.toml\n" and "held-out ΔE00 mean" in err
    stain, film = read_stain(Path("my-amber.toml")), read_film(Path("my-amber-film.toml"))
    assert stain.name == "My Amber" and stain.basis.startswith("fitted on maple: held-out") and stain.spread < 4
    assert film.basis.startswith("fitted on maple, 3 coats")
    assert run(["wood", "make", "maple", "--size", "90x40", "--scale", "2", "--out", "m.png"]) == 0
    (desk / "pipit.toml").write_text(SCENE.format(photo="m.png", more="", stain="my-amber.toml"))
    assert load_scene(desk / "pipit.toml").parts[0].finish.steps[0].stain == stain
    assert run(["stain", "fit", *map(str, told[:4]), "--name", "x", "--out", "pipit.toml"]) == 2, "a scene is no stain to write over"
    assert capsys.readouterr().err.endswith("Choose another name with --out.\n")


@pytest.mark.parametrize("change, told", [
    ({"--stained": "other"}, ""), ({"--stained": "bare", "--bare": "stained"}, "lighter than the bare one"),
    ({"--strengths": "0.5,7"}, "Strength is 7."), ({"--strengths": "0,1"}, "The strip has one stained step."), ({"--coats": "200"}, "200 coats"),
    ({"--name": "a/b"}, '"a/b" is no name for a stain.'), ({"--size": "2"}, "2 mm"), ({"--out": "a.json"}, '".json" cannot be written'),
    ({"--stained": "missing"}, "There is no such file."), ({"--stained": "bare"}, "bare.png: This is the same photo as the one before."),
    ({"--stained": "cutout"}, "cutout.png: The photo has transparent pixels. Crop it to the wood, and save it as a JPEG."),
])
def test_fit_refuses_in_one_line(photos, desk, bad, change, told):
    words = {"--bare": "bare", "--stained": "stained", "--name": "x", **change}
    clear = cv2.cvtColor(cv2.imread(str(photos / "stained.png")), cv2.COLOR_BGR2BGRA)
    clear[:9, :, 3] = 0
    cv2.imwrite(str(photos / "cutout.png"), clear)
    words = {k: str(photos / f"{v}.png") if k in ("--bare", "--stained") else v for k, v in words.items()}
    assert told in bad("stain", "fit", *(w for pair in words.items() for w in pair))
    assert os.listdir() == ["pipit.svg"]


def test_match_finds_the_strength_and_says_when_none_will_do(desk, capsys):
    """The colour that honey at half strength makes is found again; nothing makes walnut white."""
    from mockup.finish.reach import board_lab
    from mockup.finish.steps import Coat, Finish, StainStep
    from mockup.render.boards import prepare_board
    from mockup.scene.library import films, texture

    wood = texture(textures()["maple-plain-1"])
    axes = prepare_board(read_photo(wood.picture).pixels, wood.mm_per_pixel, key="").axes
    finish = Finish(steps=(StainStep(stain=stains()["honey"].value, strength=0.5), Coat(film=films()["water-borne"].value, coats=3)))
    target = ",".join(f"{v:.2f}" for v in board_lab(finish, axes))
    assert run(["stain", "match", "--target", target, "--on", "maple-plain-1", "--mix", "mix.toml"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert re.match(r"A dye mixed to it \(it takes red \S+, green \S+, blue \S+\) brings the board to Lab", out[-2])
    assert out[1].startswith("Honey at 50 % brings the board to") and out[-1] == "mix.toml"
    assert "solved for a target colour" in read_stain(Path("mix.toml")).basis
    patch = np.full((60, 80, 3), 240, np.uint8)
    cv2.imwrite("white.png", patch)
    assert run(["stain", "match", "honey", "--swatch", "white.png", "--on", str(wood.picture)]) == 0
    assert "no dye lightens wood" in capsys.readouterr().out


@pytest.mark.parametrize("arguments, told", [
    (["--on", "walnut-1"], "Give --target or --swatch."), (["--target", "50,20,1"], "--on is missing."),
    (["--target", "50,20", "--on", "x"], '"50,20" is not a colour as L,a,b, as 52,24,38.'),
    (["--target", "500,20,1", "--on", "walnut-1"], "There is no colour L 500"), (["--target", "50,2,1", "--on", "walnt-1"], 'Did you mean "walnut-1"?'),
    (["--target", "50,2,1", "--on", "walnut-1", "--mix", "pipit.toml"], "is neither a stain nor a film"),
])
def test_match_refuses_in_one_line(desk, bad, arguments, told):
    (desk / "pipit.toml").write_text("[scene]\n")
    assert told in bad("stain", "match", *arguments)
