"""Frets, strings, necks: against the published table and against the geometry they promise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from mockup.outline import hardware
from mockup.outline.cut import Cover, contains, edge_near, overlap, width_at, without
from mockup.outline.figures import circle, many, plate, strip
from mockup.outline.head import plain_head, posts, stub
from mockup.outline.neck import Layout, fret_distance

# Twelve-tone equal temperament, d(k) = S (1 - 2^(-k/12)), mm from the nut: the table of the project's published
# values, section 9 (computed there from the definition).
TABLE = {
    1: (35.283, 36.353, 36.369, 48.470), 2: (68.587, 70.665, 70.698, 94.220), 3: (100.020, 103.051, 103.099, 137.402),
    5: (157.695, 162.473, 162.549, 216.631), 7: (209.076, 215.412, 215.512, 287.216), 9: (254.852, 262.575, 262.697, 350.100),
    12: (314.325, 323.850, 324.000, 431.800), 15: (364.335, 375.376, 375.550, 500.501), 17: (393.172, 405.086, 405.274, 540.116),
    19: (418.863, 431.556, 431.756, 575.408), 21: (441.751, 455.137, 455.348, 606.850), 22: (452.241, 465.945, 466.161, 621.260),
    24: (471.487, 485.775, 486.000, 647.700),
}
SCALES = (628.65, 647.7, 648.0, 863.6)


def layout(**changes) -> Layout:
    given = {"centre": 0.0, "bridge": 300.0, "scales": (584.0, 584.0), "square": 7.0, "strings": 4, "pair": 0.0, "nut_spread": 26.0,
             "spread": 37.0, "nut_width": 33.0, "heel_width": 43.0, "frets": 21, "overhang": 8.0}
    return Layout(**{**given, **changes})


@pytest.mark.parametrize("fret", TABLE)
def test_frets_stand_where_the_table_says(fret):
    for scale, expected in zip(SCALES, TABLE[fret], strict=True):
        assert abs(fret_distance(scale, fret) - expected) < 0.001
        made = layout(scales=(scale, scale), frets=24)
        (_, left), (_, right) = made.fret_line(fret)
        assert left == pytest.approx(right, abs=1e-9)
        assert abs(left - (300.0 - scale) - expected) < 0.001


def test_slanted_frets_lie_on_both_outer_strings_at_their_own_scale():
    """Each outer string, measured along itself, has its own table; the square fret is square."""
    made = layout(scales=(647.7, 628.65), square=9, frets=24)
    nut, saddle = made.ends()
    for k, scale in ((0, 647.7), (-1, 628.65)):
        assert np.hypot(*(saddle[k] - nut[k])) == pytest.approx(scale, abs=1e-9)
        for fret, row in TABLE.items():
            a, b = (np.array(p) for p in made.fret_line(fret))
            along = nut[k] + (saddle[k] - nut[k]) * fret_distance(1.0, fret)
            off = (b - a)[0] * (along - a)[1] - (b - a)[1] * (along - a)[0]
            assert abs(off) / np.hypot(*(b - a)) < 1e-9  # the fret's line goes through that point of the string
            assert abs(np.hypot(*(along - nut[k])) - row[SCALES.index(scale)]) < 0.001
    (_, left), (_, right) = made.fret_line(9)
    assert left == pytest.approx(right, abs=1e-9)
    (_, left), (_, right) = made.fret_line(0)
    assert left < right - 5  # the longer string's nut lies further out


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.integers(1, 10), st.floats(300, 900), st.floats(0, 40), st.integers(5, 24), st.floats(0.2, 2.5))
def test_strings_are_evenly_spread_and_frets_end_on_the_board(strings, scale, longer, frets, inset):
    made = layout(strings=strings, scales=(scale + (longer if strings > 1 else 0.0), scale), frets=frets)
    nut, saddle = made.ends()
    if strings > 1:
        assert_allclose(np.diff(nut[:, 0]), 26.0 / (strings - 1))
        assert saddle[-1][0] - saddle[0][0] == pytest.approx(37.0)
    board = made.fretboard()
    for k in (1, frets):
        for x, y in made.fret(k, inset):
            assert contains(board, (x, y))
            assert abs(abs(x) - made.half_width(y)) < inset * 1.3
    if not made.fanned:
        assert board.area == pytest.approx((made.nut_width + made.heel_width) / 2 * (board.bounds[3] - board.bounds[1]))


def test_markers_lie_between_their_frets_however_slanted():
    made = layout(scales=(880.0, 838.0), strings=6, nut_spread=49.0, spread=86.0, nut_width=56.0, heel_width=84.0, frets=24)
    for fret in (12, 24):
        for aside in (-20.0, 0.0, 20.0):
            x, y = made.marker(fret, aside)
            levels = [np.interp(x, *zip(*made.fret_line(k), strict=True)) for k in (fret - 1, fret)]
            assert x == pytest.approx(aside, abs=1e-9) and y == pytest.approx(np.mean(levels), abs=1e-6)
    assert layout().marker(12, 9.0)[1] == layout().marker(12)[1]


@pytest.mark.parametrize("kind", ["single", "tuning"])
def test_bridges_of_close_strings_do_not_grow_together(kind):
    made = layout(strings=7, spread=48.0)
    assert len(hardware.bridge(made, kind)[0].shape.rings) == 7
    for piece in hardware.bridge(made, kind):
        if len(piece.shape.rings) == 7 and piece.kind == "main":
            boxes = sorted((r[:, 0].min(), r[:, 0].max()) for r in piece.shape.rings)
            assert all(b[0] - a[1] > 0.5 for a, b in zip(boxes, boxes[1:], strict=False))


@pytest.mark.parametrize(("pitch", "width"), [(40.0, 17.0), (24.0, 15.2)])
def test_buttons_leave_air_between_them(pitch, width):
    made = layout(strings=12, pair=2.2, nut_spread=31.0)
    found = posts(plain_head(made, 300.0, 90.0, 70.0, 4.5), made, 6, 6, first=42.0, pitch=pitch, inset=13.0)
    assert hardware.button_width(found) == pytest.approx(width, abs=0.05)
    buttons = hardware.tuner_buttons(found, hardware.button_width(found))[1].shape
    assert len(buttons.rings) == 12
    left = sorted((r[:, 1].min(), r[:, 1].max()) for r in buttons.rings if r[:, 0].max() < 0)
    assert all(b[0] - a[1] > 0.7 for a, b in zip(left, left[1:], strict=False))


def test_pairs_keep_their_distance():
    made = layout(strings=8, pair=2.6, nut_spread=31.0, spread=44.0)
    nut, saddle = made.ends()
    for ends, spread in ((nut, 31.0), (saddle, 44.0)):
        assert_allclose(np.diff(ends[:, 0])[::2], 2.6)
        assert ends[-1][0] - ends[0][0] == pytest.approx(spread)


def test_heads_carry_their_tuners():
    made = layout()
    head = plain_head(made, 150.0, 68.0, 54.0, 4.5)
    found = posts(head, made, 2, 2, first=42.0, pitch=34.0, inset=13.0)
    assert [p.side for p in found] == [-1, -1, 1, 1]
    assert found[0].at[1] > found[1].at[1] and found[3].at[1] > found[2].at[1]  # the outer strings take the nearest posts
    for post in found:
        assert contains(head, post.at) and abs(abs(post.at[0] - post.edge) - 13.0) < 1e-9
    assert posts(head, made, 6, 6, first=42.0, pitch=34.0, inset=13.0) == ()
    x0, y0, x1, y1 = stub(made, 28.0).bounds
    assert y1 - y0 == pytest.approx(28.0, abs=0.2) and x1 - x0 == pytest.approx(33.0, abs=1.5)


@pytest.mark.parametrize("kind", ["plate", "single", "bar", "tuning"])
@pytest.mark.parametrize("strings", [1, 4, 8])
def test_bridges_bear_every_string(kind, strings):
    made = layout(strings=strings, pair=2.6 if strings == 8 else 0.0)
    pieces = hardware.bridge(made, kind)
    whole = many([p.shape for p in pieces])
    for (x, y), (ex, ey) in zip(hardware._saddles(made, kind), hardware.string_ends(made, kind), strict=True):
        assert contains(whole, (float(x), float(y) + 1e-3)) and ey > y and ex == x
        assert contains(whole, (float(ex), float(ey) - 0.2)), kind
    assert all(p.rise > 0 for p in pieces)


def test_figures_have_their_exact_sizes():
    assert circle((3.0, 4.0), 10.0).area == pytest.approx(np.pi * 25, rel=1e-4)
    assert plate((0.0, 0.0), (40.0, 20.0)).area == pytest.approx(800.0)
    assert plate((0.0, 0.0), (40.0, 20.0), 5.0).area == pytest.approx(800 - (4 - np.pi) * 25, rel=1e-5)
    assert plate((7.0, 0.0), (40.0, 20.0), 5.0, 30.0).area == pytest.approx(plate((0.0, 0.0), (40.0, 20.0), 5.0).area)
    assert strip([(0.0, 0.0), (30.0, 40.0)], 2.0).area == pytest.approx(100.0)


def test_a_cover_leaves_what_cutting_one_by_one_leaves():
    body = plate((0.0, 0.0), (100.0, 60.0), 10.0)
    others = [circle((x, y), 14.0) for x in (-30.0, 0.0, 9.0, 48.0) for y in (-10.0, 20.0)]
    cover = Cover()
    for other in others:
        cover.add(other)
    assert cover.left_of(body).area == pytest.approx(without(body, others).area, abs=1e-6)
    assert cover.left_of(circle((-30.0, -10.0), 10.0)) is None
    far = circle((500.0, 0.0), 10.0)
    assert cover.left_of(far) is far
    both = overlap(body, circle((50.0, 0.0), 20.0))
    assert both.area == pytest.approx(body.area - without(body, [circle((50.0, 0.0), 20.0)]).area, abs=1e-6)


def test_edges_are_found_with_the_way_out():
    disc = circle((10.0, 20.0), 40.0)
    for angle in np.radians([0, 77, 190, 300]):
        for radius in (12.0, 20.0, 31.0):
            at, out, far = edge_near(disc, (10 + radius * np.cos(angle), 20 + radius * np.sin(angle)))
            assert_allclose(out, (np.cos(angle), np.sin(angle)), atol=0.02)
            assert_allclose(at, (10 + 20 * np.cos(angle), 20 + 20 * np.sin(angle)), atol=0.1)  # the middle of a chord
            assert far == pytest.approx(abs(radius - 20.0), abs=0.01)
    assert width_at(disc, 20.0) == pytest.approx((-10.0, 30.0), abs=1e-3) and width_at(disc, 90.0) is None


def test_without_frets_a_dot_stands_where_the_finger_does():
    layout = Layout(centre=0.0, bridge=600.0, scales=(864.0, 864.0), square=0.0, strings=4, pair=0.0, nut_spread=34.0, spread=57.0,
                    nut_width=42.0, heel_width=62.0, frets=24, overhang=10.0)
    # Half the string at the octave, three quarters of it at the fourth (12-tone equal temperament, common practice).
    assert layout.marker(12, stop=True)[1] == pytest.approx(600 - 864 / 2)
    assert layout.marker(5, stop=True)[1] == pytest.approx(600 - 864 * 2 ** (-5 / 12))
    assert layout.marker(5)[1] < layout.marker(5, stop=True)[1] < layout.marker(6)[1]


@pytest.mark.parametrize(("strings", "pair"), [(1, 0.0), (2, 0.0), (3, 0.0), (4, 0.0), (5, 0.0), (6, 0.0), (7, 0.0), (8, 3.0), (12, 2.4)])
def test_the_dots_of_an_octave_lie_between_strings(strings, pair):
    layout = Layout(centre=5.0, bridge=600.0, scales=(650.0, 650.0), square=0.0, strings=strings, pair=pair, nut_spread=36.0, spread=52.0,
                    nut_width=43.0, heel_width=56.0, frets=22, overhang=10.0)
    y = layout.marker(12)[1]
    away = layout.between_strings(y)
    assert 2.0 < away < layout.half_width(y) - 2.0
    nut, saddle = layout.ends()
    x = nut[:, 0] + (y - nut[:, 1]) / (saddle[:, 1] - nut[:, 1]) * (saddle[:, 0] - nut[:, 0]) - 5.0
    if strings > 2:
        assert np.abs(np.abs(x) - away).min() > 2.0


@pytest.mark.parametrize("kind", ["single", "bar", "cased"])
@pytest.mark.parametrize("turn", [0, 18])
def test_a_pickup_is_held_by_a_screw_at_either_end_beside_all_strings(kind, turn):
    layout = Layout(centre=0.0, bridge=300.0, scales=(648.0, 648.0), square=0.0, strings=6, pair=0.0, nut_spread=36.0, spread=52.0,
                    nut_width=43.0, heel_width=56.0, frets=22, overhang=10.0)
    case, heads, slots, *_ = hardware.pickup((0.0, 250.0), layout, kind, turn)
    assert heads.kind == "pole" and slots.kind == "ink" and len(heads.shape.rings) == 2
    assert without(heads.shape, [case.shape]) is None
    nut, saddle = layout.ends()
    for ring in heads.shape.rings:
        x, y = ring.mean(axis=0)
        at = nut[:, 0] + (y - nut[:, 1]) / (saddle[:, 1] - nut[:, 1]) * (saddle[:, 0] - nut[:, 0])
        assert np.abs(at - x).min() > 2.0 and (x < at.min() or x > at.max())
