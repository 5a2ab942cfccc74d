"""Two lights: glare painted in comes out again, and fibre angles painted in are read back."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import simulator as sim
from scoring import score

from mockup.board.calibrate import calibrate
from mockup.board.pair import combine, fibre_dip, same_face, take_glare_out
from mockup.errors import MockupError
from mockup.files.photo import photo_from_bytes


def cone(dip, light, share, width):
    """Marschner et al. 2005 in vectors: brightness of wood, grain along x, fibre at ``dip``, seen from above."""
    phi = np.radians(dip)
    fibre = np.stack([np.cos(phi), 0 * phi, np.sin(phi)], -1)
    inside = np.array([light[0] / 1.5, light[1] / 1.5, 0])
    inside[2] = np.sqrt(1 - (inside ** 2).sum())
    total = np.degrees(np.arcsin(fibre @ inside)) + np.degrees(np.arcsin(fibre[..., 2]))
    flat = np.degrees(np.arcsin(inside[0]))
    level = np.exp(-0.5 * (flat / np.hypot(width, 8.0)) ** 2)
    return 1 - share + share * (np.exp(-0.5 * (total / width) ** 2) - np.exp(-0.5 * (flat / width) ** 2) + level) / level


@pytest.mark.parametrize("turned", [False, True])
def test_fibre_angle_is_read_back(turned):
    """Curl of 7 degrees, lit from left and right at 45 degrees: sign, pattern and size."""
    y, x = np.mgrid[:240, :480] / 2.0
    dip = 7 * np.sin(2 * np.pi * x / 9 + 0.6 * np.sin(y / 11))
    wood = 0.4 + 0.05 * np.sin(y / 1.7)
    e = np.cos(np.radians(45))
    left, right = (wood * cone(dip, (sign * e, 0), 0.4, 12) for sign in (-1, 1))
    if turned:
        left, right, dip = left.T, right.T, dip.T
    found = fibre_dip(left, right, 2.0, elevation=45, share=0.4, width=12, grain=90.0 if turned else 0.0)
    inner = (slice(30, -30),) * 2
    assert np.corrcoef(found[inner].ravel(), dip[inner].ravel())[0, 1] > 0.97
    slope = (found[inner] * dip[inner]).sum() / (dip[inner] ** 2).sum()
    assert 0.75 < slope < 1.15


def test_even_light_gives_no_angle():
    wood = np.full((120, 200), 0.3, np.float32)
    assert np.abs(fibre_dip(wood, wood * 1.3, 2.0)).max() < 1e-3


def test_glare_of_either_photo_is_replaced():
    rng = np.random.default_rng(5)
    grain = cv2.GaussianBlur(rng.standard_normal((200, 300)).astype(np.float32), (0, 0), 1)
    wood = (np.float32([0.45, 0.33, 0.2]) * np.exp(0.3 * grain)[..., None]).astype(np.float32)
    y, x = np.mgrid[:200, :300]
    spot = lambda cx, cy: (0.5 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / 600))[..., None].astype(np.float32)
    merged, share = take_glare_out(wood + spot(80, 100), wood + spot(220, 90), 2.0)
    assert np.abs(merged - wood).max() < 0.03
    assert 0.02 < share < 0.3
    same, none = take_glare_out(wood, wood, 2.0)
    assert none == 0 and np.abs(same - wood).max() < 1e-6


def shoot(angle, glare):
    rng = np.random.default_rng(8)
    world, info, _ = sim.setup(rng, species="mahogany", size_mm=(300.0, 130.0), turn=1.0, bench=(30, 0, 0))
    data, truth = sim.photograph(world, info, rng=np.random.default_rng(3), size_px=(1200, 900), tilt=8, fall=1.6,
                                 lamp=angle, glare=glare, noise=0.7)
    return photo_from_bytes(data, "pair.jpg").pixels, truth


@pytest.fixture(scope="module")
def lit_from_both_ends():
    """Two photos, the lamp mirrored in another place each time, what they are calibrated to, and the truth."""
    (a, truth), (b, _) = shoot(np.pi, ((140, 100), 9, 0.5)), shoot(0.0, ((260, 130), 9, 0.5))
    return (a, b), (calibrate(a), calibrate(b)), truth


def test_two_photos_become_one_board(lit_from_both_ends):
    """The glare is gone from the board, and its colours are nearer the truth than one photo's."""
    photos, boards, truth = lit_from_both_ends
    assert boards[0].measures.glare > 0.004
    pair = combine(photos, boards)
    assert pair.moved < 0.3 and pair.mended > 0.005
    assert pair.dip.shape == pair.pixels.shape[:2]
    before, after = (score(x, truth) for x in (boards[0], replace(boards[0], pixels=pair.pixels)))
    assert after.colour < before.colour and after.colour < 3.0


def test_a_moved_strip_is_refused(lit_from_both_ends):
    """A strip that lies elsewhere in the second photo means the board may, too."""
    one, two = (board.survey.plane for board in lit_from_both_ends[1])
    placed = dict(two.placed)
    first = sorted(placed)[0]
    placed[first] = placed[first] + np.array([[0, 0, 25.0], [0, 0, 0]])
    with pytest.raises(MockupError, match="elsewhere in the second photo"):
        same_face(one, replace(two, placed=placed))
    with pytest.raises(MockupError, match="share no strip"):
        same_face(one, replace(two, placed={}))
