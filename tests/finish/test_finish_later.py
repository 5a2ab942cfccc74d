"""Another light, years, moving figure, sample strips."""

import numpy as np
import pytest
from finish_woods import BARE, axes_of, board, linear, places
from numpy.testing import assert_allclose

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab
from mockup.errors import MockupError
from mockup.finish.ageing import WOODS, aged, with_years
from mockup.finish.bake import bake
from mockup.finish.bands import from_bands, to_bands
from mockup.finish.lights import bake_under, colours_under, light_shift, parting, smoothest, under_light
from mockup.finish.reach import board_lab
from mockup.finish.spectra import LIGHTS, observer, to_linear
from mockup.finish.steps import Coat, Finish, Stain, StainStep
from mockup.finish.strip import finish_strip, stain_strip
from mockup.finish.tilt import dip_from_detail, dip_from_two, fibre_light, swing, tilt_frames
from mockup.render.table import Table
from mockup.scene.library import films, stains

STAINS = {name: entry.value for name, entry in stains().items()}
VARNISH = Coat(film=films()["oil varnish"].value, coats=4)
AXES = {wood: axes_of(wood) for wood in BARE}


def finish_of(name, strength=1.0):
    return Finish(steps=(StainStep(stain=STAINS[name], strength=strength), VARNISH))


# -- light ---------------------------------------------------------------------


def test_observer_and_lights():
    """Whites of D65, A and LED-B3 by CIE 15 and CIE 15:2018 chromaticity; 10 nm sums are good to a few thousandths."""
    known = {"daylight": (0.3127, 0.3290), "warm lamp": (0.44758, 0.40745), "LED": (0.3756, 0.3723)}
    for light, (x, y) in known.items():
        white = observer().white(light)
        assert_allclose(white[:2] / white.sum(), (x, y), atol=0.004)


def test_smoothest_spectra():
    """Each colour gets a spectrum that has it in daylight; grey is flat; those of woods are sound reflectances."""
    for lab in BARE.values():
        spectrum = linear(lab) @ smoothest()
        assert_allclose(to_linear(spectrum), linear(lab), atol=1e-9)
        assert spectrum.min() > 0 and spectrum.max() < 1
    assert_allclose(np.full(3, 0.4) @ smoothest(), 0.4, atol=1e-9)


def test_light_shift_against_colour_science():
    """Least-slope spectra of maple under A: shift near that of an independent recovery (Otsu et al. 2018) in colour-science."""
    colour = pytest.importorskip("colour")
    lab = np.array(BARE["maple"])
    sd = colour.recovery.XYZ_to_sd_Otsu2018(colour.Lab_to_XYZ(lab, (0.3127, 0.3290)))
    spectrum = np.interp(observer().nm, sd.wavelengths, sd.values)
    theirs = linear_to_lab(to_linear(spectrum, "warm lamp")) - linear_to_lab(to_linear(spectrum))
    ours = linear_to_lab(under_light(Finish(), AXES["maple"], "warm lamp"))[0] - np.array(board_lab(Finish(), AXES["maple"]))
    assert np.abs(theirs - ours).max() < 1.5


def test_warm_wood_gets_lighter_and_redder_under_a_lamp():
    """Under A what reflects long waves gains lightness and red, what reflects short ones loses lightness (adapted eye)."""
    for name, sign in (("amber", 1), ("cherry", 1), ("teal", -1)):
        seen = colours_under(finish_of(name), AXES["maple"])
        assert (seen["warm lamp"][0] - seen["daylight"][0]) * sign > 0.4
    shift = light_shift(finish_of("amber"), AXES["maple"])
    assert set(shift) == set(LIGHTS) - {"daylight"} and all(0.5 < v < 6 for v in shift.values())
    assert light_shift(finish_of("black"), AXES["maple"])["warm lamp"] < 0.5


def test_baked_for_another_light():
    """The table for a lamp agrees with the spectral engine on real places; daylight is the plain table."""
    loaded, _ = board("flame-maple-1")
    t, c, w, r = (v[::6, ::6] for v in places(loaded, 300))
    finish, axes = finish_of("honey"), loaded.axes
    assert_allclose(bake_under(finish, axes, "daylight").table, bake(finish, axes).table)
    baked = bake_under(finish, axes, "warm lamp")
    codes = np.clip((np.stack([t, c, w, r], -1) - axes.low) / (axes.high - axes.low) * 65535 + 0.5, 0, 65535).astype(np.uint16)
    seen = Table(baked.table)(np.ascontiguousarray(codes))[..., :3]
    off = ciede2000(linear_to_lab(seen.astype(float)), linear_to_lab(under_light(finish, axes, "warm lamp", (t, c, w, np.zeros_like(r)))))
    assert off.mean() < 0.15 and np.percentile(off, 95) < 0.5
    with pytest.raises(MockupError, match='no light named "candle"'):
        bake_under(finish, axes, "candle")


