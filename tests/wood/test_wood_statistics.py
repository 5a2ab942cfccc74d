"""Generated boards measured as photographs of wood are measured.

The ranges below were measured with ``wood_measures`` on photographs; those
named here can be had from public packages, and are measured again where the
environment variable MOCKUP_PHOTOS names a folder that holds them.
"""

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage import data
from wood_measures import NAMES, measures

from mockup.wood import board_rgb, make_board, species_names

# slope_across, slope_along, skewness, detail, lightness_yellowness
PHOTOGRAPHS = {
    # file, times it was halved: measured
    ("maple_slab_amber_2k.jpg", 0): (-3.49, -2.81, -1.10, 4.40, 0.72),         # PyPI metaworld 3.1.1, grain along x
    ("maple_slab_amber_2k.jpg", 1): (-1.69, -1.70, -1.44, 4.80, 0.74),
    ("maple_slab_amber_2k.jpg", 2): (-1.06, -1.79, -1.71, 5.06, 0.73),
    ("maple_table_uneven_light.png", 0): (-1.40, -1.07, -0.28, 0.94, -0.21),   # PyPI pybullet 3.2.7, grain along x
    ("maple_table_uneven_light.png", 1): (-0.95, -1.16, -0.31, 0.96, -0.26),
    ("plywood-4k.jpg", 2): (-0.12, -1.03, -0.86, 5.27, -0.65),                 # PyPI robosuite 1.4.1, grain along x
    ("light-wood.png", 0): (-1.26, -1.23, -0.14, 1.72, -0.80),                 # the same package, grain along y
    ("dark-wood.png", 0): (0.15, -1.90, -0.03, 8.42, 0.79),                    # the same package, grain along x
    ("wood-varnished-panels.png", 0): (-0.53, -0.93, -2.89, 7.40, 0.89),       # the same package, grain along x
}
ALONG_Y = {"light-wood.png"}
LOWEST, HIGHEST = (f(np.array(list(PHOTOGRAPHS.values())), axis=0) for f in (np.min, np.max))
# What a different camera or a wood not among them may add.
SLACK = np.array([0.4, 0.1, 0.1, 0.2, 0.12])
# L* of curly and fiddleback maple scans had standard deviations of 1.7 and 2.3 (two decor scans, measured elsewhere).
FLAT_LIT_FIGURE = (1.6, 2.45)


@pytest.mark.parametrize("name", species_names())
def test_a_board_measures_as_photographs_do(board_of, name):
    found = np.array(list(measures(board_rgb(board_of(name))).values()))
    inside = (found >= LOWEST - SLACK) & (found <= HIGHEST + SLACK)
    assert inside.all(), {k: round(float(v), 2) for k, v, ok in zip(NAMES, found, inside) if not ok}


def test_flat_lit_flame_is_as_subtle_as_a_scan():
    boards = [make_board("flame-maple", size_mm=(110, 110), seed=s, px_per_mm=3, faults="none") for s in (1, 2, 5)]
    spread = np.mean([measures(board_rgb(board))["detail"] for board in boards])
    assert FLAT_LIT_FIGURE[0] < spread < FLAT_LIT_FIGURE[1]


def test_the_measures_tell_a_drawn_board_from_wood():
    """They would notice what gave earlier boards away: no detail along the grain, and nothing but dark pores."""
    rng = np.random.default_rng(0)
    fall = np.maximum(np.abs(np.fft.fftfreq(500)), 1 / 80)[:, None] ** -2      # power falls with the fourth power
    streaks = np.real(np.fft.ifft2(np.fft.fft2(rng.standard_normal((500, 500))) * fall))
    smooth = np.clip(150 + 40 * streaks[..., None] / streaks.std() * [1, 1, 1], 0, 255).astype(np.uint8)
    assert measures(smooth)["slope_along"] < LOWEST[1] - SLACK[1]
    pores = np.full((500, 500, 3), 180, np.uint8)
    for x, y in rng.integers(0, 480, (150, 2)):
        pores[y: y + 15, x: x + 2] = 90
    assert measures(pores)["skewness"] < LOWEST[2] - SLACK[2]


def test_a_varnished_table_lies_inside_too():
    """The table in scikit-image's coffee picture (CC0), a patch turned so that its grain runs along y."""
    turned = cv2.warpAffine(data.coffee(), cv2.getRotationMatrix2D((500, 330), -58, 1.0), (600, 400))
    found = np.array(list(measures(np.ascontiguousarray(turned[270:390, 440:560])).values()))
    # It lies in a strong sheen, so its contrast is left out.
    keep = [0, 1, 4]
    assert (found[keep] >= LOWEST[keep] - SLACK[keep]).all() and (found[keep] <= HIGHEST[keep] + SLACK[keep]).all()


@pytest.mark.parametrize("file, halved", list(PHOTOGRAPHS))
def test_the_recorded_numbers_are_those_of_the_photographs(file, halved):
    folder = os.environ.get("MOCKUP_PHOTOS")
    path = Path(folder) / file if folder else None
    if path is None or not path.exists():
        pytest.skip("MOCKUP_PHOTOS names no folder with this photograph")
    picture = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
    picture = picture if file in ALONG_Y else np.rot90(picture)
    picture = cv2.resize(np.ascontiguousarray(picture), None, fx=0.5 ** halved, fy=0.5 ** halved, interpolation=cv2.INTER_AREA)
    found = np.array(list(measures(picture).values()))
    np.testing.assert_allclose(found, PHOTOGRAPHS[file, halved], atol=0.06)


def test_no_repeat_over_a_long_board():
    """Nowhere does a 600 mm board show the same wood twice: the autocorrelation along it has no second peak."""
    board = make_board("swamp-ash", size_mm=(60, 600), seed=9, px_per_mm=2)
    light = board_rgb(board)[..., 1].astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), 1) - cv2.GaussianBlur(light, (0, 0), 15)
    power = np.abs(np.fft.rfft2(light, s=(2 * light.shape[0], 2 * light.shape[1]))) ** 2
    again = np.fft.irfft2(power)[40: 1000]            # shifts of 20 to 500 mm along the grain
    overlap = (light.shape[0] - np.arange(40, 1000)) / light.shape[0]
    assert (np.abs(again).max(1) / overlap).max() < 0.2 * np.fft.irfft2(power)[0, 0]
