"""Wood that is not there is refused, with what is missing and what to do."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.errors import MockupError
from mockup.render.picture import picture
from mockup.render.placement import leaves, missing_wood
from mockup.render.placements import placement_picture
from invented import box, make_part, make_scene


def test_the_anchor_lies_on_at():
    part = make_part(box(10, 20, 50, 80), (70.0, 60.0), turn=37.0)
    (leaf,) = leaves(part)
    assert_allclose(leaf.to_board(np.array([30.0, 50.0])), [70.0, 60.0])
    matched = make_part(box(10, 20, 50, 80), (70.0, 60.0), cut="bookmatch", joint=25.0)
    for leaf in leaves(matched):
        assert_allclose(leaf.to_board(np.array([25.0, 50.0])), [70.0, 60.0])


def test_a_turn_is_clockwise_on_the_board():
    (leaf,) = leaves(make_part(box(-10, -10, 10, 10), (0.0, 0.0), turn=90.0))
    # y runs down: a quarter turn clockwise takes right to down.
    assert_allclose(leaf.to_board(np.array([1.0, 0.0])), [0.0, 1.0], atol=1e-12)


def test_missing_millimetres_are_named_with_their_side():
    part = make_part(box(0, 0, 40, 30), (15.0, 105.0))
    (problem,) = missing_wood(part, part.shape, (150.0, 115.0), "plank")
    assert str(problem) == ('parts.body.at: The part runs off the board "plank": 5.0 mm on the left and 5.0 mm on the bottom missing. '
                            "Move `at` to [20.0, 100.0].")


def test_a_board_that_is_too_small_says_what_it_takes():
    part = make_part(box(0, 0, 160, 30), (75.0, 60.0))
    (problem,) = missing_wood(part, part.shape, (150.0, 115.0), "plank")
    assert "5.0 mm on the left and 5.0 mm on the right missing" in str(problem)
    assert "needs 160 x 30 mm and the board is 150 x 115 mm" in str(problem)


def test_a_matched_pair_needs_half_the_board():
    part = make_part(box(-70, -20, 70, 20), (0.0, 60.0), cut="bookmatch")
    assert not missing_wood(part, part.shape, (72.0, 100.0), "plank")
    off = missing_wood(part, part.shape, (65.0, 100.0), "plank")
    assert len(off) == 2 and "5.0 mm on the right" in str(off[0]) and "the left leaf" in str(off[1])


def test_picture_refuses_and_names_the_scene(plank):
    path, mm, size = plank
    with pytest.raises(MockupError, match=r"^test\.toml: parts\.body\.at: The part runs off"):
        picture(make_scene(path, mm, size, at=(20.0, 60.0)), scale=1.0)


def test_placement_picture_dims_what_is_not_cut_and_draws_a_part_that_runs_off(plank):
    path, mm, size = plank
    scene = make_scene(path, mm, size, shape=box(-20, -20, 20, 20), at=(30.0, 60.0))
    shown = placement_picture(scene, "body", scale=2.0)
    x, y = (round((v - o) * 2) for v, o in zip((30.0, 60.0), shown.canvas.origin, strict=True))
    inside = shown.pixels[y - 20:y + 20, x - 20:x + 20].mean()
    outside = shown.pixels[y - 20:y + 20, x + 80:x + 120].mean()
    assert inside > 1.2 * outside
    assert placement_picture(make_scene(path, mm, size, at=(5.0, 60.0)), "body", scale=1.0).canvas.origin[0] < -12


def test_placement_picture_offers_the_nearest_part(plank):
    path, mm, size = plank
    with pytest.raises(MockupError, match='Did you mean "body"'):
        placement_picture(make_scene(path, mm, size), "boddy", scale=1.0)
