"""The face found in a photo: lengths, lens, uncertainty, and the real marker sheet where the photos are at hand."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import simulator as sim

from mockup.board.bundle import _Problem, fit_plane
from mockup.board.flatten import flatten
from mockup.board.markers import Markers, find_markers, grey_view
from mockup.board.plane import plane_from_corners, plane_from_scan
from mockup.board.sheet import chessboard_sheet, reference_sheet
from mockup.files.photo import read_photo

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"


def fitted(photo):
    pixels, truth, _ = photo
    sheet = reference_sheet()
    return fit_plane(sheet, find_markers(grey_view(pixels), sheet), truth.size_px), truth


def test_lengths_are_true(plain_photo):
    """Sides and diagonals of the board to 0.1 %, and to what the fit itself claims."""
    plane, truth = fitted(plain_photo)
    corners = plane.to_face(truth.corners_px())
    w, h = truth.size_mm
    pairs = [(0, 1, w), (1, 2, h), (2, 3, w), (3, 0, h), (0, 2, np.hypot(w, h)), (1, 3, np.hypot(w, h))]
    off = [np.linalg.norm(corners[a] - corners[b]) / d - 1 for a, b, d in pairs]
    claimed = plane.length_error(np.array([[corners[a], corners[b]] for a, b, _ in pairs]))
    assert np.abs(off).max() < 1e-3
    assert np.abs(off).max() < 2 * claimed + 2e-4 and claimed < 2e-3


def test_there_and_back(plain_photo):
    plane, truth = fitted(plain_photo)
    mm = np.random.default_rng(0).uniform(-40, 250, (50, 2))
    assert np.abs(plane.to_face(plane.to_image(mm)) - mm).max() < 1e-6
    moved = plane.moved((30.0, -20.0), 25.0)
    c, s = np.cos(np.radians(25)), np.sin(np.radians(25))
    assert np.abs(moved.to_image(mm) - plane.to_image(mm @ np.array([[c, s], [-s, c]]) + (30, -20))).max() < 1e-6


def test_lens_matters(plain_photo):
    """Without the lens terms the markers' corners fit much worse."""
    pixels, truth, _ = plain_photo
    sheet = reference_sheet()
    found = find_markers(grey_view(pixels), sheet, pixels)
    plane = fit_plane(sheet, found, truth.size_px)
    owner = [sheet.pieces[sheet.piece_of(n)] for n in found.numbers]
    mm = np.stack([p.markers[int(n)] @ plane.placed[p.name][:, :2].T + plane.placed[p.name][:, 2]
                   for p, n in zip(owner, found.numbers)])
    off = [np.sqrt(((view.to_image(mm) - found.corners) ** 2).sum(-1).mean())
           for view in (plane, replace(plane, lens=(0.0,) * 4))]
    assert off[1] > 3 * off[0]


def test_slopes_are_the_derivatives():
    """Against central differences."""
    sheet, rng = reference_sheet(), np.random.default_rng(0)
    numbers = np.array([0, 1, 2, 3, 4, 5, 6, 7, 9, 10, 32, 33])
    problem = _Problem(sheet, Markers(numbers, rng.random((12, 4, 2)) * 500 + 100, np.ones(12)), (1000, 800))
    problem.tied = problem.ties
    p = rng.normal(0, 0.1, problem.count)
    p[:8] += (1, 0, 0, 0, 1, 0, 0, 0)
    step = 1e-6 * np.eye(problem.count)
    numeric = np.stack([(problem.cost(p + e) - problem.cost(p - e)) / 2e-6 for e in step], 1)
    assert np.abs(problem.slope(p) - numeric).max() < 1e-6 * np.abs(numeric).max()


def test_few_markers_claim_less():
    """With one strip only, the claimed error over the board is far larger, and covers the true one."""
    rng = np.random.default_rng(2)
    world, info, _ = sim.setup(rng, size_mm=(300.0, 130.0), turn=0.5, pieces="A", grey=False)
    light, truth = sim.photograph(world, info, rng=rng, size_px=(1400, 1050), tilt=25, encode=False)
    pixels = np.rint(np.clip(light, 0, 1) * 65535).astype(np.uint16)
    sheet = reference_sheet()
    plane = fit_plane(sheet, find_markers(grey_view(pixels), sheet), truth.size_px)
    corners = plane.to_face(truth.corners_px())
    ends = np.array([[corners[1], corners[2]], [corners[0], corners[3]]])
    off = np.abs(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) / truth.size_mm[1] - 1).max()
    assert plane.length_error(ends) > 0.003
    assert off < 1.5 * plane.length_error(ends)


