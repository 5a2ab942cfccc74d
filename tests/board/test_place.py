"""Where to cut, on boards whose best place is known because it was painted."""

import numpy as np
import pytest

from mockup.board.maps import find_knots, map_board
from mockup.board.place import best_places, part_pattern, resaw
from mockup.board.thumbs import cut_out, thumbnails
from mockup.errors import MockupError

MM = 0.5  # mm per pixel of the painted boards


def board(size=(600, 240), *, curl=None, lean=0.0, knots=(), seed=0, streak=0.10):
    """A board (H, W, 3) uint16, grain along x leaning by ``lean`` degrees, curl where ``curl(x, y)`` says how much."""
    rng = np.random.default_rng(seed)
    w, h = (int(v / MM) for v in size)
    y, x = np.mgrid[:h, :w].astype(np.float32) * MM
    c, s = np.cos(np.radians(lean)), np.sin(np.radians(lean))
    across = y * c - x * s
    lines = np.interp(across.ravel(), np.arange(-700, 1400, 0.8), rng.standard_normal(len(np.arange(-700, 1400, 0.8))))
    log = np.log(0.35) + streak * lines.reshape(h, w)
    if curl is not None:
        log = log + curl(x, y) * np.sin(2 * np.pi * (x + 1.5 * np.sin(y / 9)) / 7)
    for kx, ky, r in knots:
        log = log - 1.2 * np.exp(-0.5 * (((x - kx) ** 2 + (y - ky) ** 2) / (0.6 * r) ** 2) ** 2)
    tint = np.log(np.array([1.15, 1.0, 0.72]))
    return np.rint(np.clip(np.exp(log[..., None] + tint), 0, 1) * 65535).astype(np.uint16)


def drop(wide=130, high=180, px=2.0):
    """Coverage of a blunt egg, 2 px/mm."""
    y, x = np.mgrid[:int(high * px), :int(wide * px)] / px
    return ((((x - wide / 2) / (wide / 2)) ** 2 + ((y - high / 2) / (high / 2)) ** 2) < 1).astype(np.float32)


def test_strongest_figure_is_found():
    """With curl in one spot only, the best place is on that spot."""
    wood = map_board(board(curl=lambda x, y: 0.12 * np.exp(-(((x - 430) / 60) ** 2))), MM)
    places = best_places(wood, part_pattern(drop(), 2.0), aim="figure")
    assert abs(places[0].at[0] - 430) < 16
    assert places[0].figure > 1.5
    quiet = best_places(wood, part_pattern(drop(), 2.0), aim="plain")
    assert abs(quiet[0].at[0] - 430) > 120


def test_symmetric_figure_is_found():
    """Two like bands of curl: the centre line goes between them."""
    curl = lambda x, y: 0.10 * (np.exp(-((y - 90) / 12) ** 2) + np.exp(-((y - 150) / 12) ** 2)) * (x > 0)
    wood = map_board(board(curl=curl, streak=0.02), MM)
    places = best_places(wood, part_pattern(drop(110, 200), 2.0), aim="symmetric")
    assert abs(places[0].at[1] - 120) < 5
    assert places[0].symmetry > 0.6


def test_five_places_differ_and_are_in_order():
    wood = map_board(board(curl=lambda x, y: 0.05 + 0.05 * np.sin(x / 50)), MM)
    places = best_places(wood, part_pattern(drop(), 2.0), aim="figure")
    assert len(places) == 5
    assert [p.score for p in places] == sorted((p.score for p in places), reverse=True)
    for i, a in enumerate(places):
        for b in places[i + 1:]:
            assert np.hypot(a.at[0] - b.at[0], a.at[1] - b.at[1]) > 11.9


def test_grain_runs_along_the_centre_line():
    """Grain that leans 6 degrees turns the part with it."""
    wood = map_board(board((640, 300), lean=6.0), MM)
    assert wood.along == pytest.approx(6, abs=0.7)
    for place in best_places(wood, part_pattern(drop(90, 200), 2.0), aim="plain", straight=3):
        assert place.off_grain <= 3
        assert abs((place.turn + 90 - 6 + 90) % 180 - 90) <= 3.8


def test_knots_edges_and_marks_are_kept_clear():
    knots = [(300, 120, 6), (470, 60, 5)]
    wood = map_board(board(knots=knots), MM, keep_out=[(120, 200, 15)])
    found = {(round(k.x / 10), round(k.y / 10)) for k in wood.knots}
    assert found == {(30, 12), (47, 6)}
    margin = 6.0
    mask = drop(100, 150)
    outline = np.argwhere(mask > 0.5)[::7, ::-1] / 2.0 + 0.25
    for place in best_places(wood, part_pattern(mask, 2.0), aim="plain", margin=margin):
        c, s = np.cos(np.radians(place.turn)), np.sin(np.radians(place.turn))
        on = np.array(place.at) + (outline - (50, 75)) @ np.array([[c, s], [-s, c]])
        slack = 2.0  # one cell of the coarse map
        assert on.min() >= margin - slack
        assert (np.array([600, 240]) - on).min() >= margin - slack
        for x, y, r in [*knots, (120, 200, 15)]:
            assert np.hypot(on[:, 0] - x, on[:, 1] - y).min() > r * 0.8 + margin - slack