def test_options_that_part_are_flagged():
    alike, apart = (50.0, 10.0, 20.0), (50.0, 15.0, 20.0)
    lights = list(LIGHTS)
    told = parting({"A": dict.fromkeys(lights, alike), "B": {**dict.fromkeys(lights, alike), "LED": apart},
                    "C": dict.fromkeys(lights, (20.0, 0.0, 0.0))})
    assert [(p.first, p.second, p.apart) for p in told] == [("A", "B", "LED")]
    assert "match under" in told[0].words() and "estimate" in told[0].words()
    assert parting({"A": dict.fromkeys(lights, alike), "B": dict.fromkeys(lights, alike)}) == ()


# -- years ---------------------------------------------------------------------


def test_new_is_new_and_years_go_one_way():
    finish = finish_of("honey")
    assert with_years(finish, "flame maple", 0) == finish
    changes = [aged(finish, AXES["maple"], "flame maple", y).change for y in (0, 1, 3, 10, 40)]
    assert changes[0] == 0 and changes == sorted(changes)
    assert changes[3] - changes[2] < changes[2]  # fast at first


@pytest.mark.parametrize("wood", ["maple", "ash", "mahogany"])
def test_wood_darkens_and_yellows(wood):
    """Maple and ash go yellower and darker in light (Dudiak 2022; Torcatoru and Timar), mahogany darker."""
    told = aged(Finish(), AXES[wood], wood, 20)
    new = board_lab(Finish(), AXES[wood])
    assert told.lab[0] < new[0] - 2 and told.lab[2] > new[2] + 0.5


def test_maple_within_what_was_measured():
    """Bare maple ends at 10 to 20 ΔE*ab (19.1 after 36 months of indoor sun, Dudiak 2022), less under a clear coat."""
    new = np.array(board_lab(Finish(), AXES["maple"]))
    assert 10 < np.linalg.norm(np.array(aged(Finish(), AXES["maple"], "maple", 20).lab) - new) < 20
    clear = Finish(steps=(Coat(film=films()["water-borne"].value, coats=3),))
    under = np.linalg.norm(np.array(aged(clear, AXES["maple"], "maple", 20).lab) - np.array(board_lab(clear, AXES["maple"])))
    bare = np.linalg.norm(np.array(aged(Finish(), AXES["maple"], "maple", 20).lab) - new)
    assert 0.4 < under / bare < 0.7  # 4.9 to 5.7 against 9.4 ΔE*ab in the same light (Torcatoru and Timar)


def test_walnut_lightens():
    assert aged(Finish(), AXES["walnut"], "black walnut", 20).lab[0] > board_lab(Finish(), AXES["walnut"])[0] + 2


def test_oil_yellows_in_the_dark_and_water_borne_does_not():
    """Oil films yellow in the dark and bleach in light (conservators' accounts)."""
    def gain(film, dark):
        finish = Finish(steps=(Coat(film=films()[film].value, coats=4),))
        return aged(finish, AXES["maple"], "maple", 10, dark=dark).lab[2] - board_lab(finish, AXES["maple"])[2]

    assert gain("oil varnish", True) > 4 > 1 > gain("water-borne", True)
    pure = [with_years(Finish(steps=(VARNISH,)), "maple", 10, dark=d).steps[-1].film.absorb[2] for d in (True, False)]
    assert pure[0] > pure[1] > VARNISH.film.absorb[2]


def test_age_says_what_it_is():
    told = aged(finish_of("amber"), AXES["maple"], "flame maple", 10)
    assert "an estimate" in told.words() and any("Dudiak" in s for s in told.sources) and any("oil films" in s for s in told.sources)
    assert told.less != told.more and all(a.source for a in WOODS.values())
    for years in (-1, 200, float("nan")):
        with pytest.raises(MockupError, match="Use 0 to 60"):
            with_years(Finish(), "maple", years)


