"""Built-in scenes look as they did when someone last looked at them: ``python -m tests.golden`` draws them anew."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from mockup.scene.places import builtin_scenes  # noqa: E402
from tests.golden.draw import difference, draw, read  # noqa: E402

GOLDEN = Path(__file__).parents[1] / "golden"
# A library's other rounding moves single codes; a moved knob or another stain moves far more.
MEAN, MOST = 0.12, 1.0  # CIEDE2000: mean, and 99th percentile


@pytest.mark.parametrize("name", sorted(builtin_scenes()))
def test_scene_looks_as_it_did(name, tmp_path_factory):
    file = GOLDEN / f"{name}.png"
    assert file.exists(), f"{file.name} is missing: look at the picture, then draw it with python -m tests.golden"
    made, golden = draw(name), read(file)
    assert made.shape == golden.shape
    apart = difference(golden, made)
    if apart.mean() > MEAN or np.percentile(apart, 99) > MOST:
        shown = np.repeat(np.clip(apart * 25, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
        shown = cv2.resize(shown, made.shape[1::-1], interpolation=cv2.INTER_NEAREST)
        beside = tmp_path_factory.getbasetemp().parent / f"golden-{name}.png"
        cv2.imwrite(str(beside), np.concatenate([golden, made, shown], axis=0)[..., ::-1])
        pytest.fail(f"mean {apart.mean():.3f}, 99th percentile {np.percentile(apart, 99):.2f}; golden, now and difference: {beside}")


def test_the_comparison_sees_a_moved_knob_and_not_dither():
    made = read(GOLDEN / "tern.png")
    rng = np.random.default_rng(0)
    noisy = np.clip(made.astype(int) + rng.integers(-1, 2, made.shape), 0, 255).astype(np.uint8)
    apart = difference(made, noisy)
    assert apart.mean() < 0.6
    moved = made.copy()
    h, w = made.shape[:2]
    moved[h // 8:h // 2, w // 2:] = np.roll(made[h // 8:h // 2, w // 2:], 3, axis=1)
    apart = difference(made, moved)
    assert np.percentile(apart, 99) > MOST
