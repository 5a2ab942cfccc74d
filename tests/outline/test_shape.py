"""Shapes: areas, moves and insets against closed forms."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.errors import MockupError
from mockup.outline.distance import exact_distance
from mockup.outline.shape import Shape, ring_area


def ring(cx, cy, rx, ry=None, *, hole=False, sagitta=1e-5):
    """An ellipse as a ring, its chords within ``sagitta`` mm of it."""
    ry = rx if ry is None else ry
    n = math.ceil(math.pi / math.acos(1 - sagitta / max(rx, ry)))
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    points = np.column_stack((cx + rx * np.cos(t), cy + ry * np.sin(t)))
    return points if hole else points[::-1]


SQUARE = np.array([[0, 0], [0, 100], [100, 100], [100, 0]], float)


def test_area_adds_up_with_holes():
    shape = Shape((SQUARE, ring(50, 50, 20, hole=True)))
    assert_allclose(shape.area, 10_000 - math.pi * 400, rtol=1e-6)
    assert shape.bounds == (0, 0, 100, 100)


def test_area_far_from_the_origin_keeps_its_digits():
    assert_allclose(Shape((SQUARE + 1e6,)).area, 10_000, rtol=1e-12)


def test_mirror_keeps_area_and_orientation():
    shape = Shape((SQUARE, ring(30, 40, 10, hole=True)))
    mirrored = shape.mirrored(20.0)
    assert_allclose(mirrored.area, shape.area, rtol=1e-12)
    assert mirrored.bounds == (-60, 0, 40, 100)
    assert [np.sign(ring_area(r)) for r in mirrored.rings] == [1, -1]
    assert_allclose(mirrored.mirrored(20.0).rings[1], shape.rings[1], atol=1e-12)


def test_a_quarter_turn_is_clockwise_as_seen():
    """With y down, what points right points down after 90 degrees."""
    shape = Shape((np.array([[0, -1], [0, 1], [10, 0]], float),)).turned(90.0, (0, 0))
    assert_allclose(shape.rings[0][2], (0, 10), atol=1e-12)
    assert shape.area == pytest.approx(10)


def test_turn_about_a_point_leaves_it():
    shape = Shape((SQUARE,)).turned(37.0, (100, 100))
    assert np.abs(shape.rings[0] - (100, 100)).sum(axis=1).min() < 1e-12
    assert Shape((SQUARE,)).moved(3, -4).bounds == (3, -4, 103, 96)


@pytest.mark.parametrize("mm", [0.5, 3.0, 30.0, -0.5, -12.0])
def test_inset_of_an_annulus_is_an_annulus(mm):
    shape = Shape((ring(0, 0, 100), ring(0, 0, 20, hole=True))).inset(mm)
    assert_allclose(shape.area, math.pi * ((100 - mm) ** 2 - (20 + mm) ** 2), rtol=2e-5)
    outer, hole = sorted(shape.rings, key=ring_area, reverse=True)
    assert_allclose(np.hypot(*outer.T), 100 - mm, atol=max(1e-3, 1.2e-4 * abs(mm)))
    assert_allclose(np.hypot(*hole.T), 20 + mm, atol=max(1e-3, 1.2e-4 * abs(mm)))


def test_outset_of_a_square_has_round_corners():
    """Area of a square offset outward: a² + 4 a d + π d² (Steiner's formula)."""
    assert_allclose(Shape((SQUARE,)).inset(-15).area, 1e4 + 4 * 100 * 15 + math.pi * 225, rtol=1e-5)
    assert Shape((SQUARE,)).inset(15).area == pytest.approx(70 * 70)


@pytest.mark.parametrize("mm", [6.0, -6.0])
def test_inset_of_a_wavy_outline_keeps_its_distance(mm):
    t = np.linspace(0, 2 * np.pi, 9000, endpoint=False)
    r = 150 + 25 * np.cos(2 * t) + 15 * np.cos(3 * t)
    shape = Shape((np.column_stack((r * np.cos(t), r * np.sin(t)))[::-1],))
    moved = shape.inset(mm).rings[0]
    middle = 0.5 * (moved + np.roll(moved, -1, axis=0))
    distance, _, _ = exact_distance(shape, np.concatenate((moved, middle)), 20.0)
    assert_allclose(distance, mm, atol=2e-3)


def test_inset_may_leave_pieces_or_nothing():
    dumbbell = Shape(
        (np.array([[0, 0], [0, 40], [40, 40], [40, 24], [80, 24], [80, 40], [120, 40], [120, 0], [80, 0], [80, 16],
                   [40, 16], [40, 0]], float),)
    )  # fmt: skip
    pieces = dumbbell.inset(5.0)
    assert len(pieces.rings) == 2
    assert all(ring_area(r) > 0 for r in pieces.rings)
    assert dumbbell.inset(25.0) is None
    assert dumbbell.inset(0.0) is dumbbell


def test_a_shape_is_frozen_and_checked():
    shape = Shape((SQUARE,))
    with pytest.raises(ValueError, match="read-only"):
        shape.rings[0][0, 0] = 3
    for bad in ((), (SQUARE[:2],), (SQUARE * np.nan,)):
        with pytest.raises(MockupError):
            Shape(bad)
