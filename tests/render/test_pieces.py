"""The pieces of a picture hold the coverage of their region, no more and no less."""

import numpy as np
import pytest

from mockup.outline.coverage import coverage, coverage_runs
from mockup.outline.cut import without
from mockup.outline.figures import circle, many, outline, plate, strip
from mockup.render.bands import band_list
from mockup.render.canvas import Canvas
from mockup.render.pieces import ALONE, TILE, region_pieces

CANVAS = Canvas((-3.0, -2.0), 7.3, (1700, 900))
REGIONS = {
    "a disc": circle((100, 60), 90),
    "all of the canvas and more": plate((100, 60), (500, 400)),
    "on pixel lines": outline([(-3 + a / 7.3, -2 + b / 7.3) for a, b in ((128, 128), (1536, 128), (1536, 640), (128, 640))]),
    "a ring": without(circle((110, 60), 110), [circle((110, 60), 60)]),
    "off to the left and top": circle((0, 0), 80),
    "a slanted string": strip([(10, 0), (14, 119)], 0.4),
    "scattered": many([circle((x, y), 5) for x in (10, 90, 200) for y in (8, 60, 110)]),
    "less than a pixel": circle((50, 50), 0.05),
    "beside the canvas": circle((400, 60), 40),
}


def laid(region, canvas):
    """The cover of the pieces, and how often each pixel is told."""
    cover, told = np.zeros((canvas.height, canvas.width), np.float32), np.zeros((canvas.height, canvas.width), int)
    pieces = region_pieces(region, canvas, canvas.window(region.bounds))
    for (first, last), some in zip(band_list(canvas.height, canvas.width), pieces.bands, strict=True):
        for piece in some:
            here = np.s_[first:last, piece.first:piece.last]
            cover[here] = 1 if piece.cover is None else piece.cover
            told[here] += 1
    return cover, told, pieces


@pytest.mark.parametrize("name", REGIONS)
def test_pieces_hold_the_coverage(name):
    region = REGIONS[name]
    cover, told, _ = laid(region, CANVAS)
    true = coverage(region, origin=CANVAS.origin, px_per_mm=CANVAS.px_per_mm, size=CANVAS.size)
    x0, y0, x1, y1 = CANVAS.window(region.bounds)
    assert np.array_equal(cover[:, x0:x1], true[:, x0:x1])
    assert told.max(initial=0) <= 1 and not true[told == 0].any()


def test_what_is_full_carries_no_cover():
    _, _, pieces = laid(REGIONS["all of the canvas and more"], CANVAS)
    assert all(piece.cover is None for band in pieces.bands for piece in band) and pieces.nbytes == 0
    _, _, pieces = laid(REGIONS["a disc"], CANVAS)
    full = [piece for band in pieces.bands for piece in band if piece.cover is None]
    assert not full or min(piece.last - piece.first for piece in full) >= ALONE * TILE
    assert pieces.nbytes < 0.6 * 4 * CANVAS.width * CANVAS.height


def test_empty_tiles_are_left_out():
    _, told, _ = laid(REGIONS["a ring"], CANVAS)
    inside = (110 + 3) * CANVAS.px_per_mm, (60 + 2) * CANVAS.px_per_mm
    assert told[int(inside[1]), int(inside[0])] == 0
    _, told, _ = laid(REGIONS["scattered"], CANVAS)
    assert 0 < told.mean() < 0.3


def test_strips_are_cut_from_runs_as_from_the_plane():
    region = REGIONS["a ring"]
    place = {"origin": CANVAS.origin, "px_per_mm": CANVAS.px_per_mm, "size": CANVAS.size, "rows": (100, 700)}
    runs, plane = coverage_runs(region, **place), coverage(region, **place)
    random = np.random.default_rng(4)
    row = random.integers(0, 600, 300)
    left = random.integers(0, CANVAS.width - 1, 300)
    right = left + 1 + random.integers(0, CANVAS.width - left)
    expected = np.concatenate([plane[r, a:b] for r, a, b in zip(row, left, right, strict=True)])
    assert np.array_equal(runs.strips(row, left, right), expected)
    assert np.array_equal(runs.plane(), plane)
