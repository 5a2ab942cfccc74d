"""The finish engine's parts against published and exact values."""

import numpy as np
import pytest
from finish_woods import BARE, linear
from numpy.testing import assert_allclose

from mockup.colour.spaces import linear_to_lab
from mockup.finish.engine import apply_steps
from mockup.finish.kubelka import film_over, finite_film, ks_from_reflectance, reflectance_from_ks
from mockup.finish.steps import Coat
from mockup.finish.surface import (
    diffuse_fresnel, dry, fresnel, internal, internal_from_measured, internal_return, lekner_dorf_wet,
    measured_from_internal, under_film,
)
from mockup.scene.library import films

ONE = np.float64(1.0)


def coated(bare, film, coats=3):
    return linear_to_lab(apply_steps((Coat(film=films()[film].value, coats=coats),), linear(bare), ONE))


def test_saunderson_exact():
    """Exact fractions of Saunderson 1942 (Allen 1980 eqs. 24, 26) at k1 = 0.04, k2 = 0.6."""
    assert_allclose(internal_from_measured(np.array([0.1, 0.2]), 0.04, 0.6), [1 / 7, 1 / 3], atol=1e-15)
    r = np.linspace(0.05, 0.95, 19)
    assert_allclose(measured_from_internal(internal_from_measured(r, 0.04, 0.6), 0.04, 0.6), r, atol=1e-14)
    assert_allclose(ks_from_reflectance(internal_from_measured(np.array([0.05, 0.3, 0.9]), 0.04, 0.6)),
                    [18.512821, 0.279202, 0.001034], atol=6e-7)


def test_kubelka_munk_exact():
    """K/S = 1/2 gives 2 - golden ratio exactly; 18/7 and 2/3 belong to R = 1/7 and 1/3."""
    assert_allclose(reflectance_from_ks(np.float64(0.5)), (3 - 5**0.5) / 2, atol=1e-15)
    assert_allclose(ks_from_reflectance(np.array([1 / 7, 1 / 3])), [18 / 7, 2 / 3], rtol=1e-14)
    ks = np.geomspace(1e-3, 400, 50)
    assert_allclose(ks_from_reflectance(reflectance_from_ks(ks)), ks, rtol=1e-9)


@pytest.mark.parametrize(("k", "s", "x", "ground", "r", "t", "r0"), [
    (0.1, 1, 1, 0, 0.461034, 0.445284, 0.461034), (0.1, 1, 1, 0.8, 0.712347, 0.445284, 0.461034),
    (0.5, 1, 0.5, 0.6, 0.458253, 0.512810, 0.269970), (0.2, 0.02, 1, 0.6, 0.406528, 0.802658, 0.016182)])
def test_finite_film(k, s, x, ground, r, t, r0):
    """Kubelka 1948; the numbers were computed apart from this program, and R = R0 + T² Rg / (1 - R0 Rg) holds."""
    got = finite_film(k, s, x, ground)
    assert_allclose(got, (r, t, r0), atol=6e-7)
    assert_allclose(got[0], got[2] + got[1] ** 2 * ground / (1 - got[2] * ground), atol=1e-12)


def test_film_without_scattering_is_beer_lambert():
    assert_allclose(finite_film(0.2, 1e-7, 1, 0.6)[0], 0.6 * np.exp(-0.4), atol=1e-6)


def test_paint_is_the_finite_film():
    """A paint of cover c is the Kubelka-Munk film whose reflectance over black is c times its full one."""
    ks, s = 0.7, 1.3
    full = float(reflectance_from_ks(np.float64(ks)))
    for x in (0.1, 0.6, 2.0):
        black = finite_film(ks * s, s, x, 0.0)[0]
        got = film_over(np.full(3, 0.45), np.full(3, full), black / full)
        assert_allclose(got, finite_film(ks * s, s, x, 0.45)[0], atol=1e-12)
    ground = np.array([0.3, 0.4, 0.5])
    assert_allclose(film_over(ground, np.full(3, 0.2), 0.0), ground)
    assert_allclose(film_over(ground, np.full(3, 0.2), 1.0), 0.2)


def test_fresnel():
    """Black glass of n = 1.567, unpolarised (Fresnel equations, computed apart from this program)."""
    at = np.cos(np.radians([0, 20, 60, 85]))
    assert_allclose(fresnel(at, 1.567), [0.048788, 0.049078, 0.100056, 0.619148], atol=6e-7)


