"""Raw files: a DNG of known light, written here after Adobe's DNG specification 1.4 (2012), developed by LibRaw."""

import io
import sys

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose

from mockup.colour.spaces import SRGB_TO_XYZ
from mockup.errors import MockupError
from mockup.files.photo import photo_from_bytes, photo_size

rawpy = pytest.importorskip("rawpy")

# XYZ to an invented camera's own colours, and what it sees of D65.
CAMERA = np.array([[0.9, -0.25, -0.08], [-0.45, 1.25, 0.2], [-0.08, 0.2, 0.62]])
BLACK, WHITE = 512, 16383
NEUTRAL = CAMERA @ SRGB_TO_XYZ.sum(axis=1)


def rational(values, over=100_000):
    return [n for v in values for n in (round(v * over), over)]


def dng(linear, turn=1):
    """A Bayer mosaic of linear sRGB (H, W, 3), 0..1."""
    seen = linear @ (CAMERA @ SRGB_TO_XYZ).T / NEUTRAL.max()
    height, width = seen.shape[:2]
    rows, columns = np.mgrid[0:height, 0:width]
    colour = (rows % 2) + (columns % 2)  # RG GB
    mosaic = np.take_along_axis(seen, colour[..., None], 2)[..., 0]
    counts = np.rint(BLACK + np.clip(mosaic, 0, 1) * (WHITE - BLACK)).astype(np.uint16)
    extra = [
        (274, 3, 1, turn, True), (33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes([0, 1, 1, 2]), True),
        (50706, 1, 4, bytes([1, 4, 0, 0]), True), (50707, 1, 4, bytes([1, 1, 0, 0]), True), (50708, 2, 0, "Invented", True),
        (50714, 4, 1, BLACK, True), (50717, 4, 1, WHITE, True), (50721, 10, 9, rational(CAMERA.ravel()), True),
        (50728, 5, 3, rational(NEUTRAL / NEUTRAL.max()), True), (50778, 3, 1, 21, True),
    ]
    file = io.BytesIO()
    tifffile.imwrite(file, counts, photometric=32803, extratags=extra, metadata=None)
    return file.getvalue()


@pytest.fixture(scope="module")
def board():
    """Patches of 48 pixels, colours of wood and grey."""
    colours = np.array([[0.45, 0.28, 0.14], [0.18, 0.18, 0.18], [0.60, 0.48, 0.32], [0.08, 0.04, 0.02], [0.3, 0.3, 0.3], [0.5, 0.35, 0.2]])
    grid = colours.reshape(2, 3, 3)
    return grid, np.repeat(np.repeat(grid, 48, 0), 48, 1)


def test_light_comes_out_as_it_went_in(board):
    grid, linear = board
    photo = photo_from_bytes(dng(linear), "board.dng")
    seen = photo.pixels[24::48, 24::48] / 65535
    # LibRaw scales to the sensor's white; what counts is that light is kept in proportion and in colour.
    scale = (seen * grid).sum() / (grid * grid).sum()
    assert 0.5 < scale < 2
    assert_allclose(seen / scale, grid, atol=0.012)
    assert photo.straight and photo.notes == ("developed from the camera's raw file, without a tone curve",)


def test_a_grey_wall_is_grey(board):
    photo = photo_from_bytes(dng(np.full((96, 96, 3), 0.25)), "board.dng")
    middle = photo.pixels[48, 48].astype(float)
    assert_allclose(middle / middle.mean(), 1, atol=0.01)


def test_it_stands_upright_and_its_size_is_told_before(board, tmp_path):
    _, linear = board
    file = tmp_path / "board.dng"
    file.write_bytes(dng(linear, turn=6))
    assert photo_size(file) == (96, 144)
    photo = photo_from_bytes(file.read_bytes(), "board.dng")
    assert photo.pixels.shape == (144, 96, 3)
    first = photo.pixels[24, 72].astype(float)
    assert first[0] > 1.3 * first[1] > 1.3 * first[2], "the first patch is top right after the turn"


@pytest.mark.parametrize("keep", [0.02, 0.4])
def test_a_damaged_one_is_refused_in_a_sentence(board, keep):
    data = dng(board[1])
    with pytest.raises(MockupError, match="board.dng: This raw camera file is damaged, or of a camera that is not known. Copy it again"):
        photo_from_bytes(data[:int(len(data) * keep)], "board.dng")


def test_too_large_a_one_is_refused(board):
    with pytest.raises(MockupError, match="at most 0.01 million are read"):
        photo_from_bytes(dng(board[1]), "board.dng", max_pixels=10_000)


def test_without_the_reader_it_says_what_to_install(board, monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)  # as Python says that a library is not there
    with pytest.raises(MockupError, match=r'This is a raw camera file. Install its reader, pip install rawpy, or develop it'):
        photo_from_bytes(dng(board[1]), "board.dng")
