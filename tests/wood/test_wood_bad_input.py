"""What no board can be made of is said in one sentence, with what to do."""

import numpy as np
import pytest

from mockup.errors import MockupError
from mockup.wood import load_species, make_board


@pytest.mark.parametrize("changes, where, found, fix", [
    ({"size_mm": (0, 100)}, "size", "A board of 0 x 100 mm cannot be sawn.", "between 2 and 3000 mm"),
    ({"size_mm": (100, -5)}, "size", "cannot be sawn", "between"),
    ({"size_mm": (1e6, 100)}, "size", "A board of 1e+06 x 100 mm cannot be sawn.", "between"),
    ({"size_mm": (2000, 3000)}, "size", "megapixels", "Stay below 60 megapixels and 1.2 m²."),
    ({"size_mm": (float("nan"), 100)}, "size", "cannot be sawn", "between"),
    ({"size_mm": (float("inf"), 100)}, "size", "cannot be sawn", "between"),
    ({"size_mm": (100,)}, "size", "cannot be read", "as in 300x600"),
    ({"size_mm": "300x600"}, "size", "cannot be read", "as in 300x600"),
    ({"size_mm": None}, "size", "cannot be read", "as in 300x600"),
    ({"px_per_mm": 0}, "px_per_mm", "0 pixels per mm", "0.2 to 24"),
    ({"px_per_mm": float("nan")}, "px_per_mm", "nan pixels per mm", "0.2 to 24"),
    ({"px_per_mm": 24, "size_mm": (2900, 10)}, "size", "pixels long", "30000"),
    ({"species": "flame maple"}, "species", 'There is no wood "flame maple".', 'Did you mean "flame-maple"?'),
    ({"species": "../board"}, "species", "There is no wood", "Use one of"),
    ({"species": "Walnut"}, "species", "There is no wood", 'Did you mean "walnut"?'),
    ({"species": ""}, "species", "There is no wood", "Use one of"),
    ({"species": 7}, "species", "There is no wood", "Use one of"),
    ({"cut": "quater"}, "cut", 'There is no cut "quater".', 'Did you mean "quarter"?'),
    ({"seed": 1.5}, "seed", "The seed 1.5 is not a whole number from 0 up.", "such as 7"),
    ({"seed": "seven"}, "seed", "The seed 'seven'", "such as 7"),
    ({"seed": -1}, "seed", "The seed -1", "such as 7"),
    ({"seed": True}, "seed", "The seed True", "such as 7"),
    ({"faults": "wormholes"}, "faults", 'There is no fault "wormholes".', "Use one of"),
    ({"faults": ["knot", "knots"]}, "faults", 'There is no fault "knots".', 'Did you mean "knot"?'),
    ({"light": "sunset"}, "light", 'There is no light "sunset".', "Use one of"),
])
def test_one_sentence(changes, where, found, fix):
    arguments = {"species": "maple", "size_mm": (20, 20), **changes}
    with pytest.raises(MockupError) as error:
        make_board(**arguments)
    (problem,) = error.value.problems
    assert problem.where == where and found in problem.found and fix in problem.fix, str(problem)
    assert "\n" not in str(error.value)


def test_numpy_integers_are_seeds_too():
    a, b = (make_board("maple", size_mm=(5, 5), seed=s) for s in (7, np.int64(7)))
    np.testing.assert_array_equal(a.reflectance, b.reflectance)


def test_a_huge_seed_is_a_seed():
    make_board("maple", size_mm=(5, 5), seed=10**30)


def test_unknown_species_offers_the_nearest():
    with pytest.raises(MockupError, match='Did you mean "mahogany"'):
        load_species("mahagony")
