"""What each step does, and in which order."""

import numpy as np
import pytest
from finish_woods import BARE, axes_of, linear
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import lab_to_linear, linear_to_lab
from mockup.finish.bands import from_bands, to_bands
from mockup.finish.bake import bake
from mockup.finish.engine import apply_steps
from mockup.finish.fill import pore_depth
from mockup.finish.sandback import sanded
from mockup.finish.steps import Burst, Coat, Finish, GrainFill, Paint, RubbedEdge, SandBack, StainStep, Tint
from mockup.finish.words import finish_warnings, finish_words
from mockup.scene.library import films, stains

STAINS = {name: entry.value for name, entry in stains().items()}
FILMS = {name: entry.value for name, entry in films().items()}
MAPLE = linear(BARE["maple"])
VARNISH = Coat(film=FILMS["oil varnish"], coats=4)
PLACES = np.array([0.4, 0.8, 1.0, 1.4, 2.4])


def on(steps, bare=MAPLE, uptake=1.0, **more):
    return apply_steps(tuple(steps), bare, uptake, **more)


def stain(name, strength=1.0):
    return StainStep(stain=STAINS[name], strength=strength)


@settings(max_examples=30)
@given(st.sampled_from(sorted(BARE)), st.sampled_from(sorted(STAINS)))
def test_strength_nought_changes_nothing(wood, name):
    bare = linear(BARE[wood])
    assert_allclose(on([stain(name, 0)], bare), bare, rtol=1e-9)
    assert_allclose(on([StainStep(stain=STAINS["natural"])], bare), bare, rtol=1e-9)
    assert_allclose(on([Burst(stain=STAINS[name]), SandBack(amount=0.5)], bare, burst=(0.0,)), bare, rtol=1e-9)
    assert_allclose(on([], bare), bare)


@settings(max_examples=30)
@given(st.sampled_from([n for n, s in STAINS.items() if not any(s.hide)]), st.floats(0, 1), st.floats(0, 1))
def test_more_dye_is_never_lighter(name, a, b):
    low, high = sorted((a, b))
    # In the engine's own bands: in sRGB an amber dye may add red, since its colour leaves that gamut.
    assert (to_bands(on([stain(name, high)])) <= to_bands(on([stain(name, low)])) + 1e-12).all()


def test_pigment_brings_woods_together_and_dye_keeps_their_order():
    woods = np.array([linear(v) for v in BARE.values()])
    apart = {name: np.ptp(linear_to_lab(on([stain(name)], woods))[:, 0]) for name in ("honey", "white", "grey")}
    bare = np.ptp(linear_to_lab(woods)[:, 0])
    assert max(apart["white"], apart["grey"]) < bare - 4
    assert (np.diff(linear_to_lab(on([stain("tobacco")], woods))[:, 0]) < 0).all()


def test_white_pigment_lightens_dark_wood():
    walnut = linear(BARE["walnut"])
    assert (on([stain("white")], walnut) > walnut).all()


def test_open_places_take_more():
    seen = on([stain("tobacco")], np.tile(MAPLE, (5, 1)), PLACES)
    assert (np.diff(seen.sum(axis=1)) < 0).all()
    even = on([Tint(stain=STAINS["tobacco"])], np.tile(MAPLE, (5, 1)), PLACES)
    assert np.ptp(even, axis=0).max() < 1e-12


def test_sand_back_leaves_what_soaked_in():
    left = sanded(PLACES, 0.6)
    assert (np.diff(left) >= 0).all() and left[0] < 0.45 < 0.8 < left[-1] <= 1
    assert_allclose(sanded(PLACES, 0.0), 1)
    assert (sanded(PLACES, 1.0) < sanded(PLACES, 0.3))[:3].all()
    before, after = (linear_to_lab(on(steps, np.tile(MAPLE, (5, 1)), PLACES))[:, 0]
                     for steps in ([stain("black", 0.1)], [stain("black", 0.1), SandBack(amount=0.6)]))
    assert after[0] - before[0] > 3 * (after[-1] - before[-1])


def test_dyes_in_the_wood_do_not_care_for_order_but_coats_do():
    a, b = stain("amber", 0.5), stain("red", 0.4)
    assert_allclose(on([a, b, VARNISH]), on([b, a, VARNISH]), rtol=1e-12)
    assert float(ciede2000(linear_to_lab(on([stain("blue", 0.6), VARNISH])), linear_to_lab(on([VARNISH, stain("blue", 0.6)])))) > 0.5


def test_each_coat_takes_its_share_and_only_the_first_wets():
    one, two, three = (to_bands(on([Coat(film=FILMS["oil varnish"], coats=n)])) for n in (1, 2, 3))
    assert_allclose(two / one, np.exp(-2 * np.array(FILMS["oil varnish"].absorb)), rtol=1e-12)
    assert_allclose(three / two, two / one, rtol=1e-12)
    shellac, both = (to_bands(on([Coat(film=FILMS["shellac"], coats=1), *more])) for more in ([], [Coat(film=FILMS["lacquer"], coats=2)]))
    assert_allclose(both / shellac, np.exp(-4 * np.array(FILMS["lacquer"].absorb)), rtol=1e-12)