# -- moving figure -------------------------------------------------------------


def test_fibre_light_check_values():
    """Marschner et al. 2005 with n = 1.5: the peak at a normal viewer lies at a lamp of asin(n sin 2d) for a tilt d."""
    for tilt, lamp in ((1, 3.00), (5, 15.10), (10, 30.87), (15, 48.59)):
        lamps = np.linspace(lamp - 8, lamp + 8, 401)
        seen = np.array([float(fibre_light(np.array(-tilt), a)) for a in lamps])
        lobe = seen * np.cos((np.radians(-tilt) - (np.arcsin(np.sin(np.radians(lamps)) / 1.5) + np.radians(-tilt))) / 2) ** 2
        assert lamps[int(np.argmax(lobe))] == pytest.approx(lamp, abs=0.08)


def invented_dip(shape=(160, 220), seed=2):
    import cv2

    field = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal(shape).astype(np.float32), (0, 0), sigmaX=14, sigmaY=5)
    return 4 * field / field.std()


def test_frames_make_a_loop_and_move_the_figure():
    dip = invented_dip()
    frames = list(tilt_frames(dip, 12))
    assert len(frames) == 12 and frames[0].dtype == np.float32
    assert_allclose(frames[0], frames[6], atol=1e-5)  # over one way and back through the middle
    assert all(0.3 < f.min() and f.max() < 2.6 and abs(f.mean() - 1) < 0.1 for f in frames)
    first, last = (frames[3] - frames[3].mean()).ravel(), (frames[9] - frames[9].mean()).ravel()
    assert np.corrcoef(first, last)[0, 1] < -0.1  # bands that flash from one side are dark from the other
    assert abs(swing(24).sum()) < 1e-9
    still = next(iter(tilt_frames(dip, 1, at=0.0)))
    assert_allclose(still, 1, atol=1e-6)


def test_dip_measured_from_two_sides():
    """Two photographs made from a known dip, of unlike exposure: it is found again."""
    dip = invented_dip()
    colour = 0.5 + 0.05 * invented_dip(seed=9) / 4
    shots = [colour * gain * (0.64 + 0.36 * fibre_light(dip, lamp)) for lamp, gain in ((-25.0, 1.0), (25.0, 0.8))]
    found = dip_from_two(*shots)
    inside = np.abs(dip) < 8
    assert found.measured and "measured" in found.words
    assert np.corrcoef(found.degrees[inside], dip[inside])[0, 1] > 0.93
    assert 0.6 < found.degrees[inside].std() / dip[inside].std() < 1.3


def test_dip_guessed_from_one_says_so():
    detail = invented_dip() * 0.005
    guess = dip_from_detail(detail, 0.02, px_per_mm=3.0)
    assert not guess.measured and "estimated" in guess.words and np.isfinite(guess.degrees).all()
    assert np.abs(guess.degrees).max() < 20


# -- strips --------------------------------------------------------------------


def test_strip_has_its_steps():
    loaded, _ = board("flame-maple-1")
    piece = places(loaded, 200)
    strip = stain_strip(STAINS["tobacco"], loaded.axes, piece, film=VARNISH.film)
    assert strip.shape == (200, 200, 3) and strip.dtype == np.float32
    light = [linear_to_lab(strip[:, 40 * i + 4:40 * i + 36].reshape(-1, 3).mean(axis=0).astype(float))[0] for i in range(5)]
    assert light == sorted(light, reverse=True)
    both = finish_strip((Finish(), finish_of("blue")), loaded.axes, tuple(v[:60] for v in piece))
    assert both.shape == (60, 200, 3)
    tape = finish_strip((finish_of("black"),) * 2, loaded.axes, tuple(v[:60] for v in piece), between=Finish())
    assert tape[:, 100].mean() > 4 * tape[:, 50].mean()


def test_a_stain_of_other_bands_is_not_mixed_up():
    """The spectral engine with flat spectra is the three-band engine."""
    flat = Stain(name="x", words="x", absorb=(0.7, 0.7, 0.7))
    seen = under_light(Finish(steps=(StainStep(stain=flat),)), AXES["ebony"], "daylight")
    assert_allclose(from_bands(to_bands(seen)), seen, atol=1e-12)
    grey = Finish(steps=(StainStep(stain=flat),))
    assert light_shift(grey, AXES["ebony"])["warm lamp"] < 0.5
