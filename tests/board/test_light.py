"""Light off and tone straightened, on spots and pictures whose light is known."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from mockup.board.calibrate import Wanted, calibrate
from mockup.board.glare import find_spoilt
from mockup.board.grain import grain_angle
from mockup.board.light import Spots, fit_light
from mockup.board.tone import Tone
from mockup.colour.spaces import decode_srgb, encode_srgb, linear_to_lab, luminance
from mockup.files.photo import read_photo

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"
SIZE = (400.0, 160.0)


def lit(at, slope=0.6):
    """A warm light that falls off to one side: (N, 3)."""
    u = (np.asarray(at) - (200, 80)) / 215
    fall = np.exp(-slope * u[..., 0] - 0.25 * u[..., 1] + 0.1 * u[..., 0] ** 2)
    return fall[..., None] * np.array([0.75, 0.62, 0.45])


def strips():
    x = np.linspace(10, 390, 12)
    return np.concatenate([np.column_stack([x, np.full(12, -12)]), np.column_stack([x, np.full(12, 172)])])


def wood(heart=0.5):
    """A board that is darker on one side: its own, not the light's."""
    at = np.stack(np.meshgrid(np.linspace(20, 380, 10), np.linspace(15, 145, 5)), -1).reshape(-1, 2)
    own = np.exp(-heart * (at[:, 1] / 160 - 0.5))[:, None] * np.array([0.45, 0.33, 0.2])
    return at, own


def test_paper_tells_light_from_heartwood():
    """With strips on both long sides the board's own dark side stays, and a grey card sets level and cast."""
    at, own = wood()
    paper = Spots("paper", strips(), lit(strips()) * 0.86)
    card = Spots("grey", np.array([[430.0, 60]]), lit(np.array([[430.0, 60]])) * 0.18, np.full((1, 3), 0.18))
    light = fit_light([paper, card, Spots("wood", at, lit(at) * own)], SIZE, np.array([0.3, 0.2, 0.1]))
    seen = light.tone.straighten(lit(at) * own) / light.field(at) @ light.white().T
    ratio = np.log(seen / own)
    assert np.ptp(luminance(seen) / luminance(own)) < 0.05
    assert np.abs(ratio.mean(0)).max() < 0.08
    assert light.basis == "grey card" and light.residual < 0.01 and light.covered > 0.9


def test_wood_alone_keeps_its_colour_across_the_grain():
    """No paper: brightness is evened out both ways, colour only along the grain."""
    at, _ = wood()
    across = np.column_stack([0.45 + 0.1 * (at[:, 1] / 160 - 0.5), np.full(len(at), 0.33), 0.2 - 0.08 * (at[:, 1] / 160 - 0.5)])
    drift = np.exp(0.15 * (at[:, :1] / 400 - 0.5) * np.array([1, 0, -1]))
    light = fit_light([Spots("wood", at, across * drift)], SIZE, across.mean(0), along=0.0)
    even = across * drift / light.field(at)
    left, right = at[:, 0] < 100, at[:, 0] > 300
    tint = lambda v: v[:, 0] / v[:, 2]
    assert np.log(tint(even)[left].mean() / tint(even)[right].mean()) == pytest.approx(0, abs=0.03)
    top, bottom = at[:, 1] < 40, at[:, 1] > 120
    kept = np.log(tint(even)[bottom].mean() / tint(even)[top].mean())
    assert kept == pytest.approx(np.log(tint(across)[bottom].mean() / tint(across)[top].mean()), rel=0.05)
    assert light.basis == "nothing" and light.residual is None


def test_shadow_on_one_spot_does_not_bend_the_light():
    at, own = wood()
    papers = strips()
    seen = lit(papers) * 0.86
    seen[3] *= 0.55
    plain = fit_light([Spots("paper", papers, lit(papers) * 0.86), Spots("wood", at, lit(at) * own)], SIZE, own.mean(0))
    bent = fit_light([Spots("paper", papers, seen), Spots("wood", at, lit(at) * own)], SIZE, own.mean(0))
    ratio = bent.field(at) / plain.field(at)
    assert np.abs(ratio / ratio.mean() - 1).max() < 0.03


def test_tone_curve_is_undone_by_greys():
    """Six greys of a target through a logistic curve: the curve comes off to a few percent."""
    curve = lambda linear: decode_srgb((lambda v: ((1 / (1 + np.exp(-2.6 * (v - 0.5)))) - 1 / (1 + np.exp(1.3)))
                                       / (1 / (1 + np.exp(-1.3)) - 1 / (1 + np.exp(1.3))))(encode_srgb(linear)))
    greys = np.array([0.88, 0.58, 0.36, 0.19, 0.09, 0.03])
    at = np.column_stack([np.linspace(420, 500, 6), np.full(6, 80.0)])
    seen = curve(greys[:, None] * np.array([0.8, 0.75, 0.7]))
    where, own = wood(0.0)
    light = fit_light([Spots("neutral", at, seen, np.repeat(greys[:, None], 3, 1)),
                       Spots("paper", strips(), curve(np.full((24, 3), 0.86) * np.array([0.8, 0.75, 0.7]))),
                       Spots("wood", where, curve(own * 0.75))], SIZE, own.mean(0))
    back = light.tone.straighten(seen) / light.field(at) / np.exp(light.level)
    assert back[:5] == pytest.approx(np.repeat(greys[:5, None], 3, 1), rel=0.06)
    assert light.tone.bend > 0.1 and light.contrast < 0.1