def test_stain_under_film_is_the_same_dye_as_when_dry():
    """Under a film all stained woods darken, black too: its dry grey is a veil of torn fibres."""
    dry, wet = (linear_to_lab(on(s))[0] for s in ([stain("black")], [stain("black"), VARNISH]))
    assert dry - wet > 4


def test_burst_deepens_with_weight_and_keeps_the_middle():
    steps = [stain("amber", 0.4), Burst(stain=STAINS["tobacco"]), VARNISH]
    depth = np.linspace(0, 1, 5)
    seen = on(steps, np.tile(MAPLE, (5, 1)), burst=(depth,))
    assert_allclose(seen[0], on([stain("amber", 0.4), VARNISH]), rtol=1e-12)
    assert (np.diff(seen.sum(axis=1)) < 0).all()


def test_rubbed_burst_follows_figure_and_sprayed_does_not():
    bare = np.tile(MAPLE, (5, 1))
    for rubbed in (True, False):
        seen = on([Burst(stain=STAINS["tobacco"], rubbed=rubbed)], bare, PLACES, burst=(1.0,))
        assert (np.ptp(seen[:, 1]) > 0.01) == rubbed


def test_rubbed_edge_bares_the_wood_under_later_coats():
    steps = [stain("black"), RubbedEdge(amount=1.0), VARNISH]
    assert_allclose(on(steps, burst=(1.0,)), on([VARNISH]), rtol=1e-12)
    assert_allclose(on(steps, burst=(0.0,)), on([stain("black"), VARNISH]), rtol=1e-12)


def test_paint_covers_stain_shimmer_and_figure():
    white = Paint(lab=(90.0, 0.0, 3.0))
    bare, shimmer = np.tile(MAPLE, (5, 1)), np.linspace(0.7, 1.3, 5)
    hidden = on([stain("tobacco"), white], bare, PLACES, shimmer=shimmer)
    assert_allclose(hidden, np.tile(lab_to_linear(np.array([90.0, 0, 3])), (5, 1)), rtol=1e-6)
    thin = on([Paint(lab=(90.0, 0.0, 3.0), cover=0.4)], bare, PLACES, shimmer=shimmer)
    assert 0.02 < np.ptp(np.log(thin[:, 1])) < np.ptp(np.log(shimmer))


def test_shimmer_lives_under_dye_and_fades_under_pigment():
    bare, shimmer = np.tile(MAPLE, (2, 1)), np.array([0.9, 1.1])
    swing = {name: float(np.diff(np.log(on([stain(name)], bare, shimmer=shimmer)[:, 1]))[0]) for name in ("black", "blue", "white")}
    assert swing["black"] == pytest.approx(swing["blue"]) == pytest.approx(float(np.log(1.1 / 0.9)))
    assert swing["white"] < 0.5 * swing["black"]


def test_filler_touches_pores_only():
    bare, pores = np.tile(MAPLE * 0.4, (2, 1)), np.array([0.0, 1.0])
    dark = on([GrainFill(lab=(22.0, 5.0, 6.0))], bare, pores=pores)
    clear = on([GrainFill()], bare, pores=pores)
    assert_allclose(dark[0], bare[0], rtol=1e-9)
    assert_allclose(linear_to_lab(dark[1]), (22, 5, 6), atol=0.2)
    assert_allclose(clear[0], bare[0], rtol=1e-9)
    assert (clear[1] > bare[1]).all()


ORDERS = [
    ([VARNISH, stain("amber")], "over a sealed coat cannot soak in"),
    ([SandBack(amount=0.5)], "before any stain"),
    ([stain("black"), VARNISH, SandBack(amount=0.5)], "takes off film, not colour"),
    ([GrainFill(), stain("amber"), VARNISH], "stain before filling"),
    ([Tint(stain=STAINS["amber"])], "seal first"),
    ([VARNISH, Burst(stain=STAINS["tobacco"], rubbed=True)], "cannot soak in"),
    ([stain("amber"), Paint(lab=(30.0, 0.0, 0.0))], "hides the stain"),
    ([Paint(lab=(30.0, 0.0, 0.0)), stain("amber")], "cannot reach the wood"),
    ([RubbedEdge()], "bares nothing"),
    ([Coat(film=FILMS["oil"], coats=2), Coat(film=FILMS["lacquer"], coats=4)], "over wet oil"),
    ([Coat(film=FILMS["lacquer"], coats=30)], "more than a finisher"),
    ([stain("amber", 0), VARNISH], "colours nothing"),
]


@pytest.mark.parametrize(("steps", "said"), ORDERS)
def test_nonsense_is_named(steps, said):
    told = finish_warnings(Finish(steps=tuple(steps), sheen=20))
    assert len([t for t in told if said in t]) == 1, told
    for sentence in told:
        assert sentence[0].isupper() and sentence.endswith(".") and len(sentence) < 140


