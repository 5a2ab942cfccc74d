"""sRGB, XYZ, Lab and white points against their standards and colour-science."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose

from mockup.colour import spaces
from mockup.colour.light import D50, D65, ILLUMINANT_A, adaptation, xy_to_xyz

quick = settings(deadline=None, derandomize=True, max_examples=40)
colours = arrays(np.float64, (7, 3), elements=st.floats(0, 1))

# IEC 61966-2-1: 8-bit code to linear light, and linear light to code.
DECODED = {1: 0.00030353, 10: 0.00303527, 11: 0.00334654, 64: 0.05126946, 118: 0.18116424, 119: 0.18447499,
           127: 0.21223076, 128: 0.21586050, 188: 0.50288646, 200: 0.57758044, 254: 0.99110210}
ENCODED = {0.01: 0.0998528, 0.18: 0.4613561, 0.2: 0.4845292, 0.5: 0.7353570, 1.0: 1.0, 0.0031308: 0.040449936}


@pytest.mark.parametrize("code, linear", DECODED.items())
def test_srgb_decodes_as_the_standard(code, linear):
    assert_allclose(spaces.decode_srgb(np.array(code / 255)), linear, atol=5e-9)


@pytest.mark.parametrize("linear, srgb", ENCODED.items())
def test_srgb_encodes_as_the_standard(linear, srgb):
    assert_allclose(spaces.encode_srgb(np.array(linear)), srgb, atol=5e-8)


def test_the_two_pieces_of_the_curve_meet():
    below, above = np.nextafter(0.04045, 0), np.nextafter(0.04045, 1)
    assert_allclose(spaces.decode_srgb(np.array([below, above])), 0.00313081, atol=5e-8)


def test_black_and_white_are_exact_and_encoding_clips():
    assert spaces.decode_srgb(np.array([0.0, 1.0])).tolist() == [0, 1]
    assert_allclose(spaces.encode_srgb(np.array([-1.0, 0, 1, 7])), [0, 0, 1, 1], atol=1e-15)


def test_every_8_bit_code_comes_back():
    codes = np.arange(256)
    for kind in (np.float32, np.float64):
        back = spaces.encode_srgb(spaces.decode_srgb((codes / 255).astype(kind)))
        assert back.dtype == kind
        assert (np.rint(back * 255) == codes).all()


def test_matrix_of_the_standard():
    # IEC 61966-2-1, four digits as printed; the one used is derived from the same primaries.
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    assert_allclose(spaces.SRGB_TO_XYZ, printed, atol=5.1e-5)
    back = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    assert_allclose(spaces.XYZ_TO_SRGB, back, atol=5e-4)


def test_matrix_follows_from_the_primaries():
    """IEC 61966-2-1 gives xy of the primaries and of the white; the matrix is worked out here again."""
    primaries = np.stack([xy_to_xyz(x, y) for x, y in ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))], axis=1)
    matrix = primaries * np.linalg.solve(primaries, D65)
    assert_allclose(spaces.SRGB_TO_XYZ, matrix, atol=1e-6)


# 8-bit sRGB to Lab, D65: computed with colour-science 0.4.7 (four-digit matrix).
# Published matrices differ by up to 0.02 in Lab, hence 0.03.
LAB = {(255, 255, 255): (100, 0.008, 0.004), (255, 0, 0): (53.233, 80.111, 67.224),
       (0, 255, 0): (87.737, -86.183, 83.188), (0, 0, 255): (32.303, 79.198, -107.850),
       (128, 128, 128): (53.585, 0.005, 0.002), (222, 184, 135): (77.017, 7.054, 30.022),
       (101, 67, 33): (31.557, 10.879, 26.190)}


@pytest.mark.parametrize("rgb, lab", LAB.items())
def test_lab_anchor(rgb, lab):
    assert_allclose(spaces.srgb8_to_lab(np.array(rgb)), lab, atol=0.03)


@pytest.mark.parametrize("y, lightness", {0.18: 49.4961, 0.2: 51.8372, 0.5: 76.0693}.items())
def test_lightness_anchor(y, lightness):
    """ISO/CIE 11664-4."""
    assert_allclose(spaces.linear_to_lab(np.full(3, y)), [lightness, 0, 0], atol=1e-4)


def test_lab_agrees_with_colour_science():
    colour = pytest.importorskip("colour")
    linear = np.random.default_rng(65).uniform(0, 1, (500, 3)) ** 2
    xyz = spaces.linear_to_xyz(linear)
    theirs = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(spaces.WHITE))
    assert_allclose(spaces.xyz_to_lab(xyz), theirs, atol=1e-6)
    assert_allclose(spaces.decode_srgb(linear), colour.eotf(linear, "sRGB"), atol=1e-12)


@quick
@given(colours)
def test_lab_and_back_is_the_same_colour(linear):
    assert_allclose(spaces.lab_to_linear(spaces.linear_to_lab(linear)), linear, atol=1e-9)


@quick
@given(arrays(np.float64, (5, 3), elements=st.floats(-0.5, 2)))
def test_xyz_and_back_keeps_colours_outside_the_gamut(linear):
    assert_allclose(spaces.xyz_to_linear(spaces.linear_to_xyz(linear)), linear, atol=1e-12)


@quick
@given(st.floats(0, 1))
def test_greys_are_neutral(level):
    for kind, exact in ((np.float64, 1e-9), (np.float32, 2e-4)):
        lab = spaces.linear_to_lab(np.full(3, level, kind))
        assert lab.dtype == kind
        assert_allclose(lab[1:], 0, atol=exact)


def test_whole_numbers_are_computed_in_double():
    assert spaces.linear_to_xyz(np.array([1, 1, 1])).dtype == np.float64
    assert_allclose(spaces.luminance(np.array([1, 1, 1])), 1, atol=1e-7)


# CIE 15, 2 degree observer.
@pytest.mark.parametrize("white, xyz", [(D65, (95.0456, 100, 108.9058)), (D50, (96.4296, 100, 82.5105)),
                                        (ILLUMINANT_A, (109.8491, 100, 35.5798))], ids=["D65", "D50", "A"])
def test_white_points(white, xyz):
    assert_allclose(white * 100, xyz, atol=1e-4)


def test_the_white_of_the_matrix_is_d65():
    assert_allclose(spaces.WHITE, D65, atol=1e-5)


# Bradford matrices (Lam 1985) between D65 and D50, as colour-science 0.4.7 computes them.
TO_D50 = [[1.0479298, 0.0229469, -0.0501923], [0.0296278, 0.9904344, -0.0170738], [-0.0092430, 0.0150552, 0.7518743]]
TO_D65 = [[0.9554734, -0.0230985, 0.0632592], [-0.0283697, 1.0099954, 0.0210414], [0.0123140, -0.0205076, 1.3303659]]


def test_bradford_matrices():
    assert_allclose(adaptation(D65, D50), TO_D50, atol=5e-7)
    assert_allclose(adaptation(D50, D65), TO_D65, atol=5e-7)


def test_adaptation_carries_white_to_white_and_back():
    for source, target in ((D65, D50), (ILLUMINANT_A, D65)):
        assert_allclose(adaptation(source, target) @ source, target, atol=1e-12)
        assert_allclose(adaptation(target, source) @ adaptation(source, target), np.eye(3), atol=1e-12)


# 8-bit sRGB to Lab, D50, through Bradford: colour-science 0.4.7.
@pytest.mark.parametrize("rgb, lab", {(255, 0, 0): (54.287, 80.825, 69.913), (222, 184, 135): (77.330, 9.290, 30.323),
                                      (101, 67, 33): (31.832, 12.391, 26.464)}.items())
def test_lab_d50_anchor(rgb, lab):
    xyz = spaces.linear_to_xyz(spaces.decode_srgb(np.array(rgb) / 255)) @ adaptation(D65, D50).T
    assert_allclose(spaces.xyz_to_lab(xyz, D50), lab, atol=0.03)
