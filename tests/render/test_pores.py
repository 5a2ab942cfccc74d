"""Open pores as dents in the last surface."""

from dataclasses import replace

import numpy as np
import pytest

from mockup.finish.axes import pores_from_detail, wood_axes
from mockup.finish.steps import Coat, Finish, GrainFill, StainStep
from mockup.render.canvas import Canvas
from mockup.render.picture import picture
from mockup.render.pores import pore_relief
from mockup.scene.library import films, stains
from mockup.scene.load import load_scene

LACQUER = films()["lacquer"].value
DARK = StainStep(stain=stains()["black"].value, strength=0.5)
OPEN = Finish(steps=(DARK, Coat(film=LACQUER, coats=2)), sheen=80)
FILLED = Finish(steps=(DARK, GrainFill(), Coat(film=LACQUER, coats=8)), sheen=80)
CANVAS = Canvas((0, 0), 5, (60, 60))


def axes(light=0.7):
    """A wood whose detail runs far down to its pores; ``light`` is the cube root of its reflectance."""
    rng = np.random.default_rng(1)
    w = np.concatenate([rng.normal(0, 0.015, 5000), np.full(60, -0.2)])
    return wood_axes(light + w[:, None] * np.array([1.0, 1.0, 1.1]), w)


def block(wood, line=30):
    """Bare rows (60, 60, 4) of plain wood with one upright pore."""
    codes = np.clip((np.zeros(4) - wood.low) / (wood.high - wood.low) * 65535, 0, 65535)
    bare = np.broadcast_to(codes, (60, 60, 4)).astype(np.uint16)
    if line:
        bare[10:50, line, 2] = (-0.2 - wood.low[2]) / (wood.high[2] - wood.low[2]) * 65535
    return bare


def test_a_pore_catches_the_window_on_its_far_wall_and_breaks_a_highlight():
    wood = axes()
    relief = pore_relief(OPEN, wood, CANVAS)
    flat = np.full((60, 60), 0.05, np.float32)
    seen = relief.over(block(wood), flat)
    # The window stands up on the left: the right wall faces it, the left one turns away, the floor mirrors less.
    assert seen[30, 31] > 0.055 and seen[30, 29] <= 0.05 and seen[30, 30] < 0.035
    assert np.array_equal(seen[:, :28], flat[:, :28]) and np.array_equal(seen[:, 33:], flat[:, 33:])
    assert relief.over(block(wood, line=0), flat) is flat
    # Neck to the left, the window stands elsewhere in the drawing: one wall of an upright pore no longer wins by so much.
    lying = pore_relief(OPEN, wood, replace(CANVAS, lying=True)).over(block(wood), flat)
    assert not np.allclose(lying, seen)


def test_filled_or_levelled_pores_are_not_seen():
    wood = axes()
    assert pore_relief(FILLED, wood, CANVAS) is None
    assert pore_relief(Finish(steps=(Coat(film=LACQUER, coats=30),), sheen=80), wood, CANVAS) is None
    deep, shallow = (pore_relief(replace(OPEN, steps=(Coat(film=LACQUER, coats=n),)), wood, CANVAS) for n in (1, 6))
    assert deep.pores.max() > 1.5 * shallow.pores.max() > 0


@pytest.mark.parametrize(("matter", "glossier"), [(5, 25), (25, 60), (60, 85)])
def test_a_glossier_film_glints_more(matter, glossier):
    wood = axes()
    dull, bright = (pore_relief(replace(OPEN, sheen=g), wood, CANVAS).glint for g in (matter, glossier))
    assert 0 < dull < bright < 0.2


def test_pores_of_black_wood_are_no_lint():
    """A wall glints as pale wood does down to ash, and the darker the wood is below that, the less."""
    ash, pale, walnut, ebony = (pore_relief(OPEN, axes(light), CANVAS).glint for light in (0.75, 0.85, 0.53, 0.36))
    assert ash == pytest.approx(pale)
    assert 0.3 * ash < walnut < 0.6 * ash and ebony < 0.2 * ash


def test_open_ash_shows_its_pores_and_filled_ash_does_not():
    """In a picture: the dents change open-pored wood locally, by little on average, and nothing once the grain is filled."""
    scene = load_scene("gannet")

    def drawn(finish, pores=True):
        parts = tuple(replace(p, finish=finish) for p in scene.parts)
        box = scene.parts[0].shape.bounds
        x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
        return picture(replace(scene, parts=parts), scale=5, canvas=Canvas((x - 25, y - 25), 5, (250, 250))).pixels.astype(float)

    open_, filled = drawn(OPEN), drawn(FILLED)
    # An open pore is darker than a filled one; what is brighter there are the glints on its walls.
    brighter = (open_ - filled).mean(axis=2)
    brighter -= np.median(brighter)
    assert brighter.max() > 8 and 0.0003 < (brighter > 4).mean() < 0.05
    assert abs(open_.mean() - filled.mean()) < 6


def test_a_pore_is_one():
    assert pores_from_detail(np.array([-0.2]), axes())[0] > 0.99
