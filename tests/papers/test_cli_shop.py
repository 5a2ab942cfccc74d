"""Print, shop, dossier and compare as a maker runs them."""

import json

import pytest
from pypdf import PdfReader

from mockup.cli import run


@pytest.fixture
def desk(tmp_path, monkeypatch):
    (tmp_path / "desk").mkdir()
    monkeypatch.chdir(tmp_path / "desk")
    return tmp_path / "desk"


def files(folder):
    return sorted(p.name for p in folder.iterdir())


def test_print(plover, desk, capsys):
    assert run(["print", str(plover), "--variant", "red", "--paper", "letter", "--content", "outline"]) == 0
    out, err = capsys.readouterr()
    assert out == "plover.red.print.pdf\n" and err == "1 page. Print at 100 %, and measure the bars.\n"
    box = PdfReader("plover.red.print.pdf").pages[0].mediabox
    assert sorted((round(float(box.width)), round(float(box.height)))) == [612, 792]


def test_shop_from_the_first_file_to_ready(plover, desk, capsys):
    assert run(["shop", str(plover), "--new"]) == 0
    assert capsys.readouterr().out == f"{plover.parent / 'shop.toml'}\n"
    assert run(["shop", str(plover), "--new"]) == 2
    assert capsys.readouterr().err == "shop.toml: The scene has a shop file already. Fill that in.\n"
    text = (plover.parent / "shop.toml").read_text().replace('bought = "none"', "").replace("length = 25 ", "length = 5 ")
    (plover.parent / "shop.toml").write_text(text + '[fittings.pin]\npart = "body"\nat = [60, 20]\nlisted = { diameter = 12 }\n')
    assert run(["shop", str(plover), "--out", "shop"]) == 0
    out, err = capsys.readouterr()
    assert err.splitlines() == ["Not ready to cut:", "  Pin, on the body: diameter not measured.",
                                '  Body and cover: their blanks lie over each other on the board "table"; move one, or take another board.',
                                "  Body: the thickness of the body and that of the board are not in the shop's file.",
                                "  Cover: the thickness of the cover and that of the board are not in the shop's file."]
    assert {line.rpartition("/")[2] for line in out.splitlines()} == set(files(desk / "shop"))
    # A board of 80 mm is thick enough to be sawn for both.
    text = (plover.parent / "shop.toml").read_text() + "measured = { diameter = 12.1 }\n"
    for name, thick in (("boards.table", 80), ("parts.body", 40), ("parts.plate", 4)):
        text = text.replace(f"# [{name}]\n# thickness = 0\n", f"[{name}]\nthickness = {thick}\n")
    (plover.parent / "shop.toml").write_text(text)
    assert run(["shop", str(plover), "--out", "shop", "--start", "2199-01-07", "--paper", "letter"]) == 0
    assert capsys.readouterr().err == "Ready to cut.\n"
    assert json.loads((desk / "shop" / "plover.shop.json").read_text())["schedule"][0]["first"] == "2199-01-07"


@pytest.mark.parametrize("given", ["../plover/plover.toml", "../plover"])
def test_the_first_file_is_told_as_the_scene_was_named(plover, desk, capsys, given):
    assert run(["shop", given, "--new"]) == 0
    assert capsys.readouterr().out == "../plover/shop.toml\n" and (plover.parent / "shop.toml").is_file()


def test_dossier(plover, desk, capsys):
    assert run(["dossier", str(plover), "--variant", "red", "--out", "agreed"]) == 0
    assert files(desk / "agreed") == ["plover.red.dossier.csv", "plover.red.dossier.json", "plover.red.dossier.pdf", "plover.red.revision-01.json",
                                      "plover.red.revision-01.png"]
    assert "Keep the revision files" in capsys.readouterr().err


@pytest.mark.parametrize("arguments, told", [
    (["print", "{}", "--paper", "100x100"], "paper 100x100: The paper, 100 x 100 mm, is too small for a tile. Use paper of at least 176 x 88 mm."),
    (["print", "{}", "--out", "a.png"], 'a.png: ".png" cannot be written. Use one of: .pdf.'),
    (["shop", "{}", "--start", "2020-01-01"], "start: The start, 2020-01-01, is past: today is "),
    (["shop", "tern", "--new"], 'mockup shop: "tern" is a built-in scene, which stays as it is. Begin your own with mockup new.'),
    (["dossier", "{}", "--variant", "rad"], 'plover.toml: There is no variant "rad". Did you mean "red"?'),
    (["compare", "no.json", "no.jpg"], "no.json: "),
    (["compare", "no.json", "no.jpg", "--part", "top=1,2"], 'mockup compare: "top=1,2" is not NAME or NAME=x,y,width,height in mm'),
])
def test_bad_wishes_are_told_in_one_line_and_write_nothing(plover, desk, capsys, arguments, told):
    before = files(plover.parent)
    assert run([a.format(plover) for a in arguments]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith(told) and err.count("\n") == 1, err
    assert files(desk) == [] and files(plover.parent) == before
