"""A baked table against the engine."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab
from mockup.finish.bake import bake, engine_colour
from mockup.render.boards import prepare_board
from mockup.render.table import Table
from invented import wood_codes


def test_axes_are_not_mixed_up():
    """Each input axis reaches the output band that a ramp table says."""
    n = 5
    table = np.stack(np.meshgrid(*[np.linspace(0, 1, n)] * 3, indexing="ij"), axis=-1)
    rows = np.array([[[13107, 26214, 52428, 6553]]], np.uint16)
    assert_allclose(Table(table)(rows)[0, 0], np.array([13107, 26214, 52428, 6553]) / 65535, atol=1e-5)


def test_table_meets_the_engine_on_wood(amber_finish):
    board = prepare_board(np.round((wood_codes(200, 200) / 255.0) ** 2.2 * 65535).astype(np.uint16), 0.25, key="t")
    axes = board.axes
    rng = np.random.default_rng(1)
    codes = rng.integers(0, 65536, (40, 50, 4)).astype(np.uint16)
    t, c, w, _ = (axes.low[k] + codes[..., k] / 65535 * (axes.high[k] - axes.low[k]) for k in range(4))
    baked = bake(amber_finish, axes)
    got = Table(baked.table)(codes)[..., :3]
    difference = ciede2000(linear_to_lab(got.astype(np.float64)), linear_to_lab(engine_colour(amber_finish, axes, t, c, w)))
    assert difference.mean() < 0.05
    assert np.percentile(difference, 99) < 0.3
