"""The wheel carries what the program reads, and works away from the checkout."""

import os
import re
import shlex
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

import mockup

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)], cwd=ROOT, check=True,
                   capture_output=True)
    (file,) = folder.glob("*.whl")
    return zipfile.ZipFile(file)


def tracked(*folders):
    for folder in folders:
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and path.suffix not in (".pyc", ".py") and "__pycache__" not in path.parts:
                yield path.relative_to(ROOT).as_posix()


def test_everything_the_program_reads_is_inside(wheel):
    inside = set(wheel.namelist())
    wanted = {(name if name.startswith("mockup/") else f"mockup/{name}") for name in tracked("mockup", "textures", "scenes")}
    assert wanted - inside == set()
    # Named, so that an empty folder cannot pass.
    for name in ("textures/flame-maple-1.jpg", "textures/flame-maple-1.toml", "scenes/tern/tern.toml", "scenes/tern/tern.svg",
                 "scenes/heron/heron.svg", "files/srgb.icc", "scene/template/scene.toml", "scene/library/stains/honey.toml",
                 "scene/library/films/oil-varnish.toml", "wood/species/maple.toml", "papers/fonts/mockup-sans-regular.ttf"):
        assert f"mockup/{name}" in inside
    assert any(name.endswith("licenses/LICENSE") for name in inside)
    assert not [name for name in inside if name.startswith(("tests/", "mockup/tests"))]
    assert len(inside) == len(wheel.namelist()), "a file is packed twice"


def test_the_wheel_says_what_it_is(wheel):
    (name,) = [n for n in wheel.namelist() if n.endswith("/METADATA")]
    text = wheel.read(name).decode()
    assert f"Version: {mockup.__version__}\n" in text and "Requires-Python: >=3.11" in text
    assert "License-Expression: MIT" in text


def test_works_away_from_the_checkout(wheel, tmp_path):
    """Unpacked elsewhere, the woods and scenes are found inside the package."""
    home, empty = tmp_path / "site", tmp_path / "empty"
    wheel.extractall(home)
    empty.mkdir()
    environment = {**os.environ, "PYTHONPATH": str(home)}

    def run(*words):
        return subprocess.run([sys.executable, *words], cwd=empty, env=environment, capture_output=True, text=True, check=True).stdout

    assert run("-c", "import mockup; print(mockup.__file__)").startswith(str(home))
    assert "flame-maple-1" in run("-m", "mockup", "wood", "list")
    run("-m", "mockup", "new", "first")
    assert run("-m", "mockup", "render", "heron", "--scale", "0.5") == "heron.png\n"
    assert run("-c", "from mockup.scene.places import textures_folder as t; print(t())").strip() == str(home / "mockup" / "textures")


def readme_blocks():
    return re.findall(r"^ *```[a-z]*\n(.*?)^ *```", (ROOT / "README.md").read_text(), re.S | re.M)


def test_readme_has_the_two_lines():
    lines = "".join(readme_blocks()).splitlines()
    assert 'pip install . && mockup demo' in lines
    assert 'pip install -e ".[test]" && pytest' in lines
    # .ci/run takes its test line from there, and cannot drift.
    assert 'readme_line pytest' in (ROOT / ".ci" / "run").read_text()


def test_every_command_in_the_readme_is_understood():
    import click

    from mockup.cli import cli

    lines = [line.strip() for block in readme_blocks() for line in block.splitlines() if line.strip().startswith("mockup ")]
    assert len(lines) >= 5
    for line in lines:
        words = shlex.split(line.split("#")[0])[1:]
        command = cli
        while isinstance(command, click.Group):
            command, words = command.commands[words[0]], words[1:]
        command.make_context("readme", words)


def test_readme_pictures_are_there_and_modest():
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text())
    assert pictures
    for name in pictures:
        assert (ROOT / name).is_file(), name
        assert (ROOT / name).stat().st_size < 400_000, name


def test_dependencies_have_lower_bounds():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = [line for lines in project["optional-dependencies"].values() for line in lines]
    assert [line for line in project["dependencies"] + extras if ">=" not in line] == []
    assert "opencv-python-headless" in " ".join(project["dependencies"]), "the other wheel needs screen libraries"
