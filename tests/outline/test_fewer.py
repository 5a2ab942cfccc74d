"""Outlines with fewer points stay where they were drawn."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.outline.fewer import fewer_points, thinned
from mockup.outline.figures import circle, outline
from mockup.outline.shape import Shape


def furthest(ring: np.ndarray, from_: np.ndarray) -> float:
    return float(shapely.distance(shapely.linearrings(from_), shapely.points(ring)).max())


@pytest.mark.parametrize("tolerance", [2e-4, 5e-4, 0.02])
def test_no_point_is_further_off_than_the_tolerance_and_far_fewer_are_left(tolerance):
    t = np.linspace(0, 2 * np.pi, 12_000, endpoint=False)
    ring = np.column_stack((140 * np.cos(t) + 9 * np.cos(3 * t), 190 * np.sin(t)))
    fewer = fewer_points(ring, tolerance)
    assert furthest(ring, fewer) <= tolerance * 1.0001
    best = shapely.get_coordinates(shapely.simplify(shapely.linearrings(ring), tolerance))
    assert len(fewer) < 1.6 * len(best)  # Douglas and Peucker's choice, in a twentieth of the time
    assert {tuple(p) for p in fewer} <= {tuple(p) for p in ring}


@settings(max_examples=60, deadline=None)
@given(st.integers(3, 80), st.integers(0, 2**31), st.sampled_from([1e-3, 0.05, 1.0]))
def test_any_star_shaped_ring_keeps_its_corners(n, seed, tolerance):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 2 * np.pi, n))
    r = rng.uniform(5, 20, n)
    ring = np.column_stack((r * np.cos(t), r * np.sin(t)))
    fewer = fewer_points(ring, tolerance)
    assert len(fewer) >= 3
    assert furthest(ring, fewer) <= tolerance * 1.0001


def test_straight_sides_keep_their_ends_only():
    square = np.concatenate([np.linspace(a, b, 64, endpoint=False) for a, b in
                             (((0, 0), (0, 30)), ((0, 30), (30, 30)), ((30, 30), (30, 0)), ((30, 0), (0, 0)))])
    fewer = fewer_points(np.asarray(square, float), 1e-4)
    assert len(fewer) <= 8
    assert furthest(square, fewer) < 1e-9


def test_a_shape_is_thinned_once_and_stays_itself_when_nothing_goes():
    disc = circle((0, 0), 300)
    assert thinned(disc, 0.02) is thinned(disc, 0.02)
    assert len(thinned(disc, 0.02).rings[0]) < len(disc.rings[0]) / 3
    quad = outline([(0, 0), (0, 10), (10, 10), (10, 0)])
    assert thinned(quad, 0.02) is quad
    assert thinned(disc, 0.02, least=10**6) is disc
    assert isinstance(thinned(disc, 0.02), Shape)
