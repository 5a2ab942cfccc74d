"""One good scene to spoil: a round body and a lopsided top on a photographed board."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from mockup.errors import MockupError
from mockup.scene.load import load_scene

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="400mm" viewBox="0 0 300 400">
<path id="body" d="M 50 100 L 250 100 L 250 300 L 50 300 Z"/>
<path id="top" d="M 60 110 L 240 110 L 240 290 L 60 290 Z"/>
<path id="narrow" d="M 135 -200 L 165 -200 L 165 150 L 135 150 Z"/>
<path id="guard" d="M 100 150 L 190 150 L 190 180 L 100 180 Z"/>
</svg>
"""

GOOD = """
[scene]
title = "Wren"
revision = "A"
date = 2026-11-25
hand = "right"
ground = [88, 0, 0]

[boards.maple]
photo = "maple.png"
mm_per_pixel = 2
wood = "flame maple"
actual = true

[parts.body]
outline = "wren.svg#body"
board = "maple"
at = [140, 240]
turn = 3
height = 44

[parts.top]
title = "Top"
outline = "wren.svg#top"
board = "maple"
cut = "bookmatch"
joint = 152
finish = [ { stain = "amber", strength = 0.7 }, { sand_back = 0.4 }, { burst = "tobacco", width = 70, edge = 8, strength = 0.8 }, { coat = "oil varnish", coats = 4 }, { paint = [40, 30, 20], cover = 0.6, words = "smoke" } ]
sheen = 85
binding = { width = 2.2, colour = [86, 1.5, 12], line = 0.5 }

[variants.plain]
title = "Plain"

[variants.red]
title = "Red"
why = "It is red."
[variants.red.set]
"parts.top.finish.1.stain" = "red"
"parts.top.finish.6" = { coat = "shellac" }
"parts.body.sheen" = 5
"""


@pytest.fixture
def good() -> str:
    return GOOD


@pytest.fixture
def folder(tmp_path) -> Path:
    home = tmp_path / "wren"
    home.mkdir()
    (home / "wren.svg").write_text(SVG)
    Image.fromarray(np.full((250, 150, 3), 180, np.uint8)).save(home / "maple.png")
    (home / "wren.toml").write_text(GOOD)
    return home


@pytest.fixture
def told(folder):
    """Writes a spoiled scene and gives what is said about it, one line a problem."""

    def tell(*changes: tuple[str, str], text: str = GOOD) -> list[str]:
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new, 1)
        (folder / "wren.toml").write_text(text)
        with pytest.raises(MockupError) as caught:
            load_scene(folder / "wren.toml")
        return str(caught.value).split("\n")

    return tell