def test_a_board_full_of_knots_says_what_is_in_the_way():
    wood = map_board(board(knots=[(x, y, 6) for x in range(60, 600, 90) for y in (60, 120, 180)]), MM)
    part = part_pattern(np.ones((160, 220), np.float32), 1.0, cut="bookmatch", joint=110)
    with pytest.raises(MockupError, match=r"clear of edges, knots and paper, \d+ dark spots that may be knots among them\. "
                                          "Allow a smaller margin, cut it from more pieces"):
        best_places(wood, part)


def test_streaks_are_no_knots():
    """A mineral streak is long along the grain."""
    log = np.zeros((300, 400), np.float32)
    log[140:146, 100:220] = -1.0
    log[60:72, 300:314] = -1.0
    knots = find_knots(log, np.ones(log.shape, bool), 2.0, 0.0)
    assert len(knots) == 1 and knots[0].x == pytest.approx(153.5, abs=1)


def test_bookmatch_needs_half_the_width():
    """A pair fits where the single piece does not, and its anchor is on the joint."""
    wood = map_board(board((500, 120)), MM)
    single = part_pattern(drop(160, 200), 2.0)
    with pytest.raises(MockupError, match="160 x 200 mm"):
        best_places(wood, single, turns=[-90.0])
    pair = part_pattern(drop(160, 200), 2.0, cut="bookmatch")
    place = best_places(wood, pair, aim="figure")[0]
    assert 3.5 <= place.at[1] <= 116.5
    assert place.symmetry == 1
    slip = part_pattern(drop(160, 200), 2.0, cut="slipmatch")
    assert slip.mask.shape[1] == pytest.approx(pair.mask.shape[1], abs=1)


def test_what_is_shown_is_what_is_cut():
    """The thumbnail shows the wood at ``at``, turned as the scene turns it."""
    wood = np.full((480, 1200, 3), 20000, np.uint16)
    wood[190:210, 590:610] = (60000, 0, 0)          # a red square at 300, 100 mm
    part = part_pattern(np.ones((200, 100), np.float32), 1.0)
    from mockup.board.place import Place
    place = Place((300.0, 120.0), -90.0, 1, 1, 1, 0, "")
    picture = cut_out(wood, 0.5, part, place, 1.0)
    # turn -90: the drawing's right is the board's up, so the red lies right of the middle.
    y, x = np.argwhere((picture[..., 0] > 200) & (picture[..., 1] < 60)).mean(0)
    assert (x, y) == (pytest.approx(50 + 20, abs=1.5), pytest.approx(100, abs=1.5))
    assert thumbnails(wood, 0.5, part, [place, place]).dtype == np.uint8


def test_same_board_same_places():
    one, two = (best_places(map_board(board((400, 200), seed=3), MM), part_pattern(drop(), 2.0), turns=[-90.0, 88.0])
                for _ in range(2))
    assert one == two


def test_no_room_and_bad_wishes():
    wood = map_board(board((300, 100)), MM)
    with pytest.raises(MockupError, match="fits nowhere on this board of 300 x 100 mm"):
        best_places(wood, part_pattern(drop(), 2.0))
    with pytest.raises(MockupError, match="leans more than 2 degrees"):
        best_places(map_board(board((400, 300)), MM), part_pattern(drop(100, 120), 2.0), turns=[-60.0], straight=2)
    with pytest.raises(MockupError, match="symmetric"):
        best_places(wood, part_pattern(drop(40, 60), 2.0), aim="symetric")
    with pytest.raises(MockupError, match="There is no cut"):
        part_pattern(drop(), 2.0, cut="book")


def test_resawing_counts_kerf_and_planing():
    cut = resaw(22, kerf=2, planed=1)
    assert (cut.leaf, cut.lost) == (9, 4)
    assert cut.below == 9
    assert cut.slip == pytest.approx(4 * np.tan(np.radians(8)))
    with pytest.raises(MockupError, match="two leaves of 2.0 mm"):
        resaw(8)


def test_knot_finder_ignores_what_is_shut():
    log = np.zeros((200, 200), np.float32)
    log[90:104, 90:104] = -1
    shut = np.ones(log.shape, bool)
    shut[80:120, 80:120] = False
    assert find_knots(log, shut, 2.0, 0.0) == ()
    assert len(find_knots(log, np.ones_like(shut), 2.0, 0.0)) == 1
