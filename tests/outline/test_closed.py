"""The rims of hardware in closed form are those of the general field."""

import numpy as np
import pytest

from mockup.outline.closed import BEYOND, rim_strip
from mockup.outline.cut import without
from mockup.outline.distance import edge_field
from mockup.outline.figures import circle, many, outline, plate
from mockup.outline.shape import Shape

PLACE = {"origin": (0.0, 0.0), "px_per_mm": 6.0, "size": (250, 200)}


def planes(shape: Shape, within: float, beyond: float = BEYOND):
    """The strip laid out on the canvas: where it is, distance and way in; each pixel is told once."""
    (rows, columns), d, inward = rim_strip(shape, within=within, beyond=beyond, **PLACE)
    shown = np.zeros(PLACE["size"][::-1], int)
    np.add.at(shown, (rows, columns), 1)
    assert shown.max() <= 1
    distance, way = np.zeros(shown.shape, np.float32), np.zeros((*shown.shape, 2), np.float32)
    distance[rows, columns], way[rows, columns] = d, inward
    return shown == 1, distance, way


def free(centre, width: float, side: int) -> Shape:
    """An egg, fuller at one end."""
    t = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    return outline(np.column_stack((centre[0] + side * (width * np.cos(t) + 0.5 * np.cos(2 * t)), centre[1] + 1.3 * width * np.sin(t))))


SHAPES = {
    "disc": circle((12, 11), 9), "plate": plate((20, 15), (22, 14), 3, 20), "stadium": plate((20, 15), (22, 8), 4, -35),
    "quad": outline([(3, 3), (30, 6), (28, 20), (6, 18)]),
    "several": many([circle((8, 8), 6), circle((20, 9), 5), plate((15, 20), (12, 6), 2, 0)]),
    "holes": without(plate((20, 15), (30, 20), 4, 10), [circle((15, 15), 6), circle((26, 14), 3)]),
    "a disc in a hole": many([without(circle((20, 15), 26), [circle((20, 15), 18)]), circle((20, 15), 9)]),
    "free and disc": many([free((9, 12), 5.0, 1), circle((25, 12), 8)]),
    "a free hole in a plate": without(plate((20, 16), (34, 28), 4, 10), [free((16, 14), 4.0, 1)]),
    "a free hole in a free form": without(free((20, 16), 11.0, 1), [free((20, 14), 4.0, -1)]),
    "alike": many([free((9, 12), 5.0, 1), free((22.37, 12.21), 5.0, 1), free((34.1, 12.7), 5.0, -1)]),
}


@pytest.mark.parametrize("name", SHAPES)
def test_as_the_general_field(name):
    within = 2.6
    shown, d, inward = planes(SHAPES[name], within)
    true, way = edge_field(SHAPES[name], reach=within + 2, **PLACE)
    # Rings that are alike are read off the first one, between its samples: a ridge is a little rounder there.
    near = 0.04 if name == "alike" else 0.005
    rim = (true < within - near) & (true > -BEYOND + 0.05)
    assert shown[rim].all() and not shown[(true > within + near) | (true < -BEYOND - near)].any()
    assert np.abs(d - true)[rim].max() < near
    turn = np.degrees(np.arccos(np.clip((inward * way).sum(axis=-1)[rim & (true > 0.3)], -1, 1)))
    assert np.percentile(turn, 95) < 2.5
    assert ((d > 0) == (true > 0))[rim & (np.abs(true) > near)].all()


def test_a_hole_and_a_piece_of_its_form_do_not_share_their_margins():
    """A piece of the form of a hole, worked out before it, reaches less far out than the hole does into the material."""
    piece = free((7.0, 12.0), 4.0, 1)
    shape = Shape((*piece.rings, *without(plate((27, 16), (24, 28), 3), [free((27.0, 16.0), 4.0 - 1e-9, 1)]).rings))
    shown, d, _ = planes(shape, 4.0)
    true, _ = edge_field(shape, reach=6.0, **PLACE)
    rim = (true < 4.0 - 0.04) & (true > -BEYOND + 0.05)
    assert shown[rim].all() and np.abs(d - true)[rim].max() < 0.04


def test_free_forms_alone_are_left_to_the_general_field():
    assert rim_strip(free((12, 12), 5.0, 1), within=2.0, beyond=BEYOND, **PLACE) is None


def test_only_the_strips_along_a_boards_sides_are_worked_out():
    quad = outline([(2.0, 2.0), (2.5, 30.0), (38.0, 30.0), (38.0, 2.0)])
    shown, d, _ = planes(quad, 0.8)
    true, _ = edge_field(quad, reach=3.0, **PLACE)
    rim = (true < 0.8 - 0.005) & (true > -1.4)
    assert shown[rim].all() and np.abs(d - true)[rim].max() < 0.005
    assert not shown[90, 125]


def test_what_lies_off_the_canvas_leaves_nothing():
    shown, _, _ = planes(circle((80.0, 12.0), 6.0), 1.0)
    assert not shown.any()


@pytest.mark.parametrize("within, beyond", [(3.0, BEYOND), (0.8, 0.3)])
def test_slanted_sides_are_worked_out_as_far_in_and_out_as_is_asked(within, beyond):
    """A tapered board: none of its sides runs along the rows or columns of the canvas."""
    quad = outline([(4.0, 2.0), (2.5, 30.0), (38.0, 27.0), (30.0, 3.0)])
    shown, d, inward = planes(quad, within, beyond)
    true, way = edge_field(quad, reach=6.0, **PLACE)
    rim = (true < within - 0.01) & (true > -beyond + 0.01)
    assert shown[rim].all() and np.abs(d - true)[rim].max() < 0.005
    turn = np.degrees(np.arccos(np.clip((inward * way).sum(axis=-1)[rim & (true > 0.3)], -1, 1)))
    assert np.percentile(turn, 95) < 2.5
    assert not shown[true < -beyond - 0.01].any()