def test_lekner_dorf():
    """External diffuse reflectance and internal return (Lekner and Dorf 1988), by quadrature apart from this program."""
    for n, external, back in ((1.333, 0.06641, 0.47459), (1.46, 0.08586, 0.57115), (1.5, 0.09178, 0.59635), (1.567, 0.10152, 0.63409)):
        assert_allclose(diffuse_fresnel(n), external, atol=6e-6)
        assert_allclose(internal_return(n), back, atol=6e-6)
    mu, weight = np.polynomial.legendre.leggauss(200)
    mu = (mu + 1) / 2
    assert_allclose(diffuse_fresnel(1.5), (weight * mu * fresnel(mu, 1.5)).sum(), atol=1e-6)
    albedo = np.array([0.1, 0.3, 0.5, 0.8])
    assert_allclose(lekner_dorf_wet(albedo, 1.333), [0.0744, 0.2004, 0.3578, 0.6842], atol=6e-5)
    assert_allclose(lekner_dorf_wet(albedo, 1.5), [0.0812, 0.1816, 0.3161, 0.6328], atol=6e-5)


def test_dry_surface_round_trip():
    """What is seen dry leads inside and back, and inside is always lighter than the body seen."""
    r = np.geomspace(0.0015, 0.95, 60)
    assert_allclose(dry(internal(r)), r, rtol=1e-10)


def test_film_stays_within_lekner_dorf():
    """A coat darkens, and never more than the liquid over an ideal face (the upper bound, less its 4 % of glare)."""
    r = np.linspace(0.2, 0.9, 15)
    for film in films().values():
        wet = under_film(internal(r), film.value.wet)
        assert (wet < r).all()
        assert (wet > lekner_dorf_wet(r, 1.5) - 0.04).all()


@pytest.mark.parametrize("film", ["oil", "oil varnish", "shellac", "lacquer", "water-borne"])
@pytest.mark.parametrize("wood", sorted(BARE))
def test_every_film_darkens_and_reddens(film, wood):
    """L* falls and a* does not fall on every species under clear finishes (Ayata et al. 2024, Drewno: nine species)."""
    before, after = np.array(BARE[wood]), coated(BARE[wood], film)
    assert after[0] < before[0] - 1.5
    assert after[1] > before[1] - 0.05


def test_pale_wood_yellows_dark_wood_need_not():
    """b* of pale wood rises under oil (linseed on pine); that of dark wood changes less or falls (same, heat-treated)."""
    gain = {wood: coated(BARE[wood], "oil", 1)[2] - BARE[wood][2] for wood in BARE}
    assert gain["maple"] > 2
    assert gain["ash"] > 1.5
    assert max(gain["walnut"], gain["rosewood"], gain["mahogany"], gain["ebony"]) < gain["maple"] - 1


def test_dark_woods_bloom():
    """Dark hardwoods intensify most on wetting (Meints et al. 2016): most of their lightness goes, none of their chroma."""
    for wood in ("mahogany", "walnut", "rosewood"):
        before, after = np.array(BARE[wood]), coated(BARE[wood], "oil", 1)
        assert np.hypot(*after[1:]) > np.hypot(*before[1:])
        share = after[0] / before[0]
        maple = coated(BARE["maple"], "oil", 1)[0] / BARE["maple"][0]
        assert share < maple - 0.05


def test_alkyd_changes_more_than_water_borne():
    """Oil-borne varnish changes colour most, water-borne least (Forestist 2017, 67, 262-274)."""
    from mockup.colour.difference import ciede2000

    for wood in ("maple", "ash", "alder", "mahogany"):
        change = {film: float(ciede2000(np.array(BARE[wood]), coated(BARE[wood], film, 4))) for film in films()}
        assert max(change, key=change.get) in ("oil varnish", "oil")
        assert min(change, key=change.get) == "water-borne"


def test_film_raises_contrast():
    """Dark places fall more than light ones under a coat; contrast grows (Tashiro and Nakamura 2013, six species)."""
    for wood in ("maple", "ash", "alder"):
        lab = np.array(BARE[wood])
        late = lab - [6, -1.5, -2.5]
        assert coated(lab, "oil varnish")[0] - coated(late, "oil varnish")[0] > 6