def test_tone_rises_and_keeps_its_ends():
    tone = Tone(0.2, 0.4)
    steps = tone.straighten(np.linspace(0, 1, 500))
    assert (np.diff(steps) > 0).all() and steps[0] == 0 and steps[-1] == 1
    assert tone.sound and not Tone(0.0, 3.0).sound
    assert np.abs(Tone().table() - np.arange(65536) / 65535).max() < 2e-6


def board_with(spot=None, sap=False):
    """A view of brown wood, 2 px/mm, and the same as light seen."""
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:200, :300]
    own = np.array([0.40, 0.28, 0.16]) * np.exp(0.15 * np.interp(y, np.arange(200), rng.standard_normal(200)))[..., None]
    if sap:  # pale sapwood: brighter, and its channels differ more
        own = np.where((y > 140)[..., None], own * np.array([1.8, 1.9, 1.85]), own)
    if spot is not None:
        own = own + spot * np.exp(-((x - 150) ** 2 + (y - 90) ** 2) / 500)[..., None]
    return own.astype(np.float32), np.rint(np.clip(own, 0, 1) * 65535).astype(np.uint16)


def test_glare_is_found_and_sapwood_is_not():
    closed = np.zeros((200, 300), bool)
    even, seen = board_with()
    assert not find_spoilt(seen, even, closed, 2.0).any.any()
    even, seen = board_with(sap=True)
    assert find_spoilt(seen, even, closed, 2.0).glare.mean() < 0.002
    even, seen = board_with(spot=0.45)
    spoilt = find_spoilt(seen, even, closed, 2.0)
    assert spoilt.glare[90, 150] and 0.01 < spoilt.glare.mean() < 0.06
    even, seen = board_with(spot=2.0)
    assert find_spoilt(seen, even, closed, 2.0).clipped[90, 150]
    closed[60:120, 100:200] = True
    assert not find_spoilt(seen, even, closed, 2.0).any[60:120, 100:200].any()


def test_grain_is_found_beside_strong_curl():
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:400, :800] / 2.0
    for lean in (-8.0, 0.0, 5.0):
        c, s = np.cos(np.radians(lean)), np.sin(np.radians(lean))
        lines = np.interp((y * c - x * s).ravel(), np.arange(-300, 500, 0.9), rng.standard_normal(889)).reshape(y.shape)
        bright = 0.06 * lines + 0.12 * np.sin(2 * np.pi * (x * c + y * s + np.sin(y / 9)) / 7)
        for picture, expected in ((bright, lean), (np.ascontiguousarray(np.rot90(bright)), lean - 90)):
            angle, clear = grain_angle(picture, np.ones(picture.shape, bool), 2.0)
            assert (angle - expected + 90) % 180 - 90 == pytest.approx(0, abs=1.0) and clear > 0.3


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the real photographs are not here")
def test_real_table_comes_out_even_with_its_grain():
    """A table top lit from one side, 2.3 to 1: blocks of 100 px agree three times better, fine grain is not weakened."""
    photo = read_photo(PHOTOS / "maple_table_uneven_light.png")
    h, w = photo.pixels.shape[:2]
    corners = ((0, 0), (w - 1, 0), (w - 1, h - 1), (0, h - 1))
    board = calibrate(photo.pixels, Wanted(corners=corners, size=(600, 450)), px_per_mm=w / 600)
    before, after = photo.pixels[2:-2, 2:-2] / 65535, board.pixels[2:-2, 2:-2] / 65535
    n = 100
    blocks = lambda a: a[:a.shape[0] // n * n, :a.shape[1] // n * n].reshape(a.shape[0] // n, n, -1, n, 3).mean((1, 3))
    lab = [linear_to_lab(blocks(a)) for a in (before, after)]
    assert lab[1][..., 0].std() < lab[0][..., 0].std() / 3
    # Colour along the grain (here across the picture) drifts less, too.
    drift = [np.abs(v[:, 1:-1, 1:].mean(0) - v[..., 1:].mean((0, 1))).mean() for v in lab]
    assert drift[1] <= drift[0]
    soft = lambda a, sigma: cv2.GaussianBlur(np.log(np.maximum(luminance(a), 1e-3)), (0, 0), sigma)
    fine = lambda a: (soft(a, 1.2) - soft(a, 6))[20:-20, 20:-20].std()
    assert fine(after) == pytest.approx(fine(before), rel=0.05)
    assert any(f.topic == "light" and f.level == "fair" and "wood alone" in f.found for f in board.verdict)
