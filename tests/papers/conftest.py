"""The small instrument of ``conftest_papers``, for tests to spoil or to share."""

import re
import shutil
from pathlib import Path

import pytest
from conftest_papers import make_folder

from mockup.scene.load import load_scene


@pytest.fixture
def plover(tmp_path) -> Path:
    """Path of a scene that a test may spoil."""
    return make_folder(tmp_path / "plover")


@pytest.fixture(scope="session")
def good_scene(tmp_path_factory):
    """A loaded scene that no test may spoil."""
    return load_scene(make_folder(tmp_path_factory.mktemp("papers") / "plover"))


@pytest.fixture(scope="session")
def good_kept():
    """What the pictures of ``good_scene`` leave behind, shared by all tests."""
    from mockup.render.kept import Kept

    return Kept()


def _on_maple(scene, folder, lines):
    """The scene on a board of plain maple, with more lines in its file."""
    shutil.copytree(scene.folder, folder)
    (folder / "plover.toml").write_text(re.sub(r'photo = "table.png".*?grain = 90', 'texture = "maple-plain-1"', scene.file.read_text(), flags=re.S) + lines)
    return load_scene(folder / "plover.toml")


DYED = """
[variants.dyed]
title = "Dyed"
[variants.dyed.set]
"parts.body.finish" = [ { stain = "red", strength = 1 }, { coat = "water-borne", coats = 3 } ]
"""
PAINTED = """
[variants.painted]
title = "Painted"
[variants.painted.set]
"parts.body.finish" = [ { paint = [PAINT] } ]
"""


@pytest.fixture(scope="session")
def metameric(good_scene, good_kept, tmp_path_factory):
    """A red dye, and a paint mixed to its very colour in daylight."""
    from mockup.render.colours import colours

    dyed = _on_maple(good_scene, tmp_path_factory.mktemp("dyed") / "plover", DYED).with_variant("dyed")
    lab = next(c for c in colours(dyed, kept=good_kept) if c.part == "body").finished_lab
    return _on_maple(good_scene, tmp_path_factory.mktemp("pair") / "plover", DYED + PAINTED.replace("PAINT", ", ".join(f"{v:.1f}" for v in lab)))
