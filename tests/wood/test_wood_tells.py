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
    index = np.arange(len(log.tables.year), dtype=np.int32)

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


def test_years_end_each_in_its_own_way():
    """Some at a line sharp on one side, some gradually on both, and along the grain one turns into the other."""
    log = Log(load_species("maple"), Lattice(60, 60), "flat", board_seed(3, "maple"))
    tables = log.tables
    ends = np.flatnonzero(np.diff(tables.year) == 0)
    blur = np.array([tables.blur[ends][tables.year[ends] == y][0] for y in np.unique(tables.year)])
    assert (blur < 0.2).mean() > 0.15 and (blur > 0.6).mean() > 0.15
    index = np.arange(2000, 6000, dtype=np.int32)
    voice = log.voice.rows(0, 300)
    late = log.late(np.tile(index, (300, 1))[:, : voice.shape[1]], np.full(voice.shape, 0.4, np.float32), voice)
    line = late[:, late.mean(0).argmax()]                 # the strongest of them, followed along the grain
    assert line.std() > 0.08 * line.mean() and np.abs(np.diff(line)).max() < 0.1 * line.mean()


def test_good_and_lean_years_come_in_groups():
    """Widths two years apart are alike, as in tree-ring series (their autocorrelation lasts for years; common practice)."""
    tables = Log(load_species("maple"), Lattice(60, 60), "quarter", board_seed(3, "maple")).tables
    widths = np.log(np.bincount(tables.year)[2:-2])           # each shares a half with the next, so not one year apart
    assert 0.25 < np.corrcoef(widths[2:], widths[:-2])[0, 1] < 0.95


def test_one_vessel_opens_to_the_face_again_and_again():
    """Many marks have another one close beside their own line: far more than marks thrown at random."""
    wood = load_species("mahogany")
    near = {}
    for string in (1.0, wood.pores[0].string):
        marks = pore_marks(dataclasses.replace(wood.pores[0], string=string), Lattice(60, 60), board_seed(1, "mahogany"), 0)
        middle = (marks.row > 150) & (marks.row < 350)
        line = np.sort(marks.u[middle])
        near[string] = (np.diff(line) < 0.02).mean()
    assert wood.pores[0].string > 2 and near[wood.pores[0].string] > near[1.0] + 0.02


def test_flame_bars_lean_fade_and_are_as_soft_where_dark_as_where_light():
    leans, skews = [], []
    for seed in (2, 7):
        board = make_board("flame-maple", size_mm=(150, 150), seed=seed, px_per_mm=3, faults="none")
        bars = cv2.GaussianBlur(board.figure, (0, 0), 2)
        gx, gy = cv2.Sobel(bars, -1, 1, 0, ksize=3), cv2.Sobel(bars, -1, 0, 1, ksize=3)
        xx, xy, yy = (cv2.GaussianBlur(p, (0, 0), 15) for p in (gx * gx, gx * gy, gy * gy))
        leans.append((0.5 * np.degrees(np.arctan2(2 * xy, xx - yy)) % 180).std())
        strength = np.sqrt(cv2.GaussianBlur(bars * bars, (0, 0), 15))
        assert np.quantile(strength, 0.95) > 2 * np.quantile(strength, 0.05)     # strong here, gone there
        seen = cv2.GaussianBlur(light(board), (0, 0), 2) - cv2.GaussianBlur(light(board), (0, 0), 30)
        skews.append((seen ** 3).mean() / (seen ** 2).mean() ** 1.5)
    assert np.mean(leans) > 4.5                               # degrees: bars that run parallel have 2.7
    assert np.mean(skews) > -0.2                              # narrow dark bars on a light ground have less than -0.3


def test_dark_streaks_fork_and_end():
    """Cut across in two places a hand apart, a board of black limba has another pattern of streaks, not the same lines."""
    board = make_board("black-limba", size_mm=(120, 220), seed=1, px_per_mm=3, faults="none")
    across = cv2.GaussianBlur(light(board), (0, 0), 1.5).reshape(11, 60, -1).mean(1)
    across -= cv2.GaussianBlur(across, (0, 0), 20, sigmaY=0.01)
    alike = lambda a, b: np.corrcoef(across[a], across[b])[0, 1]
    assert np.mean([alike(k, k + 1) for k in range(10)]) > 0.5
    assert np.mean([alike(k, k + 5) for k in range(6)]) < 0.25     # lines that follow the years alone: 0.4


def test_pores_thin_out_towards_the_end_of_a_ring():
    log = Log(load_species("maple"), Lattice(20, 20), "flat", board_seed(1, "maple"))
    late, early = log.tables.crisp[12], log.tables.early
    assert early[late > np.quantile(late, 0.95)].mean() < 0.5 * early[late < np.quantile(late, 0.5)].mean()


def test_a_ripple_runs_across_the_grain():
    """Ray ripple adds detail along the grain, less than half as much across it."""
    wood = load_species("maple")
    with_it, without = (light(make_board(changed(wood, "rays", ripple=r), size_mm=(60, 60), seed=4, px_per_mm=6, faults="none"))
                        for r in (1.0, 0.0))
    ripple = with_it - without
    assert np.abs(np.diff(ripple, axis=0)).mean() > 2 * np.abs(np.diff(ripple, axis=1)).mean() > 0
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
