"""Whole instruments: order, light, shadow, the back, the left hand, views, and drawing only what changed."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from invented import box, egg, make_part, make_scene
from mockup.colour.spaces import decode_srgb, encode_srgb, lab_to_linear
from mockup.errors import MockupError
from mockup.finish.steps import Finish, Paint
from mockup.outline.coverage import coverage
from mockup.outline.cut import contains
from mockup.outline.fewer import thinned
from mockup.outline.figures import circle, many, outline, plate, strip
from mockup.render.canvas import Canvas
from mockup.render.form import form_lean
from mockup.render.kept import Kept
from mockup.render.layers import CHORD, LONG, scene_layers, seen_pieces
from mockup.render.light import mirror
from mockup.render.picture import picture
from mockup.render.relief import part_lighting
from mockup.render.rods import rod_lighting
from mockup.render.views import View, view_picture
from mockup.scene.material import MATERIALS
from mockup.scene.values import Binding, Contour, Edge, Fitting, Form

PALE = Finish(steps=(Paint(lab=(70.0, 0.0, 0.0)),), sheen=2.0)
DARK = Finish(steps=(Paint(lab=(30.0, 10.0, 10.0)),), sheen=2.0)


def fitting(shape, *, name="knob", material="nickel", height=55.0, below=40.0, side="front", **more) -> Fitting:
    return Fitting(name=name, part=name, title=name.title(), shape=shape, material=MATERIALS[material], edge=Edge(roundover=1.0),
                   height=height, below=below, side=side, **more)


@pytest.fixture
def scene(plank):
    path, mm, size = plank
    body = make_part(egg(0, 0, 36, 48), (75.0, 60.0), name="body", finish=PALE)
    neck = make_part(box(-8, -70, 8, 10), (75.0, 60.0), name="neck", finish=DARK, height=52.0)
    line = strip([(-2.0, -65.0), (-3.0, 40.0)], 0.8)
    order = (body, neck, fitting(circle((18.0, 20.0), 12.0)), fitting(plate((0.0, 32.0), (20.0, 10.0), 2.0), name="bridge"),
             fitting(line, name="string", height=57.0, rods=((-2.0, -65.0, -3.0, 40.0, 0.4),)),
             fitting(plate((10.0, 20.0), (16.0, 12.0), 2.0), name="lid", side="back", height=0.0, below=-1.5, material="black"))
    return replace(make_scene(path, mm, size, parts=(body, neck)), order=order)


def test_layers_share_no_area_and_leave_no_gap(scene):
    """Coverages of all layers add up to that of the silhouette, in every pixel, at any scale."""
    for side in ("front", "back"):
        parts = seen_pieces(scene, side)
        for scale in (0.7, 3.3):
            canvas = Canvas.around((-45, -75, 45, 60), scale, 3.0)
            total = sum(coverage(layer.region, origin=canvas.origin, px_per_mm=scale, size=canvas.size).astype(np.float64)
                        for layer in scene_layers(parts))
            place = {"origin": canvas.origin, "px_per_mm": scale, "size": canvas.size}
            # Exactly so of the chords that all cuts share, and of the drawing to their tolerance.
            assert np.abs(total - coverage(many([thinned(p.shape, CHORD, LONG) for p in parts]), **place)).max() < 1e-5
            assert np.abs(total - coverage(many([p.shape for p in parts]), **place)).max() < scale * CHORD


def test_one_changed_part_is_all_that_is_drawn_again_and_nothing_else_changes(scene):
    """After any change, on the same Kept, the picture is the one made alone: pixel by pixel."""
    kept = Kept()
    picture(scene, scale=3.0, kept=kept)
    body, neck, knob, bridge, string, lid = scene.order
    for order in ((body, neck, replace(knob, material=MATERIALS["brass"]), bridge, string, lid),
                  (body, replace(neck, finish=PALE), knob, bridge, string, lid),
                  (replace(body, finish=replace(PALE, sheen=80.0)), neck, knob, bridge, string, lid),
                  (body, neck, knob, replace(bridge, height=60.0), string, lid),
                  (body, neck, replace(knob, shape=knob.shape.moved(3.0, 0.0)), bridge, string, lid),
                  scene.order):
        changed = replace(scene, parts=(order[0], order[1]), order=order)
        assert_array_equal(picture(changed, scale=3.0, kept=kept).pixels, picture(changed, scale=3.0).pixels)


def test_no_pixel_depends_on_what_stood_in_memory(plank, monkeypatch):
    """The ground under what is full is not worked out; a string's piece reaches over it with a cover of 0."""
    path, mm, size = plank
    body = make_part(box(-70, -30, 70, 30), (75.0, 60.0), name="body", finish=PALE)
    scene = make_scene(path, mm, size, parts=(body,))
    # A slanted one: its tiles begin where it does, and further down they lie half on what is full.
    scene = replace(scene, order=(body, fitting(strip([(31.5, -24.0), (47.5, 24.0)], 0.8), name="string")))
    canvas = Canvas((-56.0, -25.0), 8.0, (900, 400))
    clean = picture(scene, scale=8.0, canvas=canvas).pixels

    def spoilt(made):
        def make(*args, **more):
            array = made(*args, **more)
            if array.dtype.kind == "f":
                array.fill(np.nan)
            return array
        return make

    monkeypatch.setattr(np, "empty", spoilt(np.empty))
    monkeypatch.setattr(np, "empty_like", spoilt(np.empty_like))
    assert_array_equal(picture(scene, scale=8.0, canvas=canvas).pixels, clean)


