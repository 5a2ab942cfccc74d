"""What is left of a shape under others: nothing lost, nothing twice."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from mockup.outline.coverage import coverage
from mockup.outline.cut import without
from mockup.outline.shape import Shape


def ellipse(cx: float, cy: float, rx: float, ry: float) -> Shape:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return Shape((np.stack([cx + rx * np.cos(t), cy - ry * np.sin(t)], axis=1),))


def test_a_shape_and_what_covers_it_add_up_in_every_pixel():
    body, top = ellipse(0, 0, 40, 50), ellipse(13, 7, 25, 31)
    view = {"origin": (-45.0, -55.0), "px_per_mm": 1.7, "size": (153, 187)}
    rest = without(body, [top])
    both = coverage(rest, **view) + coverage(top, **view)
    # Where the top lies within the body the two make up the body exactly.
    inside = without(top, [body]) is None
    assert inside
    assert_allclose(both, coverage(body, **view), atol=1e-5)
    assert_allclose(rest.area + top.area, body.area, rtol=1e-9)


def test_nothing_is_left_under_the_same_outline():
    assert without(ellipse(0, 0, 40, 50), [ellipse(0, 0, 40, 50)]) is None


def test_a_shape_elsewhere_takes_nothing():
    body = ellipse(0, 0, 40, 50)
    assert_allclose(without(body, [ellipse(200, 0, 10, 10)]).area, body.area, rtol=1e-12)


def test_a_strip_across_leaves_two_pieces():
    strip = Shape((np.array([[-60.0, -5.0], [-60.0, 5.0], [60.0, 5.0], [60.0, -5.0]]),))
    rest = without(ellipse(0, 0, 40, 50), [strip])
    assert len(rest.rings) == 2
    assert all(abs(r[:, 1]).min() >= 5 - 1e-9 for r in rest.rings)


def test_a_hole_in_what_covers_shows_what_lies_below():
    outer, hole = ellipse(0, 0, 30, 30), ellipse(0, 0, 10, 10)
    ring = Shape((*outer.rings, hole.rings[0][::-1]))
    rest = without(ellipse(0, 0, 20, 20), [ring])
    assert_allclose(rest.area, hole.area, rtol=1e-9)
