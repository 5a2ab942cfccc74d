"""The maker's own parts: a drawing with metals and colours, a DXF outline, a cut-out photo."""

from __future__ import annotations

import cv2
import ezdxf
import numpy as np
import pytest

from mockup.colour.spaces import srgb8_to_lab
from mockup.errors import MockupError
from mockup.outline.trace import traced
from mockup.render.picture import picture
from mockup.scene.load import load_scene

SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="-100 -100 200 200">
<path id="body" d="M -60 -80 L 60 -80 L 60 80 L -60 80 Z"/></svg>"""
PLATE = """<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="60mm" viewBox="-30 -30 60 60">
<rect id="base" x="-20" y="-12" width="40" height="24" fill="#202080"/>
<g style="fill: rgb(200, 40, 40)"><circle id="dot" cx="0" cy="0" r="5"/></g><circle id="post" cx="14" cy="0" r="4" fill="none"/></svg>"""
SCENE = """
[scene]
centre = 0
HEAD
[boards.b]
photo = "board.png"
mm_per_pixel = 0.5
wood = "test wood"
actual = false

[parts.body]
outline = "body.svg#body"
board = "b"

[parts.own]
"""


@pytest.fixture
def shown(tmp_path):
    (tmp_path / "body.svg").write_text(SVG)
    (tmp_path / "plate.svg").write_text(PLATE)
    cv2.imwrite(str(tmp_path / "board.png"), np.full((400, 400, 3), 190, np.uint8))

    def make(part: str, head: str = ""):
        (tmp_path / "s.toml").write_text(SCENE.replace("HEAD", head) + part)
        return load_scene(tmp_path / "s.toml")

    make.folder = tmp_path
    return make


def lab_at(made, x: float, y: float, scale: float = 4.0):
    row, column = round((y - made.canvas.origin[1]) * scale), round((x - made.canvas.origin[0]) * scale)
    return srgb8_to_lab(made.pixels[row - 2:row + 3, column - 2:column + 3].reshape(-1, 3)).mean(axis=0)


def test_a_drawing_keeps_its_colours_and_takes_metals_by_id(shown):
    scene = shown('drawing = "plate.svg"\nat = [10, 20]\nmaterials = { post = "brass" }')
    assert [(f.name, f.material.name) for f in scene.fittings] == [("own", "plastic"), ("own.2", "plastic"), ("own.3", "brass")]
    assert "plate.svg" in scene.sources
    made = picture(scene, scale=4.0)
    blue, red = lab_at(made, -4, 26), lab_at(made, 10, 20)
    assert blue[2] < -30 and red[1] > 30
    assert lab_at(made, 24, 20)[2] > 12  # brass
    heights = [f.height for f in scene.fittings]
    assert heights == sorted(heights) and heights[0] > 45


def test_left_hand_moves_a_photo_and_does_not_mirror_it(shown):
    image = np.zeros((80, 120, 4), np.uint8)
    image[10:70, 10:110] = (40, 200, 40, 255)        # green, BGR
    image[10:70, 10:40] = (40, 40, 220, 255)         # its left end red
    image[:10] = (255, 0, 255, 0)                    # what an editor leaves where nothing is seen
    cv2.imwrite(str(shown.folder / "cut.png"), image)
    part = 'photo = "cut.png"\nmm_per_pixel = 0.25\nat = [20, -30]'
    for head, x in (("", 20.0), ('hand = "left"', -20.0)):
        scene = shown(part, head)
        (piece,) = scene.fittings
        assert piece.shape.area == pytest.approx(100 * 60 / 16, rel=0.01)
        made = picture(scene, scale=4.0)
        red, green = lab_at(made, x - 10, -30), lab_at(made, x + 5, -30)
        assert red[1] > 40 and green[1] < -40, head
        # No fringe of the hidden magenta at the edge.
        top = round((-30 - 7.5 - made.canvas.origin[1]) * 4)
        column = round((x + 5 - made.canvas.origin[0]) * 4)
        strip = srgb8_to_lab(made.pixels[top - 3:top + 4, column])
        assert strip[:, 1].max() < 12


def test_a_photo_that_is_half_seen_keeps_its_colours(shown):
    """All of it, as some editors save it, or a wide part of it: not black for want of something opaque."""
    image = np.zeros((80, 240, 4), np.uint8)
    image[8:72, 8:232] = (40, 40, 220, 200)
    cv2.imwrite(str(shown.folder / "half.png"), image)
    image[8:72, 8:80, 3] = 255
    cv2.imwrite(str(shown.folder / "part.png"), image)
    for name in ("half.png", "part.png"):
        made = picture(shown(f'photo = "{name}"\nmm_per_pixel = 0.25\nat = [0, 0]'), scale=4.0)
        for x in (-24, -9, -6, 0, 24):
            assert lab_at(made, x, 0)[1] > 50, (name, x)
        column = round((10 - made.canvas.origin[0]) * 4)
        edge = srgb8_to_lab(made.pixels[round((-8.3 - made.canvas.origin[1]) * 4):, column][:4])
        assert (edge[:, 0] > 40).all(), name  # and no dark line at the edge


def test_a_photo_of_the_back_is_read_from_the_back(shown):
    """It was taken from there: what is written on it is not mirrored."""
    image = np.zeros((40, 160, 4), np.uint8)
    image[4:36, 4:156] = (60, 60, 60, 255)
    image[4:36, 4:30] = (40, 40, 220, 255)  # its left end red, and its lower left corner cut off
    image[20:36, 4:17] = 0
    cv2.imwrite(str(shown.folder / "cut.png"), image)
    part = 'photo = "cut.png"\nmm_per_pixel = 0.25\nat = [20, -30]\n'
    for hand, x in (("", -20.0), ('hand = "left"', 20.0)):
        made = picture(shown(part + 'side = "back"', hand), side="back", scale=4.0)
        assert lab_at(made, x - 14, -32.5)[1] > 40 > 10 > abs(lab_at(made, x + 14, -30)[1]), hand
        assert abs(lab_at(made, x - 18, -28)[1]) < 10 and lab_at(made, x - 18, -28)[0] > 60, hand  # wood where it is cut off
    turned = picture(shown(part + 'side = "back"\nturn = 90'), side="back", scale=4.0)
    assert lab_at(turned, -20, -30 + 14)[1] > 40  # clockwise in the drawing is counter-clockwise from behind


def test_a_turned_photo_lies_where_it_should(shown):
    image = np.zeros((40, 160, 4), np.uint8)
    image[4:36, 4:156] = (60, 60, 60, 255)
    image[4:36, 4:30] = (40, 40, 220, 255)
    cv2.imwrite(str(shown.folder / "cut.png"), image)
    made = picture(shown('photo = "cut.png"\nmm_per_pixel = 0.25\nat = [0, 0]\nturn = 90'), scale=4.0)
    assert lab_at(made, 0, -16)[1] > 40 > 10 > abs(lab_at(made, 0, 16)[1])  # clockwise: its left end is up


def test_an_outline_from_dxf_is_cut_from_a_board(shown):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 0
    document.modelspace().add_circle((0, 20), 1, dxfattribs={"layer": "GUARD"})
    document.saveas(shown.folder / "guard.dxf")
    part = 'outline = "guard.dxf#GUARD"\nboard = "b"'
    with pytest.raises(MockupError, match=r"parts.own.outline: guard.dxf#GUARD: The DXF file does not say its units: the outline is 2 x 2 mm"):
        shown(part)
    scene = shown(part, 'units = "inch"')
    assert scene.parts[1].shape.bounds == pytest.approx((-25.4, -20 * 25.4 - 25.4, 25.4, -20 * 25.4 + 25.4), abs=1e-3)
    assert "guard.dxf" in scene.sources and scene.resolved["scene"]["units"] == "inch"


@pytest.mark.parametrize(("part", "words"), [
    ('drawing = "plate.svg"\nmaterials = { pots = "brass" }', 'parts.own.materials.pots: There is no outline with the id "pots" in plate.svg. Did you mean "post"?'),
    ('drawing = "plate.svg"\nmaterials = { post = "bras" }', 'parts.own.materials.post: Post is "bras". Did you mean "brass"?'),
    ('drawing = "plait.svg"', 'parts.own.drawing: The file "plait.svg" does not exist. Did you mean "plate.svg"?'),
    ('drawing = "plate.svg"\nmake = "bridge"', "parts.own: The part has both make and drawing. Give it one of them."),
    ('photo = "board.png"\nmm_per_pixel = 0.5\nat = [0, 0]', "parts.own.photo: board.png has no transparent pixels."),
    ('photo = "board.png"\nmm_per_pixel = 0.5', "parts.own.at: At is missing. Say where its middle lies, as at = [x, y]."),
])
def test_one_mistake_gives_one_line(shown, part, words):
    with pytest.raises(MockupError) as caught:
        shown(part)
    assert len(caught.value.problems) == 1 and words in str(caught.value), str(caught.value)


def test_tracing_is_true_to_a_tenth_of_a_pixel():
    y, x = np.mgrid[0:200, 0:240]
    far = np.hypot(x - 120.3, y - 97.8)
    alpha = (np.clip(70.5 - far, 0, 1) * np.clip(far - 24.5, 0, 1) * 255).astype(np.uint8)
    alpha[3, 5] = 255  # a stray dot
    shape = traced(alpha, 0.1)
    assert len(shape.rings) == 2
    assert shape.area == pytest.approx(np.pi * (70.0**2 - 25.0**2) * 0.01, rel=0.003)
    centre = (shape.bounds[0] + shape.bounds[2]) / 2, (shape.bounds[1] + shape.bounds[3]) / 2
    assert centre == pytest.approx(((120.3 + 0.5 - 120) * 0.1, (97.8 + 0.5 - 100) * 0.1), abs=0.01)
    with pytest.raises(MockupError, match="no cut-out part"):
        traced(np.zeros((40, 40), np.uint8), 0.1)
