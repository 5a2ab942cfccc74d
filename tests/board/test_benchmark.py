"""The benchmark with known truth: simulated photos of known boards, calibrated and compared.

Forty random draws of view, lens, light, cast, vignette, blur, noise, tone
curve and JPEG for each of two references. ``pytest -m slow -s`` prints the
figures that this room may claim.
"""

import time

import cv2
import numpy as np
import pytest
import simulator as sim
from scoring import score

from mockup.board.calibrate import Wanted, calibrate
from mockup.board.door import photo_to_board
from mockup.files.photo import photo_from_bytes

LENGTH, CONTRAST = 0.003, 0.10
PHONE = (4000, 3000)  # 12 megapixels: at half of that width blur alone takes a tenth of the figure now and then, and is told
COLOUR = {"target": 2.0, "grey": 3.0}


def run(number, kind, size_px):
    data, truth = sim.draw(number, kind, size_px=size_px)
    board = calibrate(photo_from_bytes(data, "draw.jpg").pixels,
                      Wanted(target="after-2014" if kind == "target" else None))
    return board, score(board, truth)


def silent(board, s, kind):
    """Errors beyond the aims of which the verdict says nothing."""
    told = {f.topic for f in board.verdict if f.level != "good"}
    out = []
    if s.length > LENGTH and "scale" not in told:
        out.append(f"length {s.length:.2%}")
    if s.colour > COLOUR[kind] and not told & {"colour", "light", "clipping"}:
        out.append(f"colour {s.colour:.2f}")
    if abs(s.contrast) > CONTRAST and not told & {"figure", "sharpness"}:
        out.append(f"contrast {s.contrast:.1%}")
    if s.edges > 0.5 and "edges" not in told:
        out.append(f"{s.edges:.1f} mm of bench")
    return out


@pytest.mark.parametrize(("number", "kind"), [(2, "target"), (5, "grey")])
def test_two_draws(number, kind):
    """The short form, each within the aims."""
    board, s = run(number, kind, size_px=(1500, 1125))
    assert s.length < LENGTH and s.colour < COLOUR[kind] and abs(s.contrast) < CONTRAST and s.edges < 0.5
    assert not silent(board, s, kind)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["target", "grey"])
def test_forty_draws(kind):
    scores, quiet = [], []
    for number in range(40):
        board, s = run(number, kind, PHONE)
        scores.append((s.length, s.colour, abs(s.contrast)))
        quiet += [f"draw {number}: {what}" for what in silent(board, s, kind)]
    length, colour, contrast = np.array(scores).T
    for name, values in (("length error", length * 100), ("colour ΔE00", colour), ("contrast error", contrast * 100)):
        print(f"{kind}: {name} median {np.median(values):.2f}, 95 % {np.percentile(values, 95):.2f}, "
              f"worst {values.max():.2f}")
    assert not quiet
    assert np.percentile(length, 95) <= LENGTH
    assert colour.max() <= COLOUR[kind]
    assert np.percentile(contrast, 95) <= CONTRAST


@pytest.mark.slow
def test_time_of_a_12_megapixel_photo(tmp_path):
    """At most three times OpenCV's JPEG decode and default PNG encode of the same photo, medians of five in one process.

    The guard is 4, as other work on the machine weighs on both unevenly.
    """
    rng = np.random.default_rng(1)
    world, info, _ = sim.setup(rng, species="maple", size_mm=(560.0, 210.0), turn=1.0)
    data, _ = sim.photograph(world, info, rng=rng, size_px=(4000, 3000), tilt=12, fall=1.6, kelvin=4600,
                             tone=sim.tone_logistic(2, 0.48), bend=(-0.03, 0.01, 0, 0))
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(data)
    photo_to_board(photo)
    yard, ours = [], []
    for _ in range(5):
        start = time.perf_counter()
        cv2.imencode(".png", cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR))
        middle = time.perf_counter()
        photo_to_board(photo)
        yard.append(middle - start)
        ours.append(time.perf_counter() - middle)
    ratio = np.median(ours) / np.median(yard)
    print(f"photo to board takes {ratio:.2f} x decode and encode")
    assert ratio < 4
