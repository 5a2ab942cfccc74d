"""Linear light to 8-bit sRGB."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from mockup.render.encode import DITHER, dither_rows, encode_rows


def encode(value: float, rows: int = DITHER, columns: int = 256) -> np.ndarray:
    return encode_rows([np.full((rows, columns), value, np.float32) for _ in range(3)], dither_rows(0, rows, columns))


@pytest.mark.parametrize("linear, srgb", [
    # IEC 61966-2-1 piecewise curve: encode of these, times 255.
    (0.01, 25.46), (0.18, 117.65), (0.2, 123.55), (0.5, 187.52),
    (0.0031308, 0.04045 * 255), (0.0005, 0.0005 * 12.92 * 255),  # at and below the toe
])
def test_the_mean_is_the_exact_curve(linear, srgb):
    out = encode(linear)
    assert abs(out.mean() - srgb) < 0.02
    assert np.ptp(out) <= 1


def test_black_and_white_stay_clean():
    assert_array_equal(encode(0.0), 0)
    assert_array_equal(encode(1.0), 255)
    assert_array_equal(encode(-0.3), 0)
    assert_array_equal(encode(7.0), 255)


def test_a_slow_ramp_has_no_bands():
    """Every 4 x 4 block of a ramp over two codes has the right mean to a fifth of a code."""
    ramp = np.broadcast_to(np.linspace(0.18, 0.1845, 512, dtype=np.float32), (128, 512))
    out = encode_rows([ramp.copy() for _ in range(3)], dither_rows(0, 128, 512))[..., 0].astype(np.float64)
    blocks = out.reshape(16, 8, 64, 8).mean(axis=(1, 3))
    exact = (1.055 * ramp.astype(np.float64) ** (1 / 2.4) - 0.055) * 255
    assert np.abs(blocks - exact.reshape(16, 8, 64, 8).mean(axis=(1, 3))).max() < 0.2


def test_the_pattern_hangs_on_the_picture_not_on_the_band():
    assert_array_equal(dither_rows(130, 140, 50), dither_rows(2, 12, 50))
