"""The views of a whole instrument from the command line."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from mockup.cli import run


@pytest.fixture
def drawn(tmp_path, monkeypatch, capsys):
    """``drawn(words…)`` draws a built-in scene small; gives the pixels of what was written."""
    monkeypatch.chdir(tmp_path)

    def draw(*words: str, scene: str = "bittern", scale: str = "0.5") -> np.ndarray:
        out = Path(f"view-{len(list(tmp_path.iterdir()))}.png")
        assert run(["render", scene, "--scale", scale, "--out", str(out), *words]) in (0, None), capsys.readouterr().err
        return np.asarray(Image.open(out)).astype(int)

    return draw


def test_horizontal_is_a_quarter_turn_to_the_left_but_for_the_light(drawn):
    upright, lying = drawn(), drawn("--horizontal")
    assert lying.shape[:2] == upright.shape[1::-1]
    # The head, at the top upright, is at the left: what is no ground lies in the same place.
    wood = [np.abs(p - p[2, 2]).sum(axis=2) > 90 for p in (np.rot90(upright), lying)]
    assert (wood[0] & wood[1]).sum() > 0.88 * (wood[0] | wood[1]).sum()
    # The light stays with the room, so that it is not the same picture turned.
    assert np.abs(np.rot90(upright) - lying)[wood[0] & wood[1]].mean() > 0.5


def test_both_sides_stand_side_by_side_and_lie_one_above_the_other(drawn):
    front, both, lying = drawn(), drawn("--side", "both"), drawn("--side", "both", "--horizontal")
    assert both.shape[0] == front.shape[0] and both.shape[1] > 1.9 * front.shape[1]
    assert lying.shape[0] == both.shape[1] and lying.shape[1] == both.shape[0]


def test_a_crop_shows_one_part_and_names_the_nearest(drawn, tmp_path, capsys):
    whole, part = drawn(), drawn("--crop", "bridge")
    assert part.shape[0] < whole.shape[0] / 4 and part.shape[1] < whole.shape[1]
    assert run(["render", "bittern", "--crop", "brigde", "--scale", "0.5", "--out", "x.png"]) == 2
    assert 'There is no part "brigde". Did you mean "bridge"?' in capsys.readouterr().err.replace("\n", " ")


def test_the_ground_is_the_makers_and_shadows_fall_on_it(drawn, capsys):
    plain, blue = drawn(), drawn("--ground", "#3050a0")
    corner = blue[3, 3]
    assert corner[2] > corner[0] + 60 and np.abs(corner - (0x30, 0x50, 0xa0)).max() < 12
    middle = (plain.shape[0] * 3 // 4, plain.shape[1] // 2)
    assert np.abs(plain[middle] - blue[middle]).max() <= 2, "the wood is as it was"
    assert run(["render", "bittern", "--ground", "blue", "--scale", "0.5", "--out", "x.png"]) == 2
    assert 'The ground is "blue". Write it as "#rrggbb"' in capsys.readouterr().err.replace("\n", " ")


def test_a_bar_is_as_long_as_it_says(drawn):
    plain, bar = drawn(scale="1"), drawn("--bar", scale="1")
    rows, columns = np.nonzero(np.abs(plain - bar).sum(axis=2) > 60)
    lowest = columns[rows == rows.max()]
    long = int(np.argmin(np.append(np.isin(np.arange(lowest.min(), lowest.max() + 1), lowest), False)))  # up to the gap before the words
    assert any(abs(long - mm) <= 1 for mm in (1, 2, 5, 10, 20, 50, 100, 200)), long
    assert rows.min() > 0.8 * plain.shape[0] and columns.max() < 0.6 * plain.shape[1]
