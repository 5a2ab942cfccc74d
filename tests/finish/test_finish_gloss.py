"""Gloss units, roughness, and names for them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.errors import MockupError
from mockup.finish.glossmeter import gloss_ceiling, reading
from mockup.finish.sheen import mpi_level, roughness, sheen_label, sheen_words


def test_ceiling_of_a_smooth_film():
    """Perfectly smooth film of n = 1.5: 82.1 / 89.1 / 99.0 GU at 20 / 60 / 85 degrees (Fresnel, ISO 2813 standard glass)."""
    assert [gloss_ceiling(1.5, a) for a in (20, 60, 85)] == pytest.approx([82.1, 89.1, 99.0], abs=0.06)
    assert gloss_ceiling(1.567) == pytest.approx(100)
    assert reading(0.0008) == pytest.approx(89.1, abs=0.3)


@pytest.mark.parametrize(("alpha", "gu"), [
    (0.005, (65.3, 86.2, 94.8)), (0.02, (20.8, 61.2, 62.9)), (0.05, (4.9, 30.5, 28.0)), (0.1, (1.3, 13.6, 10.9)),
    (0.2, (0.3, 4.5, 3.1)), (0.3, (0.2, 2.0, 1.3))])
def test_reading_of_known_lobes(alpha, gu):
    """An integration written apart from this program, over the receptor instead of half vectors; same apertures."""
    got = [reading(alpha, angle=a) for a in (20, 60, 85)]
    assert got == pytest.approx(gu, abs=0.35)


def test_reading_has_converged():
    for alpha in (0.006,):
        assert reading(alpha) == pytest.approx(reading(alpha, fine=2), abs=0.05)


def test_body_adds_a_little():
    """A diffuse body of 0.5 adds about 1.25 GU at 60 degrees (computed apart from this program)."""
    assert reading(0.1, body=0.5) - reading(0.1) == pytest.approx(1.25, abs=0.02)


@pytest.mark.parametrize("gloss", [5, 6, 8.5, 17, 28, 39, 46, 49.9, 50.1, 55, 65, 77, 82, 85])
def test_roughness_reads_back(gloss):
    """A surface given the roughness of a gloss value reads that value on the glossmeter within 1 GU."""
    assert reading(roughness(gloss)) == pytest.approx(gloss, abs=1.0)


@settings(max_examples=40)
@given(st.floats(0, 95), st.floats(0, 95))
def test_smoother_is_glossier(a, b):
    if a < b:
        assert roughness(a) >= roughness(b)


def test_names_follow_mpi():
    """MPI gloss and sheen standard: G1 at most 5, G3 10-25, G4 20-35, G5 35-70, G6 70-85, G7 above 85 at 60 degrees."""
    assert [mpi_level(g) for g in (3, 8, 15, 28, 50, 75, 90)] == ["G1", "G2", "G3", "G4", "G5", "G6", "G7"]
    assert mpi_level(22, at_85=30) == "G3" and mpi_level(22, at_85=40) == "G4"
    assert [sheen_words(g) for g in (3, 8, 28, 50, 75, 90)] == ["dead matt", "matt", "satin", "semi-gloss", "gloss", "high gloss"]
    assert sheen_label(25) == "satin, 25 GU at 60°"


@pytest.mark.parametrize("gloss", [-1, 96, 120, float("nan")])
def test_no_such_gloss(gloss):
    with pytest.raises(MockupError, match="Use gloss units at 60 degrees"):
        roughness(gloss)


def test_light_keeps_its_share():
    """The lobe never gives back more light than falls on it: a matt face reads less than its mirror."""
    readings = [reading(a) for a in np.geomspace(0.002, 0.5, 6)]
    assert readings == sorted(readings, reverse=True)
