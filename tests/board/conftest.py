"""Small simulated photos that several tests of this room share."""

import numpy as np
import pytest
import simulator as sim

from mockup.files.photo import photo_from_bytes


@pytest.fixture(scope="session")
def plain_photo():
    """A mahogany board with strips and a grey card, seen a little from the side: (pixels, truth, JPEG bytes)."""
    rng = np.random.default_rng(11)
    world, info, marks = sim.setup(rng, species="mahogany", size_mm=(300.0, 130.0), turn=-1.2, bench=(32, 0, 2))
    data, truth = sim.photograph(world, info, rng=rng, size_px=(1500, 1125), tilt=18, fall=1.7, kelvin=4600,
                                 tone=sim.tone_logistic(2.2, 0.48), bend=(-0.03, 0.01, 2e-4, -1e-4))
    truth.grey_at = tuple(truth.to_image([marks["grey"]])[0])
    return photo_from_bytes(data, "plain.jpg").pixels, truth, data


@pytest.fixture(scope="session")
def target_photo():
    """A maple board with strips and a 24-patch target, no grey card: (pixels, truth, JPEG bytes)."""
    rng = np.random.default_rng(12)
    world, info, marks = sim.setup(rng, species="maple", size_mm=(300.0, 130.0), turn=1.5, grey=False, target=True,
                                   bench=(28, 2, 3))
    data, truth = sim.photograph(world, info, rng=rng, size_px=(1500, 1125), tilt=22, fall=1.8, kelvin=4200,
                                 tone=sim.tone_filmic(1.6), saturation=1.05, bend=(0.03, -0.01, 0, 0))
    truth.target_at = truth.to_image(marks["target"])
    return photo_from_bytes(data, "target.jpg").pixels, truth, data
