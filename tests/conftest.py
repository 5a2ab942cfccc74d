"""What tests of several rooms share: one small instrument on a real-looking board."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[1]
CHROMIUM = next((path for name in ("chromium", "chromium-browser", "google-chrome", "chrome") if (path := shutil.which(name))), None)

# No deadline: machines differ. The same examples each time: a failure must come again.
hypothesis.settings.register_profile("steady", deadline=None, derandomize=True)
hypothesis.settings.load_profile("steady")

SMALL_SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="120mm" viewBox="0 0 100 120">
<path id="body" d="M 50 12 C 76 10 90 26 86 48 C 83 60 88 70 92 84 C 94 102 72 110 50 109
                   C 28 110 6 102 8 84 C 12 70 17 60 14 48 C 10 26 24 10 50 12 Z"/>
<ellipse id="top" cx="50" cy="66" rx="27" ry="33"/>
</svg>
"""

SMALL_SCENE = """
[scene]
title = "Pipit"
revision = "B"
client = "A client"
date = 2026-11-25

[boards.flame]
photo = "flame.jpg"
mm_per_pixel = 0.25
wood = "flame maple"
actual = true

[parts.body]
title = "Body"
outline = "pipit.svg#body"
board = "flame"
height = 40
roundover = 3
finish = [ { stain = "walnut brown", strength = 0.4 }, { coat = "oil", coats = 3 } ]
sheen = 15

[parts.top]
title = "Top"
outline = "pipit.svg#top"
board = "flame"
cut = "bookmatch"
height = 44
finish = [ { stain = "honey", strength = 0.6 }, { coat = "oil varnish", coats = 4 } ]
sheen = 80
binding = { width = 1.5, colour = [86, 1.5, 12], line = 0.4 }

[variants.honey]
title = "Honey"
why = "Light and warm."

[variants.blue]
title = "Blue"
why = "Cool."
[variants.blue.set]
"parts.top.finish.1" = { stain = "blue", strength = 0.6 }
"parts.top.sheen" = 25
"""


@pytest.fixture(scope="session")
def chromium():
    """Debian's Chromium under Playwright; skipped on a machine without one, but where MOCKUP_NEEDS_BROWSER asks for it."""
    if CHROMIUM is None:
        if os.environ.get("MOCKUP_NEEDS_BROWSER"):
            pytest.fail("there is no Chromium on this machine")
        pytest.skip("there is no Chromium on this machine: install it, as with apt-get install chromium")
    from playwright.sync_api import sync_playwright

    # One for all tests of a process: a second Playwright does not start beside the first.
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def board_jpeg(tmp_path_factory) -> Path:
    """A piece of the built-in flame maple, 130 x 170 mm at 4 pixels per mm, as an ordinary JPEG."""
    import cv2

    texture = cv2.imread(str(ROOT / "textures" / "flame-maple-1.jpg"))
    piece = cv2.resize(texture[200:200 + 1020, 300:300 + 780], (520, 680), interpolation=cv2.INTER_AREA)
    path = tmp_path_factory.mktemp("boards") / "flame.jpg"
    assert cv2.imwrite(str(path), piece, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


def write_small(folder: Path, board: Path, scene: str = SMALL_SCENE) -> Path:
    """The small instrument as a new folder; gives the scene file."""
    folder.mkdir()
    (folder / "pipit.svg").write_text(SMALL_SVG)
    (folder / "pipit.toml").write_text(scene)
    shutil.copy(board, folder / "flame.jpg")
    return folder / "pipit.toml"


@pytest.fixture
def small_scene(tmp_path, board_jpeg) -> Path:
    """A folder ``pipit`` with a scene of two parts and two variants; gives the scene file."""
    return write_small(tmp_path / "pipit", board_jpeg)


@pytest.fixture(scope="session")
def mockup():
    """Runs the command in a process of its own: mockup("render", scene, cwd=...) gives code, stdout and stderr."""

    def run(*arguments, cwd=None, **more) -> subprocess.CompletedProcess:
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
        return subprocess.run([sys.executable, "-m", "mockup", *map(str, arguments)], cwd=cwd, env=environment,
                              stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120, **more)

    return run
