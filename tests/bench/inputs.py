"""The scenes that are timed: the built-in ones on boards enlarged to 12 megapixels.

Each built-in wood is enlarged, given the grain of a camera (noise of 2 levels)
and saved as a JPEG, so that decoding and reading cost what a photo's do.
"""

import re
import shutil
from pathlib import Path

import cv2
import numpy as np

from mockup.render.picture import scene_box, MARGIN
from mockup.scene.load import load_scene
from mockup.scene.places import builtin_scenes

__all__ = ["STAINS", "photo_scene", "scale_for"]

MEGAPIXELS = 12.0
STAINS = ("honey", "cherry", "tobacco", "blue", "red", "green")


def photo_scene(name: str, folder: Path) -> tuple[Path, list[Path]]:
    """A copy of a built-in scene on 12-megapixel JPEG boards, with six more variants that change stains only; as ``plain.toml`` without them.

    Gives the scene file and the pictures of its boards.
    """
    source = builtin_scenes()[name]
    scene = load_scene(source)
    target = folder / name
    shutil.copytree(source.parent, target)
    text, photos = source.read_text(), []
    for board in scene.boards.values():
        photo = target / f"{board.name}.jpg"
        grown = _photo(board.path, photo)
        lines = (f'photo = "{photo.name}"\nmm_per_pixel = {board.mm_per_pixel / grown!r}\nwood = "{board.wood}"\n'
                 f"actual = true\ngrain = {board.grain!r}")
        text, count = re.subn(rf'(\[boards\.{board.name}\][^\[]*?)texture = "[^"]*"', rf"\1{lines}", text)
        assert count == 1, f"the scene {name} names board {board.name} in another way"
        photos.append(photo)
    (target / "plain.toml").write_text(text)
    for stain in STAINS:
        text += f"\n[variants.only-{stain}]\n[variants.only-{stain}.set]\n"
        for part in scene.parts:
            text += (f'"parts.{part.name}.finish" = [ {{ stain = "{stain}", strength = 0.6 }}, '
                     f'{{ coat = "oil varnish", coats = 4 }} ]\n')
    file = target / f"{name}.toml"
    file.write_text(text)
    return file, photos


def _photo(path: Path, target: Path) -> float:
    """Enlarge a picture to ``MEGAPIXELS`` with noise; gives how many times wider it became."""
    small = cv2.imread(str(path))
    grown = (MEGAPIXELS * 1e6 / (small.shape[0] * small.shape[1])) ** 0.5
    large = cv2.resize(small, None, fx=grown, fy=grown, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(1).normal(0, 2, large.shape)
    large = np.clip(large + noise, 0, 255).astype(np.uint8)
    assert cv2.imwrite(str(target), large, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return large.shape[1] / small.shape[1]


def scale_for(scene, megapixels: float) -> float:
    """Pixels per mm at which the picture of a scene has that many megapixels."""
    x0, y0, x1, y1 = scene_box(scene)
    return (megapixels * 1e6 / ((x1 - x0 + 2 * MARGIN) * (y1 - y0 + 2 * MARGIN))) ** 0.5