def test_a_new_colour_changes_no_pixel_outside_its_part(scene):
    body, neck, knob, bridge, string, lid = scene.order
    other = replace(scene, order=(body, neck, replace(knob, material=MATERIALS["brass"]), bridge, string, lid))
    a, b = picture(scene, scale=3.0), picture(other, scale=3.0)
    rows, columns = np.nonzero((a.pixels != b.pixels).any(axis=2))
    x = a.canvas.origin[0] + columns / 3.0
    y = a.canvas.origin[1] + rows / 3.0
    assert len(rows) and (np.hypot(x - 18.0, y - 20.0) < 6.0 + 0.8).all()


def test_pictures_cannot_be_written_into(scene):
    """They may be held for the next one."""
    with pytest.raises(ValueError, match="read-only"):
        picture(scene, scale=1.0).pixels[0, 0] = 0


def test_from_behind_twice_is_the_front(scene):
    """What _behind does to a piece, done twice, gives back shape, wood and height."""
    from mockup.render.layers import _behind

    for p in scene.order:
        twice = _behind(_behind(p, scene.centre, 52.0), scene.centre, 52.0)
        for a, b in zip(twice.shape.rings, p.shape.rings, strict=True):
            assert_allclose(a, b, atol=1e-9)
        assert (twice.height, twice.below) == pytest.approx((p.height, p.below))


def test_from_behind_the_body_lies_over_its_neck_and_back_plates_over_the_body(scene):
    names = [p.name for p in seen_pieces(scene, "back")]
    assert names.index("neck") < names.index("body") < names.index("lid")
    heights = {p.name: p.height for p in seen_pieces(scene, "back")}
    assert heights["lid"] == pytest.approx(heights["body"] + 1.5)


