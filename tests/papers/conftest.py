"""The small instrument of ``conftest_papers``, for tests to spoil or to share."""

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