@pytest.mark.parametrize("steps", [
    [stain("honey", 0.5), VARNISH], [stain("black", 0.1), SandBack(amount=0.6), stain("blue"), Coat(film=FILMS["water-borne"], coats=4)],
    [stain("amber"), Burst(stain=STAINS["tobacco"]), VARNISH], [stain("amber"), GrainFill(), VARNISH],
    [Coat(film=FILMS["shellac"], coats=1), Tint(stain=STAINS["red"]), Coat(film=FILMS["lacquer"], coats=6)], [Paint(lab=(30.0, 0, 0)), VARNISH]])
def test_good_practice_is_not_scolded(steps):
    assert finish_warnings(Finish(steps=tuple(steps), sheen=20)) == ()


def test_a_finish_in_words():
    steps = (stain("amber", 0.6), SandBack(amount=0.5), GrainFill(lab=(25.0, 5.0, 6.0)),
             Burst(stain=STAINS["tobacco"], rubbed=True, width=60), RubbedEdge(width=4), VARNISH)
    assert finish_words(Finish(steps=steps)) == ("amber dye at 60 %; sanded back; dark grain filler; "
                                                 "tobacco burst rubbed in by hand, 60 mm wide; edge rubbed through, 4 mm; "
                                                 "four coats of oil varnish")


def test_bands_hold_every_colour_of_stained_wood():
    """Rec. 2020 primaries: white stays white, and strong dyes stay above nothing where sRGB would not."""
    assert_allclose(to_bands(np.ones(3)), 1, atol=1e-12)
    assert_allclose(from_bands(to_bands(MAPLE)), MAPLE, atol=1e-12)
    # ITU-R BT.2087-0, BT.709 to BT.2020, its matrix by columns.
    assert_allclose(to_bands(np.eye(3)), [[0.6274, 0.0691, 0.0164], [0.3293, 0.9195, 0.0880], [0.0433, 0.0114, 0.8956]], atol=2e-4)


def any_step():
    strength, name = st.floats(0, 1), st.sampled_from(sorted(STAINS))
    lab = st.tuples(st.floats(5, 95), st.floats(-20, 20), st.floats(-20, 30))
    return st.one_of(
        st.builds(lambda n, s: StainStep(stain=STAINS[n], strength=s), name, strength),
        st.builds(lambda n, s: Tint(stain=STAINS[n], strength=s), name, strength),
        st.builds(lambda n, s, r: Burst(stain=STAINS[n], strength=s, rubbed=r), name, strength, st.booleans()),
        st.builds(lambda a: SandBack(amount=a), strength), st.builds(lambda a: RubbedEdge(amount=a), strength),
        st.builds(lambda v, a: GrainFill(lab=v, amount=a), st.none() | lab, strength),
        st.builds(lambda n, c: Coat(film=FILMS[n], coats=c), st.sampled_from(sorted(FILMS)), st.integers(1, 30)),
        st.builds(lambda v, c: Paint(lab=v, cover=c), lab, strength))


@settings(max_examples=60)
@given(st.lists(any_step(), max_size=7), st.sampled_from(sorted(BARE)), st.floats(0, 1))
def test_any_finish_in_any_order(steps, wood, depth):
    """Every stack of steps gives sound reflectance, words, and no traceback; the same twice."""
    finish = Finish(steps=tuple(steps))
    edges = tuple(depth for s in steps if isinstance(s, Burst | RubbedEdge))
    bare = np.stack([linear(BARE[wood]) * v for v in (1e-4, 0.3, 1.0, 1.1)])
    seen = to_bands(apply_steps(finish.steps, bare, np.array([0.1, 0.5, 1.0, 3.0]), edges, shimmer=np.array([0.5, 1.0, 1.0, 1.5]),
                                pores=np.array([1.0, 0.3, 0.0, 0.0])))
    assert np.isfinite(seen).all() and seen.min() > -1e-9 and seen.max() < 1.6
    assert finish_words(finish) and isinstance(finish_warnings(finish), tuple)
    assert 0 <= pore_depth(finish) <= 1


@settings(max_examples=8)
@given(st.lists(any_step(), max_size=6))
def test_any_finish_bakes(steps):
    baked = [bake(Finish(steps=tuple(steps)), axes_of("maple")) for _ in range(2)]
    assert np.isfinite(baked[0].table).all() and np.isfinite(baked[0].residual).all()
    assert (baked[0].table == baked[1].table).all()
    for edge in baked[0].bursts:
        left = edge.left(np.linspace(-5, 120, 50, dtype=np.float32))
        assert np.isfinite(left).all() and left.min() >= 0
        assert_allclose(left[-1], 1, atol=1e-6)


def test_filler_and_coats_level_the_grain():
    depths = [pore_depth(Finish(steps=s)) for s in ((), (Coat(film=FILMS["oil"], coats=4),), (VARNISH,), (GrainFill(), VARNISH))]
    assert depths[0] == depths[1] == 1 > depths[2] > 0.4 > depths[3]
