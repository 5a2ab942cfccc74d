"""Pages as pixels."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.papers.page import Box, Image, Line, Page, Text
from mockup.papers.raster import raster

PICTURE = np.random.default_rng(3).integers(0, 256, (40, 60, 3), np.uint8)


def test_a_picture_at_the_page_s_own_resolution_is_laid_down_as_it_is():
    out = raster(Page(100, 50, (Image(10, 5, 60 / 4, 40 / 4, PICTURE),), 4.0))
    assert (out[20:60, 40:100] == PICTURE).all()
    assert (out[:20] == 255).all() and (out[60:] == 255).all()


def test_another_size_is_resampled_to_the_frame():
    out = raster(Page(100, 50, (Image(10, 5, 30, 20, PICTURE),), 1.0))
    assert abs(out[5:25, 10:40].mean() - PICTURE.mean()) < 3
    assert (out[25:] == 255).all()


def test_a_patch_is_of_one_colour_to_its_edge():
    out = raster(Page(30, 30, (Box(3.3, 3.3, 10.1, 10.1, (12, 34, 56)),), 3.7))
    inside = (out == (12, 34, 56)).all(axis=2)
    assert inside.sum() == 38 * 38  # round(13.4 * 3.7) - round(3.3 * 3.7)
    assert (out[~inside] == 255).all()


def test_rules_of_a_page_are_equally_thick_and_never_vanish():
    lines = tuple(Line(2, 4.37 * k, 18, 4.37 * k, 0.15) for k in range(1, 9))
    for scale in (1.0, 3.0, 8.6):
        dark = (raster(Page(20, 44, lines, scale))[:, round(10 * scale), 0] < 255)
        runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], dark, [0]]).astype(int))))[::2]
        assert len(runs) == 8 and len(set(runs.tolist())) == 1


def test_right_and_middle_stand_on_their_point():
    def columns(align):
        out = raster(Page(60, 10, (Text(30, 7, "Honey", 12, align=align),), 8.0))
        ink = np.flatnonzero((out < 200).any(axis=(0, 2))) / 8
        return ink[0], ink[-1]

    left, middle, right = columns("left"), columns("middle"), columns("right")
    assert 30 <= left[0] < 30.6 and 29.4 < right[1] <= 30
    assert abs((middle[0] + middle[1]) / 2 - 30) < 0.3


@given(st.text(max_size=30), st.floats(-30, 130), st.floats(-30, 80), st.floats(4, 40))
@settings(deadline=None, max_examples=60, derandomize=True)
def test_ink_stays_in_its_box_and_the_page_takes_any_place(text, x, y, size):
    item = Text(x, y, text, size)
    out = raster(Page(100, 50, (item,), 2.0))
    assert out.shape == (100, 200, 3)
    x0, y0, x1, y1 = item.bounds
    em = size * 25.4 / 72
    ys, xs = np.nonzero((out < 255).any(axis=2))
    if len(xs):
        # Capitals with accents rise above the box, italics and marks lean over its sides.
        assert xs.min() / 2 >= x0 - em and xs.max() / 2 <= x1 + em
        assert ys.min() / 2 >= y0 - 0.5 * em - 1 and ys.max() / 2 <= y1 + 0.3 * em + 1
