"""The 24-patch target: published values, finding it, and fits judged on patches they did not see."""

import colour
import numpy as np
import pytest
import simulator as sim

from mockup.board.correct import fit_correction, terms
from mockup.board.target import EDITIONS, find_target, sample_target, target_from_corners, target_linear
from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab
from mockup.errors import MockupError

NAMES = {"after-2014": "ColorChecker24 - After November 2014", "before-2014": "ColorChecker24 - Before November 2014"}


@pytest.mark.parametrize("edition", sorted(EDITIONS))
def test_values_are_the_published_ones(edition):
    """colour-science 0.4.7, CCS_COLOURCHECKERS, to the two digits written; and its Bradford path to linear sRGB."""
    chart = colour.CCS_COLOURCHECKERS[NAMES[edition]]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    assert np.array(EDITIONS[edition]) == pytest.approx(colour.XYZ_to_Lab(xyz, chart.illuminant), abs=0.006)
    linear = colour.XYZ_to_RGB(xyz, "sRGB", chart.illuminant, "Bradford")
    assert target_linear(edition) == pytest.approx(linear, abs=6e-4)


def patch_middles(truth):
    side, gap = sim.PATCH, sim.GAP
    w, h = sim.target_size()
    corners = truth.to_plane(truth.target_at)
    across, down = (corners[1] - corners[0]) / w, (corners[3] - corners[0]) / h
    spots = np.array([(gap + side / 2 + (side + gap) * (k % 6), gap + side / 2 + (side + gap) * (k // 6)) for k in range(24)])
    return truth.to_image(corners[0] + spots[:, :1] * across + spots[:, 1:] * down)


@pytest.mark.parametrize("quarter", range(4))
def test_target_is_found_whichever_way_up(target_photo, quarter):
    pixels, truth, _ = target_photo
    turned = np.ascontiguousarray(np.rot90(pixels, quarter))
    found = find_target(turned)
    x, y = patch_middles(truth).T
    h, w = pixels.shape[:2]
    for _ in range(quarter):
        x, y, w, h = y, w - 1 - x, h, w
    assert np.abs(found.centres - np.column_stack([x, y])).max() < 0.12 * np.linalg.norm(found.centres[1] - found.centres[0])


def test_no_target_in_wood(plain_photo):
    assert find_target(plain_photo[0]) is None


def test_corners_by_hand_give_the_same_patches(target_photo):
    pixels, truth, _ = target_photo
    middles = patch_middles(truth)
    by_hand = target_from_corners(middles[[0, 5, 23, 18]], truth.size_px)
    assert np.abs(by_hand.centres - middles).max() < 2
    found = find_target(pixels)
    assert sample_target(pixels, by_hand)[0] == pytest.approx(sample_target(pixels, found)[0], abs=0.01)
    with pytest.raises(MockupError, match="corner patches"):
        target_from_corners(middles[[0, 18, 23, 5]], truth.size_px)


def camera(matrix):
    return target_linear("after-2014") @ np.linalg.inv(matrix).T


def test_a_matrix_camera_is_undone():
    matrix = np.array([[1.5, -0.3, -0.1], [-0.2, 1.4, -0.1], [0.05, -0.4, 1.3]])
    fit = fit_correction(camera(matrix), target_linear("after-2014"), np.ones(24, bool))
    assert fit.kind == "matrix" and fit.error < 1e-6
    assert fit.weights == pytest.approx(matrix, abs=1e-6)


def test_error_is_of_patches_left_out():
    """The left-out error is above that of the fit itself, and equals a plain loop's."""
    rng = np.random.default_rng(1)
    known = target_linear("after-2014")
    seen = np.maximum(known, 0.004) * np.exp(rng.normal(0, 0.04, known.shape))
    fit = fit_correction(seen, known, np.ones(24, bool))
    inside = ciede2000(linear_to_lab(np.maximum(fit.apply(seen), 1e-4)), linear_to_lab(np.maximum(known, 1e-4))).mean()
    assert fit.error > inside
    weight = (known.mean(1).clip(0.01) ** (-2 / 3))[:, None]
    off = []
    for k in range(24):
        rest = np.arange(24) != k
        x = terms(seen, fit.kind)
        m = np.linalg.lstsq(x[rest] * weight[rest], known[rest] * weight[rest], rcond=None)[0]
        off.append(ciede2000(linear_to_lab(np.maximum(x[k] @ m, 1e-4)), linear_to_lab(np.maximum(known[k], 1e-4))))
    assert fit.error == pytest.approx(np.mean(off), rel=1e-9)


def test_root_polynomial_wins_only_where_it_should():
    """A camera whose greens bend as roots do is fitted by them; and both fits scale with exposure."""
    known = target_linear("after-2014")
    clean = np.maximum(known, 1e-4)
    seen = clean.copy()
    seen[:, 1] = 0.8 * clean[:, 1] + 0.2 * np.sqrt(clean[:, 0] * clean[:, 1])
    fit = fit_correction(seen, clean, np.ones(24, bool))
    assert fit.kind == "root-polynomial"
    assert fit.apply(0.4 * seen) == pytest.approx(0.4 * fit.apply(seen), rel=1e-9)


def test_clipped_patches_do_not_count():
    known = target_linear("after-2014")
    seen = np.minimum(known * 1.3, 0.9)
    usable = (known * 1.3 < 0.9).all(1)
    fit = fit_correction(seen, known, usable)
    assert fit.used == usable.sum() < 24 and fit.error < 1e-6
