"""A small instrument on a real photograph: scikit-image's coffee table top."""

from pathlib import Path

from PIL import Image
from skimage import data

DRAWING = """<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="150mm" viewBox="0 0 120 150">
<path id="body" d="M 60 10 C 95 10 90 55 80 70 C 105 80 108 140 60 140 C 12 140 15 80 40 70 C 30 55 25 10 60 10 Z"/>
<ellipse id="plate" cx="60" cy="110" rx="16" ry="9"/>
</svg>
"""

SCENE = """
[scene]
title = "Plover"
revision = "B"
client = "A. Client"

[boards.table]
photo = "table.png"
mm_per_pixel = 0.3
wood = "dark table top"
actual = true
grain = 90

[parts.body]
outline = "plover.svg#body"
board = "table"
turn = 0
finish = [ { stain = "amber", strength = 0.4 }, { coat = "oil varnish", coats = 3 } ]
sheen = 60

[parts.plate]
title = "Cover"
outline = "plover.svg#plate"
board = "table"
turn = 0
height = 48
finish = [ { coat = "lacquer", coats = 2 } ]
sheen = 30
"""

OPTION = """
[variants.{name}]
title = "{title}"
{why}
[variants.{name}.set]
"parts.body.finish.1.stain" = "{stain}"
"parts.body.finish.1.strength" = {strength}
"""

# name, title, why, stain, strength; the second is all but the first again.
OPTIONS = (("amber", "Amber", "Warm.", "amber", 0.4), ("amber-again", "Amber again", "", "amber", 0.405),
           ("red", "Red", "", "red", 0.8), ("blue", "Blue", "It was asked for.", "blue", 0.9), ("green", "Green", "", "green", 0.7),
           ("tobacco", "Tobacco", "", "tobacco", 0.9), ("teal", "Teal", "", "teal", 0.9), ("purple", "Purple", "", "purple", 0.7))


def option(name: str, title: str, why: str, stain: str, strength: float) -> str:
    return OPTION.format(name=name, title=title, why=f'why = "{why}"' if why else "", stain=stain, strength=strength)


def make_folder(home: Path, options=OPTIONS) -> Path:
    """A scene's folder with all its files; the scene's path."""
    home.mkdir(parents=True, exist_ok=True)
    Image.fromarray(data.coffee()).crop((60, 0, 60 + 460, 400)).rotate(90, expand=True).resize((430, 500)).save(home / "table.png")
    (home / "plover.svg").write_text(DRAWING)
    (home / "plover.toml").write_text(SCENE + "".join(option(*o) for o in options))
    return home / "plover.toml"
