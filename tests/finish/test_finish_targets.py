"""Targets solved, and the range a predicted colour carries."""

from dataclasses import replace

import numpy as np
import pytest
from finish_woods import BARE, axes_of, linear
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.colour.difference import ciede2000
from mockup.errors import MockupError
from mockup.finish.expected import expected, more_or_less
from mockup.finish.reach import board_lab, dye_for, reach, swatch_lab
from mockup.finish.steps import Coat, Finish, SandBack, StainStep
from mockup.scene.library import films, stains

STAINS = {name: entry.value for name, entry in stains().items()}
CLEAR = Coat(film=films()["water-borne"].value, coats=3)
AXES = {wood: axes_of(wood) for wood in BARE}


def finish_of(name, strength=1.0):
    return Finish(steps=(StainStep(stain=STAINS[name], strength=strength), CLEAR))


@settings(max_examples=12)
@given(st.sampled_from(["amber", "tobacco", "blue", "walnut brown", "white"]), st.floats(0.05, 0.95), st.sampled_from(["maple", "mahogany"]))
def test_a_colour_made_is_a_colour_found(name, strength, wood):
    """The strength behind a colour is found again from the colour alone."""
    target = board_lab(finish_of(name, strength), AXES[wood])
    found = reach(finish_of(name), 0, AXES[wood], target)
    assert found.reached and found.off < 0.1
    assert found.strength == pytest.approx(strength, abs=0.02)


@settings(max_examples=12)
@given(st.floats(25, 65), st.floats(0, 25), st.floats(10, 40))
def test_a_mixed_dye_reaches_what_is_darker_than_the_wood(lightness, a, b):
    target = (lightness, a, b)
    if linear(target).min() > 0.004 and (linear(target) < 0.92 * linear(board_lab(Finish(steps=(CLEAR,)), AXES["maple"]))).all():
        assert dye_for(AXES["maple"], target, (CLEAR,)).reached


@pytest.mark.parametrize(("target", "why"), [
    ((90.0, 0.0, 5.0), "lighter than this wood"), ((20.0, 5.0, 8.0), "more than full strength"), ((60.0, -20.0, 30.0), "another one than this stain")])
def test_what_cannot_be_reached_is_said(target, why):
    found = reach(finish_of("amber"), 0, AXES["maple"], target)
    assert not found.reached and why in found.words and "ΔE00" in found.words
    # No strength does better.
    offs = [float(ciede2000(np.array(board_lab(finish_of("amber", s), AXES["maple"])), np.array(target))) for s in np.linspace(0, 1, 21)]
    assert found.off <= min(offs) + 0.05


def test_no_dye_lightens():
    found = dye_for(AXES["walnut"], (70.0, 5.0, 20.0), (CLEAR,))
    assert not found.reached and "no dye lightens wood" in found.words
    assert found.lab[0] <= board_lab(Finish(steps=(CLEAR,)), AXES["walnut"])[0] + 0.1


def test_only_a_stain_can_be_solved():
    with pytest.raises(MockupError, match="is no stain"):
        reach(Finish(steps=(CLEAR,)), 0, AXES["maple"], (50, 10, 20))


def test_swatch():
    rng = np.random.default_rng(3)
    photo = np.clip(linear((45.0, 20.0, 30.0)) + rng.normal(0, 0.004, (60, 80, 3)), 0, 1)
    photo[28:32, 38:44] = 0.95  # a speck of glare
    assert float(ciede2000(np.array(swatch_lab(photo)), np.array([45.0, 20.0, 30.0]))) < 0.5
    photo[:, 40:] *= 0.3
    with pytest.raises(MockupError, match="not one colour"):
        swatch_lab(photo)


@pytest.mark.parametrize("name", ["honey", "amber", "tobacco", "black", "white", "blue"])
def test_range_is_as_wide_as_it_says(name):
    told = expected(finish_of(name, 0.6), AXES["maple"])
    assert 0.5 < told.spread < 12
    assert told.light[0] > told.lab[0] - 0.5 and told.light != told.dark
    for end in (told.light, told.dark):
        assert float(ciede2000(np.array(end), np.array(told.lab))) == pytest.approx(told.spread, abs=0.25 * told.spread + 0.1)
    assert not told.fitted and "library estimate" in told.words()


def test_range_follows_its_sources():
    fitted = replace(STAINS["amber"], basis="fitted on maple: held-out ΔE00 mean 0.6", spread=1.2)
    estimate, measured = expected(finish_of("amber"), AXES["maple"]), None
    measured = expected(Finish(steps=(StainStep(stain=fitted), CLEAR)), AXES["maple"])
    assert measured.spread < 0.5 * estimate.spread and "amber fitted, the rest library estimates" in measured.words()
    assert expected(finish_of("amber", 0.05), AXES["maple"]).spread < estimate.spread
    assert expected(finish_of("amber"), AXES["maple"], board_spread=5.0).spread == pytest.approx(np.hypot(estimate.spread, 5), abs=0.02)
    alone = expected(Finish(steps=(StainStep(stain=fitted),)), AXES["maple"])
    assert alone.fitted and alone.spread == pytest.approx(1.2, abs=0.01) and "fitted to a test board" in alone.words()


def test_light_and_dark_are_less_and_more_of_the_same():
    finish = Finish(steps=(StainStep(stain=STAINS["tobacco"], strength=0.4), SandBack(amount=0.5), CLEAR))
    less, more = more_or_less(finish, 0.5), more_or_less(finish, 1.5)
    assert less.steps[0].strength == pytest.approx(0.2) and more.steps[0].strength == pytest.approx(0.6)
    assert less.steps[1] == finish.steps[1]
    assert board_lab(less, AXES["maple"])[0] > board_lab(finish, AXES["maple"])[0] > board_lab(more, AXES["maple"])[0]
    told = expected(finish, AXES["maple"])
    assert board_lab(told.light_finish, AXES["maple"])[0] > told.lab[0] > board_lab(told.dark_finish, AXES["maple"])[0]


@pytest.mark.parametrize("wood", ["maple", "walnut"])
def test_a_liming_stain_comes_out_light_when_there_is_more_of_it(wood):
    told = expected(Finish(steps=(StainStep(stain=STAINS["white"]), CLEAR)), AXES[wood])
    assert told.light[0] > told.lab[0] + 0.5 and told.dark[0] < told.lab[0] - 0.5
    assert told.light_finish.steps[0].strength > 1 > told.dark_finish.steps[0].strength


def test_bare_wood_has_no_range_but_its_own():
    told = expected(Finish(), AXES["maple"])
    assert told.spread == 0 and told.basis == "bare wood" and not told.fitted