def test_printers_bleed_does_not_change_the_scale(plain_photo):
    """Black that spreads by a quarter of a mm makes markers 3 % larger, lengths not, as the bleed is fitted too."""
    sheet = reference_sheet()
    rng = np.random.default_rng(6)
    world, info, _ = sim.setup(rng, size_mm=(300.0, 130.0), turn=0.0, grey=False)
    dark = world.paint.min(2) < 0.43
    world.paint[cv2.dilate(dark.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool) & ~dark] = 0.05
    light, truth = sim.photograph(world, info, rng=rng, size_px=(1400, 1050), tilt=12, encode=False)
    pixels = np.rint(np.clip(light, 0, 1) * 65535).astype(np.uint16)
    found = find_markers(grey_view(pixels), sheet, pixels)
    off = []
    for bleed in (sheet.bleed, 1e-6):
        corners = fit_plane(replace(sheet, bleed=bleed), found, truth.size_px).to_face(truth.corners_px())
        off.append(max(abs(np.linalg.norm(corners[0] - corners[1]) / 300 - 1),
                       abs(np.linalg.norm(corners[1] - corners[2]) / 130 - 1)))
    assert off[0] < 2e-3 and off[1] > 4 * off[0]


def test_flattened_view_is_the_board(plain_photo):
    """The board's left edge stands at its place in a view at 2 px/mm, to a pixel."""
    pixels, truth, _ = plain_photo
    plane = plane_from_corners(truth.corners_px(), truth.size_mm, truth.size_px)
    view = flatten(pixels, plane.moved((-4.0, 20.0), 0.0), (20.0, 90.0), 2.0)
    assert view.shape == (180, 40, 3)
    step = np.diff(np.median(view.astype(float).sum(2), axis=0))
    assert abs(int(step[4:].argmax()) + 4 - 7) <= 1


def test_scan_is_taken_as_it_is():
    pixels = np.random.default_rng(0).integers(0, 65535, (90, 120, 3)).astype(np.uint16)
    plane = plane_from_scan(254, (120, 90))
    assert (flatten(pixels, plane, (12.0, 9.0), 10.0) == pixels).all()


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the real photographs are not here")
def test_real_marker_sheet_comes_out_square():
    """A real photo of a ChArUco sheet, 640 x 480, at an angle: its squares equal to 1 % both ways.

    The chessboard's own corners are measured apart from the markers, by OpenCV's corner finder.
    """
    photo = read_photo(PHOTOS / "marker_charuco_on_wood_table_angle.jpg")
    sheet = chessboard_sheet(5, 7, 40, 20)
    grey = grey_view(photo.pixels)
    found = find_markers(grey, sheet)
    assert len(found.numbers) == 17
    plane = fit_plane(sheet, found, (640, 480))
    column, row = np.meshgrid(np.arange(1, 5), np.arange(1, 7))
    start = plane.to_image(np.stack([column, row], -1).reshape(-1, 2) * 40.0).astype(np.float32)
    seen = cv2.cornerSubPix(grey, start.reshape(-1, 1, 2).copy(), (4, 4), (-1, -1), (3, 50, 1e-3)).reshape(-1, 2)
    face = plane.to_face(seen).reshape(6, 4, 2)
    wide, high = (np.linalg.norm(np.diff(face, axis=k), axis=2) for k in (1, 0))
    assert wide.mean() == pytest.approx(40, rel=0.01) and high.mean() == pytest.approx(40, rel=0.01)
    assert wide.mean() / high.mean() == pytest.approx(1, abs=0.005)
    assert np.linalg.norm(face[:, -1] - face[:, 0], axis=1) == pytest.approx(np.full(6, 120), rel=0.01)
    assert np.linalg.norm(face[-1] - face[0], axis=1) == pytest.approx(np.full(4, 200), rel=0.01)
