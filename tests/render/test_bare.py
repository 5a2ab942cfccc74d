"""Board to part: true to area, sharp at 1:1, turned and mirrored as told."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.finish.bake import SHIMMER
from mockup.render.bare import bare_source
from mockup.render.boards import ROOTS, prepare_board
from mockup.render.canvas import Canvas
from mockup.render.placement import leaves
from invented import box, make_part, wood_codes


def linear16(codes: np.ndarray) -> np.ndarray:
    return np.round((codes / 255.0) ** 2.2 * 65535).astype(np.uint16)


def lightness(source, board) -> np.ndarray:
    """t of every pixel of a source's window, back in the units of the board's axes."""
    rows = source.rows(0, source.shape[0]).astype(np.float64) / 65535
    axes = board.axes
    plain = axes.low[0] + rows[..., 0] * (axes.high[0] - axes.low[0])
    detail = axes.low[2] + rows[..., 2] * (axes.high[2] - axes.low[2])
    return plain + SHIMMER * detail


def board_lightness(board) -> np.ndarray:
    return (ROOTS[board.pixels].astype(np.float64) - board.axes.mean) @ board.axes.to_axes[0]


@pytest.fixture(scope="module")
def board():
    return prepare_board(linear16(wood_codes(240, 320)), 0.25, key="test")


def source_for(board, shape, at, canvas, **placement):
    part = make_part(shape, at, **placement)
    return bare_source(board, leaves(part), canvas, (0, 0, canvas.width, canvas.height))


def test_one_to_one_copies_the_boards_own_pixels(board):
    shape = box(0, 0, 40, 30)
    canvas = Canvas((0.0, 0.0), 4.0, (160, 120))
    source = source_for(board, shape, (30.0, 25.0), canvas)
    # The middle of the part, (20, 15), lies on (30, 25): its corner on (10, 10) mm, pixel (40, 40).
    assert_allclose(lightness(source, board), board_lightness(board)[40:160, 40:200], atol=3e-5)


@pytest.mark.parametrize("turn, quarter", [(90, 1), (180, 2), (270, 3)])
def test_a_quarter_turn_moves_pixels_and_changes_none(board, turn, quarter):
    shape = box(-10, -10, 10, 10)
    canvas = Canvas((-10.0, -10.0), 4.0, (80, 80))
    got = lightness(source_for(board, shape, (40.0, 30.0), canvas, turn=float(turn)), board)
    cut = board_lightness(board)[80:160, 120:200]
    # The part is turned clockwise on the board, so in the part the wood appears turned the other way.
    assert_allclose(got, np.rot90(cut, quarter), atol=3e-5)


def test_half_scale_is_the_mean_of_the_area():
    # Fine vertical lines, one pixel dark and one light: at half scale an even
    # tone; picking pixels would give one of the two.
    codes = np.full((160, 160, 3), 200, np.uint8)
    codes[:, ::2] = 90
    pixels = linear16(codes)
    board = prepare_board(pixels, 0.25, key="lines")
    canvas = Canvas((0.0, 0.0), 2.0, (60, 60))
    source = source_for(board, box(0, 0, 30, 30), (20.0, 20.0), canvas)
    mean = ROOTS[int(pixels.astype(np.float64).mean())]
    got = lightness(source, board) + board.axes.lightness
    assert_allclose(got, mean, atol=0.002)


@pytest.mark.parametrize("turn", [0.0, 7.0, 33.0])
@pytest.mark.parametrize("scale", [0.5, 1.3, 2.9])
def test_no_scale_changes_the_mean_colour(board, turn, scale):
    shape = box(-14, -10, 14, 10)
    canvas = Canvas.around((-14, -10, 14, 10), scale)
    source = source_for(board, shape, (40.0, 30.0), canvas, turn=turn)
    fine = source_for(board, shape, (40.0, 30.0), Canvas.around((-14, -10, 14, 10), 4.0), turn=turn)

    def mean(s):
        return ((lightness(s, board) + board.axes.lightness) ** 3).mean()

    assert_allclose(mean(source), mean(fine), rtol=0.012)


def test_a_smooth_pattern_lands_where_the_placement_says(board):
    # A ramp along x of the board, seen turned by 30 degrees clockwise: brightness must grow along the board's x.
    ramp = np.broadcast_to(np.linspace(60, 220, 320)[None, :, None], (240, 320, 3))
    ramped = prepare_board(linear16(ramp), 0.25, key="ramp")
    canvas = Canvas((-10.0, -10.0), 4.0, (80, 80))
    got = lightness(source_for(ramped, box(-10, -10, 10, 10), (40.0, 30.0), canvas, turn=30.0), ramped)
    x, y = np.meshgrid(*[(np.arange(80) + 0.5) / 4 - 10] * 2)
    on_board = 40 + x * np.cos(np.pi / 6) - y * np.sin(np.pi / 6)  # board x of drawing (x, y)
    expected = np.interp(on_board, (np.arange(320) + 0.5) / 4, board_lightness(ramped)[0])
    assert_allclose(got, expected, atol=2e-3)


def test_a_bookmatch_mirrors_the_wood_at_the_joint(board):
    shape = box(-15, -10, 15, 10)
    canvas = Canvas((-15.0, -10.0), 4.0, (120, 80))
    source = source_for(board, shape, (20.0, 30.0), canvas, cut="bookmatch")
    got = lightness(source, board)
    right, left = got[:, 60:], got[:, :60][:, ::-1]
    # Alike but for the figure, which the second leaf shows a little weaker.
    assert np.corrcoef(right.ravel(), left.ravel())[0, 1] > 0.98
    assert 0.8 < left.std() / right.std() < 1.0


def test_a_slip_shifts_the_second_leaf_along_the_joint(board):
    shape = box(-15, -10, 15, 10)
    canvas = Canvas((-15.0, -10.0), 4.0, (120, 80))
    got = lightness(source_for(board, shape, (20.0, 30.0), canvas, cut="bookmatch", slip=2.0), board)
    right, left = got[:, 60:], got[:, :60][:, ::-1]
    assert np.corrcoef(right[8:].ravel(), left[:-8].ravel())[0, 1] > 0.98


def test_a_slipmatch_repeats_the_wood_unmirrored(board):
    shape = box(-15, -10, 15, 10)
    canvas = Canvas((-15.0, -10.0), 4.0, (120, 80))
    got = lightness(source_for(board, shape, (20.0, 30.0), canvas, cut="slipmatch"), board)
    assert np.corrcoef(got[:, 60:].ravel(), got[:, :60].ravel())[0, 1] > 0.98


def test_rows_hardly_depend_on_the_band(board):
    # The warp rounds its coordinates to 1/32 pixel, from the band's corner.
    canvas = Canvas.around((-14, -10, 14, 10), 2.7)
    source = source_for(board, box(-14, -10, 14, 10), (40.0, 30.0), canvas, turn=11.0)
    whole = source.rows(0, source.shape[0])
    assert np.abs(whole[17:41].astype(int) - source.rows(17, 41)).max() < 65535 / 1000


@pytest.mark.parametrize("height", [1, 2, 4, 9])
@pytest.mark.parametrize("columns", [(0, 1), (0, 2), (23, 25), (24, 26)])
def test_a_sliver_of_one_column_is_that_of_the_whole(board, columns, height):
    """Of a bookmatch, too: one column of the one half beside the other, 24 pixels from the left."""
    shape, place = box(-20, -20, 20, 20), {"cut": "bookmatch", "joint": 0.0}
    whole = source_for(board, shape, (40.0, 30.0), Canvas((-6.0, -5.0), 4.0, (80, 40)), **place)
    a, b = columns
    sliver = source_for(board, shape, (40.0, 30.0), Canvas((-6.0 + a / 4, -5.0 + 2.5), 4.0, (b - a, height)), **place)
    assert_allclose(sliver.rows(0, height).astype(int), whole.rows(10, 10 + height)[:, a:b].astype(int), atol=2)
