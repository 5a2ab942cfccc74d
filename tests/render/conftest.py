"""A board on disk and a finish for it."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented import AMBER, VARNISH, save, wood_codes

from mockup.finish.steps import Coat, Finish, StainStep


@pytest.fixture(scope="session")
def plank(tmp_path_factory) -> tuple[Path, float, tuple[int, int]]:
    """A board of 150 x 120 mm at 4 px/mm: its file, mm per pixel, and size in pixels."""
    path = save(tmp_path_factory.mktemp("plank") / "plank.png", wood_codes(480, 600))
    return path, 0.25, (600, 480)


@pytest.fixture
def amber_finish() -> Finish:
    return Finish(steps=(StainStep(stain=AMBER, strength=0.6), Coat(film=VARNISH, coats=3)), sheen=80.0)
