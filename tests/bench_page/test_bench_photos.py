"""A board photographed twice, with a target of known colours beside it, made on the bench in a real browser."""

import tomllib

import numpy as np
import pytest

from tests.board import simulator as sim


def shot(lamp, glare):
    """JPEG of a board with strips and target, lit from its left (lamp = pi) or right end (0)."""
    world, info, _ = sim.setup(np.random.default_rng(8), species="mahogany", size_mm=(300.0, 130.0), turn=1.0, bench=(30, 0, 0), target=True)
    return sim.photograph(world, info, rng=np.random.default_rng(3), size_px=(1200, 900), tilt=8, fall=1.6, lamp=lamp, glare=glare, noise=0.7)[0]


@pytest.mark.slow
def test_two_photos_and_a_target(small_scene, running, visit):
    page = visit(running(small_scene))

    def photo(name, data):
        return {"name": name, "mimeType": "image/jpeg", "buffer": data}

    page.locator('#wood-work input[type="file"]').set_input_files(photo("left.jpg", shot(np.pi, ((140, 100), 9, 0.5))))
    dialog = page.locator("#photo")
    dialog.get_by_text("white and exposure by the grey card").wait_for()
    dialog.get_by_text("A second photo, a colour target").click()
    dialog.get_by_label("24-patch target in the photo").select_option("after-2014")
    dialog.get_by_text("colour by the 24-patch target (after-2014)").wait_for()
    # What is no photo is said there, and takes nothing away.
    second = dialog.locator('input[type="file"]')
    second.set_input_files(photo("words.jpg", b"only words"))
    dialog.locator(".warn").get_by_text("words.jpg").wait_for()
    dialog.get_by_text("colour by the 24-patch target (after-2014)").wait_for()
    second.set_input_files(photo("right.jpg", shot(0.0, ((260, 130), 9, 0.5))))
    dialog.get_by_text("two photos, right.jpg lit from the other end").wait_for()
    page.locator("#woodName").fill("mahogany")
    dialog.get_by_role("button", name="Put it on the bench").click()
    dialog.wait_for(state="hidden")
    page.get_by_role("button", name="mahogany this very board").wait_for()
    record = tomllib.loads((small_scene.parent / "left.toml").read_text())
    assert (small_scene.parent / record["dip"]).is_file(), "the fibres' angles are kept"
    assert "24-patch target (after-2014)" in record["made"] and "two photos, right.jpg" in record["made"]
