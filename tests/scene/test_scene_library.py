"""The libraries say what they do: the colours in their comments are those the engine computes."""

import re

import numpy as np
import pytest

from mockup.colour.spaces import lab_to_linear, linear_to_lab
from mockup.errors import MockupError
from mockup.finish.engine import apply_steps
from mockup.finish.steps import Coat, StainStep
from mockup.scene.library import films, find, stains
from mockup.scene.reader import offer

MAPLE, MAHOGANY = np.array([82.5, 4, 18.5]), np.array([57, 13, 22.0])
LAB = r"(-?\d+), (-?\d+), (-?\d+)"


def finished(wood, *steps):
    return linear_to_lab(apply_steps(steps, lab_to_linear(wood)[None], np.ones(1)))[0]


def stained(name, wood, strength=1.0):
    return finished(wood, StainStep(stain=stains()[name].value, strength=strength),
                    Coat(film=films()["water-borne"].value, coats=3))


def triples(pattern, text):
    found = re.search(pattern, text)
    assert found, pattern
    return np.array([float(v) for v in found.groups()]).reshape(-1, 3)


def test_the_trades_colours_and_films_are_there():
    assert set(stains()) >= {"natural", "amber", "honey", "tobacco", "red", "cherry", "walnut brown", "dark walnut",
                             "black", "blue", "teal", "green", "purple", "grey", "white"}
    assert set(films()) == {"oil", "oil varnish", "shellac", "lacquer", "water-borne"}


@pytest.mark.parametrize("name", stains())
def test_the_comment_of_a_stain_says_what_it_computes_to(name):
    text = stains()[name].file.read_text()
    full, weak = triples(rf"maple \(Lab 82\.5, 4, 18\.5\) computed as {LAB} at strength 1, {LAB} at 0\.4", text)
    dark, = triples(rf"on mahogany \(57, 13, 22\) as {LAB} at strength 1", text)
    np.testing.assert_allclose(stained(name, MAPLE), full, atol=0.6)
    np.testing.assert_allclose(stained(name, MAPLE, 0.4), weak, atol=0.6)
    np.testing.assert_allclose(stained(name, MAHOGANY), dark, atol=0.6)


@pytest.mark.parametrize("name", films())
def test_the_comment_of_a_film_says_what_it_computes_to(name):
    entry = films()[name]
    said = triples(rf"1 coat {LAB}; 4 coats {LAB}; 8 coats {LAB}", entry.file.read_text())
    for coats, lab in zip((1, 4, 8), said, strict=True):
        np.testing.assert_allclose(finished(MAPLE, Coat(film=entry.value, coats=coats)), lab, atol=0.6)


def test_stains_look_as_they_are_called():
    """Hue angle and lightness on maple, as the trade's words would have them (common practice)."""
    def hue(name):
        _, a, b = stained(name, MAPLE)
        return np.degrees(np.arctan2(b, a)) % 360

    assert 60 < hue("amber") < 85 and 60 < hue("honey") < 85 and 45 < hue("tobacco") < 75
    assert 15 < hue("red") < 45 and 35 < hue("cherry") < 60
    assert 230 < hue("blue") < 290 and 170 < hue("teal") < 230 and 120 < hue("green") < 170
    assert 290 < hue("purple") < 350
    light = {name: stained(name, MAPLE)[0] for name in stains()}
    assert light["black"] < 18 < light["dark walnut"] < 30 < light["walnut brown"] < 50 < light["amber"] < light["honey"]
    assert light["white"] > light["natural"]
    assert np.hypot(*stained("black", MAPLE)[1:]) < 3 and np.hypot(*stained("grey", MAPLE)[1:]) < 5


def test_films_change_pale_wood_within_the_recalled_ranges():
    """Pale wood: water-borne dL -2..-5, db +2..+5; oil or alkyd dL -5..-10, db +6..+12 (from memory)."""
    bare = MAPLE
    for name, coats, (dl, db) in (("water-borne", 4, ((-5, -2), (2, 5))), ("oil", 4, ((-10, -5), (6, 12))),
                                  ("oil varnish", 4, ((-10, -5), (6, 12)))):
        change = finished(bare, Coat(film=films()[name].value, coats=coats)) - bare
        assert dl[0] <= change[0] <= dl[1] and db[0] <= change[2] <= db[1], (name, change)


def test_each_coat_ambers_and_water_borne_least():
    """Alkyd varnish changes colour most and water-based least (Forestist 2017, 67, 262-274, abstract)."""
    yellow = {n: finished(MAPLE, Coat(film=e.value, coats=6))[2] for n, e in films().items()}
    assert min(yellow, key=yellow.get) == "water-borne" and max(yellow, key=yellow.get) == "oil varnish"
    for name, entry in films().items():
        assert finished(MAPLE, Coat(film=entry.value, coats=3))[2] < yellow[name]
        assert 0.20 <= entry.value.wet <= 0.36


def test_every_library_value_says_where_it_comes_from():
    for entry in [*stains().values(), *films().values()]:
        assert entry.value.basis.startswith("from memory") and entry.value.words


def test_names_are_found_loosely_and_the_nearest_offered():
    assert find("Dark_Walnut", stains(), "stain").value.name == "dark walnut"
    with pytest.raises(MockupError, match='There is no stain named "tobaco". Did you mean "tobacco"?'):
        find("tobaco", stains(), "stain")
    assert offer("zzz", ["a", "b"]) == "Use one of: a, b."
