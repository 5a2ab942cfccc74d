"""CIEDE2000 against the published pairs and two independent programs."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.colour.difference import ciede2000

# Sharma, Wu and Dalal 2005, Color Research & Application 30(1), 21-30, Table 1.
PAIRS = np.loadtxt(Path(__file__).parent / "ciede2000.csv", delimiter=",", skiprows=2)


def test_the_table_is_whole():
    assert PAIRS.shape == (34, 7)


@pytest.mark.parametrize("row", range(34))
def test_published_pair(row):
    lab1, lab2, wanted = PAIRS[row, :3], PAIRS[row, 3:6], PAIRS[row, 6]
    assert abs(float(ciede2000(lab1, lab2)) - wanted) < 1e-4
    assert abs(float(ciede2000(lab2, lab1)) - wanted) < 1e-4


def random_pairs():
    rng = np.random.default_rng(2000)
    low, high = [0, -100, -100], [100, 100, 100]
    return rng.uniform(low, high, (2000, 3)), rng.uniform(low, high, (2000, 3))


def test_agrees_with_scikit_image():
    color = pytest.importorskip("skimage.color")
    lab1, lab2 = random_pairs()
    assert_allclose(ciede2000(lab1, lab2), color.deltaE_ciede2000(lab1, lab2), atol=1e-9)


def test_agrees_with_colour_science():
    colour = pytest.importorskip("colour")
    lab1, lab2 = random_pairs()
    assert_allclose(ciede2000(lab1, lab2), colour.delta_E(lab1, lab2, method="CIE 2000"), atol=1e-9)


def test_single_precision_input_is_computed_in_double():
    lab1, lab2 = PAIRS[:, :3].astype(np.float32), PAIRS[:, 3:6].astype(np.float32)
    out = ciede2000(lab1, lab2)
    assert out.dtype == np.float64
    assert_allclose(out, ciede2000(lab1.astype(np.float64), lab2.astype(np.float64)), atol=1e-12)


def test_one_colour_against_a_picture():
    picture = np.broadcast_to(PAIRS[:, :3], (2, 34, 3))
    out = ciede2000(picture, PAIRS[0, 3:6])
    assert out.shape == (2, 34)
    assert_allclose(out[0, 0], 2.0425, atol=1e-4)


def test_no_difference_to_itself_and_the_same_either_way():
    lab1, lab2 = random_pairs()
    assert_allclose(ciede2000(lab1, lab1), 0, atol=1e-12)
    assert_allclose(ciede2000(lab1, lab2), ciede2000(lab2, lab1), atol=1e-9)
