"""What gave earlier boards away to strangers who looked at them beside photographs, each held to be gone."""

import dataclasses
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import mockup.wood.species as species_module
from mockup.colour.spaces import linear_to_lab
from mockup.wood import load_species, make_board
from mockup.wood.log import Log
from mockup.wood.pores import pore_marks
from mockup.wood.streams import Lattice, board_seed

TEXTURES = Path(species_module.__file__).parents[2] / "textures"


def light(board):
    return linear_to_lab(board.reflectance.astype(np.float64))[..., 0].astype(np.float32)


def changed(wood, table, **values):
    return dataclasses.replace(wood, **{table: dataclasses.replace(getattr(wood, table), **values)})


def test_ring_lines_stay_lines_at_the_tips_of_arches():
    """Where the face meets the rings at a tenth of the slope, a line grows less than three times as wide, not ten."""
    wood = load_species("maple")
    log = Log(wood, Lattice(60, 60), "flat", board_seed(3, "maple"))
    index = np.arange(len(log.tables.bands), dtype=np.int32)

    def width(slope):
        late = log.late(index, np.full(index.shape, slope, np.float32))
        return (late > 0.5 * late.max()).mean() / slope    # mm of face a line takes, but for a constant

    assert width(0.04) < 3 * width(0.4)


def test_no_two_ring_lines_are_alike_and_a_ring_wavers_by_itself():
    wood = changed(changed(load_species("maple"), "fibres", mottle=0.0), "rings", kinks=0.0)
    straight = changed(wood, "rings", own=0.0)
    a, b = (make_board(w, size_mm=(60, 60), seed=5, px_per_mm=4, faults="none") for w in (wood, straight))
    assert np.abs(light(a) - light(b)).mean() > 0.1


def test_pores_are_of_many_lengths_and_strengths():
    wood = load_species("mahogany")
    marks = pore_marks(wood.pores[0], Lattice(60, 60), board_seed(1, "mahogany"), 0)
    assert marks.reach.min() < 0.2 and marks.reach.max() > 0.9 and np.median(marks.reach) < 0.6
    assert marks.weight.std() > 0.4


def test_pores_thin_out_towards_the_end_of_a_ring():
    log = Log(load_species("maple"), Lattice(20, 20), "flat", board_seed(1, "maple"))
    late, early = log.tables.late[12], log.tables.early
    assert early[late > np.quantile(late, 0.95)].mean() < 0.5 * early[late < np.quantile(late, 0.5)].mean()


def test_a_ripple_runs_across_the_grain():
    """Ray ripple adds detail along the grain, hardly any across it."""
    wood = load_species("maple")
    with_it, without = (light(make_board(changed(wood, "rays", ripple=r), size_mm=(60, 60), seed=4, px_per_mm=6, faults="none"))
                        for r in (1.0, 0.0))
    ripple = with_it - without
    assert np.abs(np.diff(ripple, axis=0)).mean() > 3 * np.abs(np.diff(ripple, axis=1)).mean() > 0
    # It comes and goes: some hand-widths have several times the ripple of others.
    patches = np.sqrt((ripple ** 2).reshape(6, 60, 6, 60).mean((1, 3)))
    assert patches.max() > 2.5 * patches.min()


def test_kinks_bend_fibres_and_rings_together():
    wood = load_species("maple")
    kinked, plain = (make_board(changed(wood, "rings", kinks=k), size_mm=(100, 100), seed=6, px_per_mm=3, faults="none")
                     for k in (3.0, 0.0))
    turn = np.abs(kinked.direction - plain.direction)
    assert turn.max() > 6 and np.median(turn) < 0.5          # a few places, and the rest untouched
    moved = np.abs(light(kinked) - light(plain))
    assert moved[turn > 2].mean() > 3 * moved[turn < 0.02].mean()


def test_a_mineral_streak_is_frayed():
    """Its darkest row is no smooth bump: several fibres are dark with paler ones between, and its ends fade."""
    marked, plain = (light(make_board("maple", size_mm=(80, 80), seed=4, px_per_mm=6, faults=f)) for f in ("mineral", "none"))
    dark = np.clip(plain - marked, 0, None)
    assert dark.max() > 6
    rough = np.abs(np.diff(dark, axis=1)).sum() / dark.max(1).sum()
    assert rough > 2.5                                         # a smooth bump has 2 exactly


@pytest.mark.parametrize("file", sorted(TEXTURES.glob("*.jpg")), ids=lambda f: f.stem)
def test_textures_carry_their_colour_profile(file):
    with Image.open(file) as picture:
        assert b"sRGB" in picture.info["icc_profile"].replace(b"\0", b"")