def test_from_behind_the_wood_is_mirrored_with_the_outline(plank):
    """A knot lies in the same place of the part, seen from either side: the back picture is the front one, mirrored."""
    path, mm, size = plank
    flat = make_scene(path, mm, size, shape=egg(0, 0, 40, 50), finish=Finish(sheen=2.0), roundover=0.0)
    front, back = (picture(flat, side=s, scale=4.0).pixels.astype(np.float32) for s in ("front", "back"))
    h, w = front.shape[:2]
    middle = (slice(h // 3, 2 * h // 3), slice(w // 3, 2 * w // 3))
    # The board of the flat egg is its own mirror image's, shifted by less than a pixel.
    a, b = front[middle][..., 1], back[:, ::-1][middle][..., 1]
    assert cv2.matchTemplate(back[:, ::-1, 1].copy(), a[20:-20, 20:-20].copy(), cv2.TM_CCOEFF_NORMED).max() > 0.97
    assert np.corrcoef(a.ravel(), b.ravel())[0, 1] > np.corrcoef(a.ravel(), b[:, ::-1].ravel())[0, 1] + 0.3


def test_the_floor_of_a_pocket_lies_in_the_shade_of_its_rim(plank):
    path, mm, size = plank
    body = make_part(box(-30, -40, 30, 40), (75.0, 60.0), finish=PALE, roundover=0.0)
    floor = make_part(box(-12, -12, 12, 12), (75.0, 60.0), name="pocket", finish=PALE, roundover=0.0, height=27.0)
    level = replace(floor, height=45.0)
    deep, flat = (decode_srgb(picture(make_scene(path, mm, size, parts=(body, p)), scale=3.0).pixels / 255.0).mean(axis=2) for p in (floor, level))
    h, w = deep.shape
    y, x = h // 2, w // 2
    corner = (slice(y - 34, y - 24), slice(x - 34, x - 24))  # up on the left, where the light comes from
    assert deep[corner].mean() < 0.9 * flat[corner].mean()
    far = (slice(y + 45, y + 60), slice(x - 10, x + 10))
    assert abs(deep[far].mean() / flat[far].mean() - 1) < 0.01


def test_a_string_casts_a_thin_shadow_down_and_to_the_right(scene):
    body, neck, knob, bridge, string, lid = scene.order
    bare = replace(scene, order=(body, neck, knob, bridge, lid))
    a, b = (decode_srgb(picture(s, scale=8.0).pixels / 255.0).mean(axis=2) for s in (scene, bare))
    canvas = picture(bare, scale=8.0).canvas
    y = round((-30 - canvas.origin[1]) * 8)
    x = round((-2.33 - canvas.origin[0]) * 8)
    row = slice(y - 30, y + 30)
    left, right = (a[row, x + k - 4:x + k + 4].mean() / b[row, x + k - 4:x + k + 4].mean() for k in (-24, 11))
    assert right < 0.985 < left


def test_metal_mirrors_window_room_and_bench():
    """Toward the window brightest, straight up pale, sideways dark: that is what makes it look like metal."""
    def look(nx, ny):
        return float(mirror(np.array([nx]), np.array([ny]), np.sqrt(1 - np.array([nx * nx + ny * ny])), np.zeros(1), np.zeros(1), 90.0)[0])

    window, up, away, rim = look(-0.12, -0.26), look(0.0, 0.0), look(0.2, 0.25), look(0.6, 0.35)
    assert window > 1.5 > 1.0 > up > 0.5 > away > rim > 0.0


def test_bars_keep_their_mean_light_however_thin():
    """Averaged across a pixel, the light from a string is the same at every scale, and finest strings do not flicker."""
    rods = ((0.3, -40.0, 2.1, 40.0, 0.25),)
    shape = strip([(0.3, -40.0), (2.1, 40.0)], 0.5)
    means, spreads = [], []
    for scale in (1.3, 4.0, 24.0):
        canvas = Canvas.around((-3, -45, 6, 45), scale)
        body, gain = rod_lighting(rods, 80.0, canvas, (0, 0, *canvas.size), (0.0, 0.0), metal=True)
        assert gain is None
        cover = coverage(shape, origin=canvas.origin, px_per_mm=scale, size=canvas.size)
        field = body.rows(canvas, (0, canvas.width), (0, canvas.height))
        means.append(float((field * cover).sum() / cover.sum()))
        by_row = (field * cover).sum(axis=1)[cover.sum(axis=1) > 0.9 * cover.sum(axis=1).max()]
        spreads.append(float(by_row.std() / by_row.mean()))
    assert max(means) / min(means) < 1.005
    assert spreads[0] < 0.05


def test_a_thin_string_is_darker_than_the_plate_it_crosses():
    """Steel over nickel: were both as bright, the string would be lost there."""
    canvas = Canvas.around((-6, -25, 6, 25), 8.0)
    window = (0, 0, *canvas.size)
    plain, _ = rod_lighting(((0.0, -24.0, 0.0, 24.0, 0.15),), 80.0, canvas, window, (0.0, 0.0), metal=True)
    flat, _ = part_lighting(plate((0.0, 0.0), (10.0, 40.0), 1.0), Edge(roundover=0.6), Form(), 82.0, canvas, window, (0.0, 0.0), metal=True, small=True)
    middle = slice(canvas.height // 2 - 20, canvas.height // 2 + 20)
    core = slice(canvas.width // 2 - 1, canvas.width // 2 + 1)
    string, under = (float(field.rows(canvas, (0, canvas.width), (0, canvas.height))[middle, core].mean()) for field in (plain, flat))
    assert string < 0.75 * under


def test_spun_faces_show_a_bow_and_bevels_a_band():
    canvas = Canvas.around((-12, -12, 12, 12), 8.0)
    window = (0, 0, *canvas.size)
    disc = circle((0.0, 0.0), 20.0)
    body, _ = part_lighting(disc, Edge(roundover=0.5), Form(), 85.0, canvas, window, (0.0, 0.0), metal=True, spun=True, small=True)
    t = np.radians(np.arange(0, 360, 5))
    at = body.rows(canvas, (0, canvas.width), (0, canvas.height))[(96 + 48 * np.sin(t)).astype(int), (96 + 48 * np.cos(t)).astype(int)]
    assert at.max() > 1.5 * at.min()
    assert np.corrcoef(at, np.roll(at, 36))[0, 1] > 0.8  # a bow: the same on both sides of the middle

    square = plate((0.0, 0.0), (20.0, 20.0))
    body, surface = part_lighting(square, Edge(roundover=0.0, bevel=3.0), Form(), 30.0, canvas, window, (0.0, 0.0))
    lit = body.rows(canvas, (0, canvas.width), (0, canvas.height))
    band = lit[96, round((-10 + 1.5 + 12) * 8)]
    assert band == pytest.approx(lit[96, round((-10 + 0.7 + 12) * 8)], rel=0.02)  # flat across the bevel
    assert band > 0.9 > 0.75 > lit[96, round((10 - 1.5 + 12) * 8)]               # toward and away from the window
    assert lit[96, 96] == pytest.approx(1.0)


def test_carved_tops_rise_smoothly_and_fretboards_are_cylinders():
    shape = egg(0, 0, 60, 80)
    lean = form_lean(Form(dome=10.0, reach=40.0), shape)
    c, values = lean.canvas, lean.values
    middle = values[round(-c.origin[1]), round(-c.origin[0])]
    assert np.hypot(*middle) < 0.02                                       # level on top
    left = values[round(-c.origin[1]), round(-40 - c.origin[0])]
    assert left[0] < -0.15                                                # falling away to the left
    steps = np.abs(np.diff(values, axis=1)).max()
    assert steps < 0.06                                                   # no crease, per mm
    board = form_lean(Form(radius=254.0, axis=5.0), box(-20, -200, 30, 200))
    x = board.canvas.origin[0] + (np.arange(board.canvas.width) + 0.5) / board.canvas.px_per_mm
    assert_allclose(board.values[10, :, 0], (x - 5.0) / 254.0, atol=1e-6)
    assert form_lean(Form(), shape) is None


def test_a_belly_cut_shades_the_side_it_is_on_only(plank):
    path, mm, size = plank
    cut = Contour(shape=egg(-40, 0, 45, 60), depth=14.0, side="back")
    part = replace(make_part(egg(0, 0, 40, 50), (75.0, 60.0), finish=PALE, roundover=0.0), form=Form(contours=(cut,)))
    flat = replace(part, form=Form())
    for side, same in (("front", True), ("back", False)):
        a, b = (picture(make_scene(path, mm, size, parts=(p,)), side=side, scale=2.0).pixels.astype(int) for p in (part, flat))
        assert (np.abs(a - b).max() == 0) == same
        if not same:
            assert np.abs(a - b).max() > 8


def test_lying_the_light_still_comes_from_the_upper_left(plank):
    """The instrument is turned on the bench, not the room: a square on its own is lit alike."""
    path, mm, size = plank
    part = make_part(box(-30, -30, 30, 30), (75.0, 60.0), finish=PALE, roundover=6.0)
    square = make_scene(path, mm, size, parts=(part,))
    upright, lying = (view_picture(square, View(lying=flag), scale=2.0).pixels.astype(int) for flag in (False, True))
    assert upright.shape == lying.shape
    assert np.abs(upright - lying).mean() < 0.8 and np.abs(upright - np.rot90(upright)).mean() > 1.5


def test_views_show_both_sides_at_one_scale_and_a_part_as_in_the_whole(scene):
    both = view_picture(scene, View(side="both"), scale=2.0).pixels
    front = view_picture(scene, View(), scale=2.0).pixels
    assert both.shape[0] == front.shape[0] and both.shape[1] > 2 * front.shape[1]
    flat = view_picture(scene, View(side="both", lying=True), scale=2.0).pixels
    assert flat.shape[:2] == both.shape[1::-1]
    near = view_picture(scene, View(part="knob"), scale=2.0)
    whole = picture(scene, scale=2.0)
    dx, dy = ((near.canvas.origin[k] - whole.canvas.origin[k]) * 2.0 for k in (0, 1))
    x, y = round(dx), round(dy)
    part = whole.pixels[y:y + near.pixels.shape[0], x:x + near.pixels.shape[1]].astype(int)
    if abs(dx - x) < 1e-6 and abs(dy - y) < 1e-6:  # the same pixels: the same light, whatever is shown
        assert np.abs(part - near.pixels).mean() < 1.0
    assert near.pixels.shape[0] == round((12 + 28) * 2)


def test_views_take_another_ground_and_a_bar_of_the_right_length(scene):
    dark = view_picture(scene, View(ground=(20.0, 0.0, 0.0)), scale=2.0).pixels
    assert dark[:4, :4].max() < 70
    plain, barred = (view_picture(scene, View(bar=flag), scale=6.0).pixels.astype(int) for flag in (False, True))
    rows, columns = np.nonzero(np.abs(plain - barred).sum(axis=2) > 60)
    lowest = columns[rows == rows.max()]
    run = int(np.argmax(np.diff(lowest, append=lowest[-1] + 9) > 1)) + 1  # the bar, and not the letters beside it
    assert run == 20 * 6


@pytest.mark.parametrize(("view", "words"), [
    (View(part="bridge", side="back"), 'The part "bridge" is not seen from the back. Choose the other side.'),
    (View(part="brigde"), 'There is no part "brigde". Did you mean "bridge"?'),
])
def test_a_part_that_is_not_there_is_told(scene, view, words):
    with pytest.raises(MockupError, match=words.replace("?", r"\?")):
        view_picture(scene, view, scale=1.0)


def test_purfling_lies_in_its_order_inside_the_binding(plank):
    """Walking in from the edge one meets the binding, each line, and the wood, each as wide as it says."""
    path, mm, size = plank
    white, black, red = (92.0, 0.0, 2.0), (12.0, 0.0, 0.0), (40.0, 50.0, 30.0)
    bound = Binding(width=3.0, lab=white, line=0.0, purfling=((1.0, black), (2.0, red), (1.0, black)))
    scene = make_scene(path, mm, size, shape=plate((0.0, 0.0), (70.0, 60.0), 6.0), binding=bound, roundover=0.0)
    layers = scene_layers(seen_pieces(scene, "front"))
    assert [layer.colour for layer in reversed(layers)] in ([white, black, red, black, None], [None, black, red, black, white])
    at = 10.0
    made = picture(scene, scale=at)
    row = made.pixels[made.pixels.shape[0] // 2].astype(int)
    left = round((-35.0 - made.canvas.origin[0]) * at)
    shown = [row[left + round(mm_in * at)] for mm_in in (1.5, 3.5, 5.0, 6.5)]
    for pixel, lab in zip(shown, (white, black, red, black), strict=True):
        assert np.abs(pixel - 255 * encode_srgb(np.clip(lab_to_linear(np.array(lab)), 0, 1))).max() < 26
    changes = [left + k for k in range(0, 80) if np.abs(row[left + k + 1] - row[left + k]).sum() > 60]
    for wanted in (3.0, 4.0, 6.0, 7.0):
        assert min(abs(c + 0.5 - left - wanted * at) for c in changes) <= 1.5


@pytest.mark.parametrize("side", ["front", "back"])
def test_an_edge_that_goes_on_under_another_part_is_not_seen_there(plank, side):
    """No binding and no roundover across the end of a fretboard at the nut, or of a heel at the body."""
    path, mm, size = plank
    white = (92.0, 0.0, 2.0)
    cut, whole = box(-20, 0, 20, 60), box(-20, -14, 20, 60)
    bound = Binding(width=2.0, lab=white, line=0.0, purfling=())
    for binding in (bound, None):
        scene = make_scene(path, mm, size, shape=cut, binding=binding, roundover=4.0, finish=replace(PALE, sheen=60.0))
        ended = replace(scene.parts[0], edged=whole)
        goes_on = replace(scene, parts=(ended,), order=(ended,))
        if binding is not None:
            ring = next(layer.region for layer in scene_layers(seen_pieces(goes_on, side)) if layer.colour == white)
            assert contains(ring, (-19.0, 1.0)) and contains(ring, (19.0, 30.0)) and contains(ring, (0.0, 59.0))
            assert not contains(ring, (0.0, 1.0))
            assert sum(layer.region.area for layer in scene_layers(seen_pieces(goes_on, side))) == pytest.approx(cut.area, abs=1e-6)
        rows = {}
        for name, one in (("ends", scene), ("goes on", goes_on)):
            made = picture(one, side=side, scale=5.0)
            x, y = (round(-made.canvas.origin[k] * 5.0) for k in (0, 1))
            # The end against the middle: some of the light changes slowly along the part.
            end, middle = (made.pixels[y + a:y + b, x - 40:x + 40].astype(float).mean(axis=(1, 2)) for a, b in ((2, 18), (100, 101)))
            rows[name] = np.abs(end - middle).max()
        if binding is None:
            assert rows["goes on"] < 4.0 < rows["ends"] / 2


def test_a_cavity_is_dark_and_the_wall_toward_the_light_shades_its_floor(scene):
    hole = fitting(plate((0.0, 15.0), (30.0, 24.0), 3.0), name="hole", side="back", height=0.0, below=25.0, material="bone")
    body, neck, *_ = scene.order
    made = picture(replace(scene, order=(body, neck, hole)), side="back", scale=3.0)

    def at(x: float, y: float) -> float:
        ox, oy = made.canvas.origin
        return made.pixels[int((y - oy) * 3), int((x - ox) * 3)].astype(float).mean()

    # The light comes from up on the left: the floor is darkest there, and darker than the same bone in the open all over.
    assert at(-13.0, 5.0) < at(0.0, 15.0) - 6 and at(-13.0, 5.0) < at(12.0, 24.0) - 12
    lid = picture(replace(scene, order=(body, neck, replace(hole, height=0.0, below=-1.0))), side="back", scale=3.0)
    x, y = int((0 - made.canvas.origin[0]) * 3), int((15 - made.canvas.origin[1]) * 3)
    assert made.pixels[y, x].mean() < lid.pixels[y, x].mean()


def test_boards_that_are_not_seen_are_not_read(scene, tmp_path):
    """A hidden part's photo may be away: only its size was needed."""
    body, neck, *_ = scene.order
    lid = replace(body, name="lid", height=body.height + 3.0, side="front")
    boards = dict(scene.boards) | {"hidden": replace(scene.boards[body.board], name="hidden", path=tmp_path / "away.png")}
    hidden = replace(body, board="hidden")
    made = picture(replace(scene, boards=boards, parts=(hidden, lid), order=(hidden, lid)), scale=2.0)
    alone = picture(replace(scene, parts=(body, lid), order=(body, lid)), scale=2.0)
    assert_array_equal(made.pixels, alone.pixels)


def test_a_crop_that_no_edge_runs_through_is_part_of_the_whole(scene):
    """Within a carved face: there is no rim to light."""
    body, *_ = scene.order
    carved = replace(body, form=Form(dome=8.0, reach=30.0))
    scene = replace(scene, parts=(carved,), order=(carved,))
    whole = picture(scene, scale=2.0)
    x, y = 100, 120  # on the wood: the ground's own fade is that of the frame
    ox, oy = whole.canvas.origin
    crop = Canvas((ox + x / 2, oy + y / 2), 2.0, (24, 20))
    far = np.abs(picture(scene, scale=2.0, canvas=crop).pixels.astype(int) - whole.pixels[y:y + 20, x:x + 24])
    assert far.mean() < 1.5 and far.max() <= 8  # dithered from another corner
    middle = Canvas((-4.0, -4.0), 2.0, (16, 16))
    assert picture(scene, scale=2.0, canvas=middle).pixels.min() > 60


def test_a_carved_top_has_no_ridge_and_no_end_of_its_slope():
    """Neither along the middle of a horn nor where the rise ends: how fast the lean changes stays of one size there."""
    horn = many([egg(0, 0, 60, 80), strip([(0.0, -60.0), (-40.0, -150.0)], 44.0, round_ends=True)])
    lean = form_lean(Form(dome=11.0, reach=50.0), horn)
    c = lean.canvas
    for (x0, y0), (x1, y1) in (((-50.0, -95.0), (-6.0, -115.0)), ((-58.0, 10.0), (58.0, 10.0))):
        t = np.linspace(0.08, 0.92, 200)[:, None]
        at = np.array([[x0, y0]]) * (1 - t) + np.array([[x1, y1]]) * t
        i, j = ((at[:, k] - c.origin[k]).astype(int) for k in (1, 0))
        bend = np.abs(np.diff(lean.values[i, j], axis=0)).max(axis=1)
        assert bend.max() < 0.05


def test_a_thin_rim_shows_one_line_of_light_and_not_dashes():
    """Along an edge that runs a little askew to the pixels the light is the same everywhere."""
    board = outline([(-150.0, -10.0), (150.0, -13.0), (150.0, 10.0), (-150.0, 10.0)])
    canvas = Canvas.around((-155, -20, 155, 20), 2.2)
    for metal, small in ((False, False), (True, True)):
        body, surface = part_lighting(board, Edge(roundover=0.8), Form(), 80.0, canvas, (0, 0, *canvas.size), (0.0, 0.0), metal=metal, small=small)
        lit = body.rows(canvas, (0, canvas.width), (0, canvas.height)) * (1 if metal else 0.2)
        if surface is not None:
            lit = lit + surface.rows(canvas, (0, canvas.width), (0, canvas.height))
        cover = coverage(board, origin=canvas.origin, px_per_mm=2.2, size=canvas.size)
        inside = round(-7 * 2.2 - canvas.origin[1] * 2.2)
        excess = ((lit - lit[inside]) * cover)[:inside, 40:-40].sum(axis=0)
        dashes = excess - cv2.blur(excess[None], (41, 1), borderType=cv2.BORDER_REFLECT)[0]  # 41 pixels: longer than any dash
        assert dashes.std() < 0.02, metal


def test_a_rim_begins_where_the_face_ends():
    """No line of dashes there: along a slanted edge no light jumps up and down, of metal, a film or plastic."""
    long = outline([(-40.0, -6.0), (40.0, 10.0), (40.0, 22.0), (-40.0, 6.0)])
    canvas = Canvas.around((-45, -20, 45, 30), 10.0)
    for metal, gloss, roundover, most in ((True, 80.0, 1.5, 0.01), (False, 60.0, 0.6, 0.003), (False, 86.0, 2.0, 0.001)):
        body, surface = part_lighting(long, Edge(roundover=roundover), Form(), gloss, canvas, canvas.window(long.bounds), (0.0, -200.0), metal=metal, small=True)
        light = (body if metal else surface).rows(canvas, (0, canvas.width), (0, canvas.height))
        x = np.linspace(-20.0, 20.0, 1601)
        for inner in np.arange(0.7 * roundover, 1.3 * roundover, 0.02):
            for edge, side in ((-6.0, 1), (6.0, -1)):
                y = edge + (x + 40.0) * 0.2 + side * inner * np.hypot(1, 0.2)
                u, v = ((p - o) * 10.0 - 0.5 for p, o in zip((x, y), canvas.origin, strict=True))
                line = cv2.remap(light, u[None].astype(np.float32), v[None].astype(np.float32), cv2.INTER_LINEAR)[0]
                rest = line - cv2.GaussianBlur(line[None], (0, 0), 60)[0]
                assert rest[200:-200].std() < most, (metal, inner, side)


def test_flat_plates_show_no_corner_of_a_window():
    """From end to end of a plate the light changes slowly, wherever on the instrument it lies."""
    sheet = plate((0.0, 0.0), (90.0, 60.0), 10.0)
    for middle in ((0.0, 0.0), (300.0, 0.0), (0.0, 300.0), (-300.0, -100.0)):
        canvas = Canvas.around((-50, -35, 50, 35), 2.0)
        body, _ = part_lighting(sheet, Edge(roundover=0.8), Form(), 82.0, canvas, (0, 0, *canvas.size), middle, metal=True, small=True)
        face = body.rows(canvas, (0, canvas.width), (0, canvas.height))[24:-24, 24:-24]
        assert face.max() < 1.3 and np.abs(np.diff(face, axis=1)).max() * 2 < 0.03


def test_gloss_shows_on_a_flat_face_and_satin_does_not():
    """The tubes lie across a body in a glossy film, and are one wide sheen in a satin one."""
    sheet = plate((0.0, 120.0), (260.0, 360.0), 60.0)
    canvas = Canvas.around((-140, -70, 140, 310), 1.0)
    spread = {}
    for gloss in (12.0, 28.0, 80.0):
        _, surface = part_lighting(sheet, Edge(roundover=3.0), Form(), gloss, canvas, (0, 0, *canvas.size), (0.0, 0.0))
        face = surface.rows(canvas, (0, canvas.width), (0, canvas.height))[60:-60, 60:-60]
        spread[gloss] = float(np.ptp(face)), float(face.mean())
    assert spread[80.0][0] > 0.04 and 0.02 > spread[28.0][0] > spread[12.0][0]
    assert spread[80.0][1] < 0.05  # a veil would lie over all of it


def test_buttons_hide_their_shafts_from_either_side(scene):
    wide, rod = fitting(circle((0.0, 0.0), 9.0), name="knob.2", height=60.0), fitting(strip([(-8.0, 0.0), (8.0, 0.0)], 2.0), name="knob.1", height=60.0)
    wide, rod = (replace(f, part="knob", side="both") for f in (wide, rod))
    body, neck, *_ = scene.order
    for side in ("front", "back"):
        names = [p.name for p in seen_pieces(replace(scene, order=(body, neck, rod, wide)), side) if p.name.startswith("knob")]
        assert names == ["knob.1", "knob.2"]
