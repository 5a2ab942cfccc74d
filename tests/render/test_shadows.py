"""Shadows: a crop has those of the whole, and none ends in a line."""

import numpy as np
import pytest
from invented import box, egg

from mockup.outline.coverage import coverage
from mockup.outline.figures import circle, outline, strip
from mockup.render.canvas import Canvas
from mockup.render.ground import _mask, shade, shadow

BODY, NECK = egg(0, 0, 110, 150), box(-24, -380, 24, -100)
TALL = [(BODY, 45.0), (NECK, 26.0), (box(-21.5, -400, 21.5, -90), 6.0)]


def over(field, canvas):
    """A field at all pixels of a canvas; 1 where nothing reaches."""
    return np.ones(canvas.size[::-1]) if field is None else field.rows(canvas, (0, canvas.width), (0, canvas.height))


def crops(scale, lying):
    """The whole of the instrument, and some crops with their corner in it: through the body, beside it, beside the neck, and of one pixel."""
    whole = Canvas.around((-125, -400, 125, 165), scale, 28.0, lying=lying)
    for x, y, w, h in ((-60, -50, 90, 70), (60.3, 60.7, 90, 100), (-90.2, -330.9, 60, 120), (118, 0, 30, 30), (-20, 150, 1 / scale, 1 / scale)):
        a, b, c, d = (round(v * scale) for v in (x - whole.origin[0], y - whole.origin[1], w, h))
        yield whole, np.s_[b:b + d, a:a + c], Canvas((whole.origin[0] + a / scale, whole.origin[1] + b / scale), scale, (c, d), lying)


@pytest.mark.parametrize("lying", [False, True])
@pytest.mark.parametrize("scale", [0.5, 1.0, 3.3])
def test_a_crop_has_the_shadow_of_the_whole_on_the_ground(scale, lying):
    for whole, here, crop in crops(scale, lying):
        apart = np.abs(over(shadow(TALL, whole), whole)[here] - over(shadow(TALL, crop), crop))
        # The steep side of a low thing's shadow moves by some hundredths of a mm.
        assert apart.max() < 0.028 and (apart.size < 100 or apart.mean() < 0.003), (here, apart.max(), apart.mean())


@pytest.mark.parametrize("scale", [1.0, 2.0, 3.3])
def test_a_crop_has_the_shadow_of_the_whole_on_a_part(scale):
    strings = [(strip([(x, -380), (x * 1.4, 120)], 0.4), 4.0, True) for x in (-12.0, -4.0, 4.0, 12.0)]
    some = [*strings, (circle((60, 60), 9), 12.0, False), (box(-30, 80, 30, 96), 8.0, False)]
    for whole, here, crop in crops(scale, False):
        apart = np.abs(over(shade(some, BODY, whole), whole)[here] - over(shade(some, BODY, crop), crop))
        assert apart.max() < 0.02, (here, apart.max())


@pytest.mark.parametrize("scale", [0.25, 0.5, 1.0, 2.0, 3.0])
def test_what_casts_is_as_wide_as_it_is_at_any_scale(scale):
    neck = outline([(-16.5, -292), (16.5, -292), (21.5, 126), (-21.5, 126)])
    place = (-40.0, -320.0), scale, (round(80 * scale), round(480 * scale))
    apart = _mask([neck], *place, thin=False).sum(axis=1) - coverage(neck, origin=place[0], px_per_mm=scale, size=place[2]).sum(axis=1)
    assert np.abs(apart[round(36 * scale):round(436 * scale)] / scale).max() < 0.55  # mm


def test_what_stands_far_away_changes_nothing():
    """Casters are worked out in windows of their own: one more does not move the shadow of another."""
    canvas = Canvas((0.0, 0.0), 2.0, (900, 700))
    near, far = (circle((60, 60), 12), 20.0), (circle((380, 290), 5), 20.0)
    alone, both = (over(shadow(some, canvas), canvas) for some in ([near], [near, far]))
    assert np.array_equal(alone[:300, :360], both[:300, :360])
    assert both[560:620, 740:800].min() < 0.9


@pytest.mark.parametrize("rise", [0.6, 2.0, 6.0, 20.0, 70.0])
def test_no_shadow_ends_in_a_line(rise):
    """Where the window of a caster ends, its shadow has come to less than a code of the picture."""
    canvas = Canvas((0.0, 0.0), 1.0, (700, 700))
    light = over(shadow([(box(300, 300, 340, 420), rise)], canvas), canvas)
    steps = [np.abs(np.diff(np.where(light == 1, 1.0, light), axis=axis))[np.take(light, range(699), axis) == 1] for axis in (0, 1)]
    assert max(s.max() for s in steps) < 1e-3
    assert light.min() < 0.9 and (light[:60] == 1).all()
