"""ICC profiles: ours is sRGB, and others' are read as littleCMS reads them."""

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from PIL import Image, ImageCms

from mockup.colour.spaces import decode_srgb, encode_srgb
from mockup.files.profile import ProfileError, adobe_rgb, read_profile, srgb_profile
from mockup.files.srgb_icc import build_srgb_profile

CODES = np.random.default_rng(8).integers(0, 256, (200, 200, 3)).astype(np.uint8)


def by_littlecms(codes, source, target, intent=ImageCms.Intent.RELATIVE_COLORIMETRIC):
    return np.asarray(ImageCms.profileToProfile(Image.fromarray(codes), source, target, renderingIntent=intent))


def opened(data):
    return ImageCms.ImageCmsProfile(io.BytesIO(data))


def test_the_file_is_what_its_maker_makes():
    assert srgb_profile() == build_srgb_profile()
    assert len(srgb_profile()) < 3000


@pytest.mark.parametrize("intent", list(ImageCms.Intent))
def test_ours_is_srgb_to_littlecms(intent):
    """littleCMS's own sRGB is the outside source; both ways change no code."""
    ours, theirs = opened(srgb_profile()), ImageCms.createProfile("sRGB")
    assert ImageCms.getProfileName(ours).strip() == "sRGB"
    for source, target in ((ours, theirs), (theirs, ours)):
        assert np.abs(by_littlecms(CODES, source, target, intent).astype(int) - CODES).max() == 0


def test_ours_and_littlecms_own_are_read_as_srgb():
    for data in (srgb_profile(), ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()):
        profile = read_profile(data)
        assert profile.is_srgb
        assert_allclose(profile.matrix, np.eye(3), atol=1e-4)
        assert_allclose(profile.tables(256)[0], decode_srgb(np.arange(256) / 255), atol=2e-5)


def test_other_profiles_are_not_srgb(p3_icc, adobe_icc, grey_icc, cmyk_icc, rgb_table_icc):
    for icc in (p3_icc, adobe_icc, grey_icc, cmyk_icc, rgb_table_icc):
        assert not read_profile(icc).is_srgb
    assert not read_profile(cmyk_icc).simple and not read_profile(rgb_table_icc).simple
    assert read_profile(cmyk_icc).space == "CMYK"


def test_a_table_outranks_curves(made, p3_icc, rgb_table_icc):
    """ICC.1:2022, 8.3.2: where a profile has both, the table is to be used, so it is left to littleCMS."""
    assert read_profile(p3_icc).simple
    assert not read_profile(made.with_table(p3_icc, rgb_table_icc)).simple


@pytest.mark.parametrize("which", ["p3_icc", "adobe_icc"])
def test_matrix_profiles_agree_with_littlecms(which, request):
    icc = request.getfixturevalue(which)
    profile = read_profile(icc)
    codes = (CODES * 0.3 + 90).astype(np.uint8)  # inside sRGB, so that nothing is clipped
    light = np.stack([profile.tables(256)[i][codes[..., i]] for i in range(3)], -1) @ profile.matrix.T
    theirs = by_littlecms(codes, opened(icc), ImageCms.createProfile("sRGB"))
    off = encode_srgb(light) * 255 - theirs
    assert np.abs(off).max() < 0.75, "rounding is half a code, littleCMS's own arithmetic a little more"
    assert abs(off.mean()) < 0.05


def test_p3_matrix_agrees_with_colour_science(p3_icc):
    colour = pytest.importorskip("colour")
    theirs = colour.matrix_RGB_to_RGB("Display P3", "sRGB")
    assert_allclose(read_profile(p3_icc).matrix, theirs, atol=3e-4)


def test_adobe_rgb_without_a_profile_is_adobe_rgb_with_one(adobe_icc):
    colour = pytest.importorskip("colour")
    assert_allclose(adobe_rgb().matrix, colour.matrix_RGB_to_RGB("Adobe RGB (1998)", "sRGB"), atol=3e-4)
    assert_allclose(adobe_rgb().matrix, read_profile(adobe_icc).matrix, atol=3e-4)
    assert_allclose(adobe_rgb().tables(256), read_profile(adobe_icc).tables(256), atol=1e-9)


def test_every_kind_of_curve(made):
    """Parametric types 0 to 4 and sampled curves, by the equations of ICC.1:2022, table 68."""
    x = np.arange(256) / 255
    g, a, b, c, d, e, f = 2.2, 0.9, 0.1, 0.3, 0.05, 0.02, 0.01
    curves = {
        made.para(g): x ** g,
        made.para(g, a, b): (a * x + b) ** g,
        made.para(g, a, b, -c): np.maximum((a * x + b) ** g - c, 0),
        made.para(g, a, b, c, d): np.where(x >= d, (a * x + b) ** g, c * x),
        made.para(g, a, b, c, d, e, f): np.where(x >= d, (a * x + b) ** g + e, c * x + f),
        made.gamma(2): x ** 2,
        b"curv" + bytes(8): x,
        b"curv" + bytes(4) + (3).to_bytes(4, "big") + np.array([0, 16384, 65535], ">u2").tobytes():
            np.interp(x, [0, 0.5, 1], [0, 16384 / 65535, 1]),
    }
    for tag, wanted in curves.items():
        got = read_profile(made.matrix_icc("x", made.P3, tag)).tables(256)[1]
        assert_allclose(got, np.clip(wanted, 0, 1), atol=1e-4)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.data())
def test_a_spoilt_profile_is_read_or_refused(p3_icc, data):
    spoilt = bytearray(p3_icc if data.draw(st.booleans()) else srgb_profile())
    for place in data.draw(st.lists(st.integers(0, len(spoilt) - 1), min_size=1, max_size=6)):
        spoilt[place] = data.draw(st.integers(0, 255))
    try:
        profile = read_profile(bytes(spoilt[:data.draw(st.integers(0, len(spoilt)))]))
        tables = profile.tables(256) if profile.simple else np.zeros(1)
    except ProfileError:
        return
    assert np.isfinite(tables).all() and (0 <= tables).all() and (tables <= 1).all()
