"""The picture: deterministic, clean at the edge, and honest about the board's colour."""

from __future__ import annotations

import os
import threading
from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import decode_srgb, lab_to_linear, linear_to_lab, srgb8_to_lab
from mockup.errors import MockupError
from mockup.finish.steps import Burst, Coat, Finish, Paint, SandBack, StainStep
from mockup.render.canvas import MAX_PIXELS, Canvas
from mockup.render.colours import colours
from mockup.render.kept import Kept
from mockup.render.layers import scene_layers
from mockup.outline.distance import edge_field
from mockup.render.picture import picture, picture_canvas
from mockup.scene.values import Binding
from invented import AMBER, BLACK, VARNISH, box, egg, make_part, make_scene, save

MATT = Finish(sheen=2.0)


def test_same_inputs_same_pixels(plank, amber_finish):
    path, mm, size = plank
    scene = make_scene(path, mm, size, finish=amber_finish, binding=Binding(width=2.0, lab=(86.0, 1.5, 12.0), line=0.5))
    first, second = (picture(scene, scale=3.1).pixels for _ in range(2))
    assert_array_equal(first, second)


def test_kept_layers_change_nothing(plank, amber_finish):
    """A picture made after other finishes on the same Kept is the one made alone."""
    path, mm, size = plank
    kept = Kept()
    other = Finish(steps=(StainStep(stain=BLACK), SandBack(amount=0.5), Burst(stain=BLACK, width=20.0), Coat(film=VARNISH)), sheen=15.0)
    for finish in (MATT, other):
        picture(make_scene(path, mm, size, finish=finish), scale=2.3, kept=kept)
    again = picture(make_scene(path, mm, size, finish=amber_finish), scale=2.3, kept=kept)
    assert_array_equal(again.pixels, picture(make_scene(path, mm, size, finish=amber_finish), scale=2.3).pixels)


def test_a_changed_board_file_is_read_again(tmp_path):
    path = save(tmp_path / "board.png", np.full((200, 200, 3), 180, np.uint8))
    scene = make_scene(path, 0.5, (200, 200), shape=egg(0, 0, 30, 30), finish=MATT)
    kept = Kept()
    before = picture(scene, scale=1.0, kept=kept).pixels
    save(path, np.full((200, 200, 3), 90, np.uint8))
    assert (picture(scene, scale=1.0, kept=kept).pixels != before).any()


def test_bare_flat_wood_shows_as_it_is(tmp_path):
    """In the middle of a matt face, the picture is the board's colour: no tone curve, no automatic contrast."""
    path = save(tmp_path / "board.png", np.full((400, 400, 3), (201, 164, 120), np.uint8))
    scene = make_scene(path, 0.25, (400, 400), shape=egg(0, 0, 35, 35), finish=Finish(sheen=0.5))
    shown = picture(scene, scale=2.0)
    h, w = shown.pixels.shape[:2]
    middle = decode_srgb(shown.pixels[h // 2 - 10:h // 2 + 10, w // 2 - 10:w // 2 + 10] / 255.0).mean(axis=(0, 1))
    # The surface adds its small veil; the body's own colour is exact.
    veil = middle - decode_srgb(np.array([201, 164, 120]) / 255.0)
    assert (veil >= -1e-4).all() and (veil < 0.05).all()
    assert np.ptp(veil) < 2e-3


def test_coincident_edges_leave_no_fringe(plank):
    """A black body under a pale top of the same outline is not seen at the edge."""
    path, mm, size = plank
    outline = egg(0, 0, 40, 50)
    black = Finish(steps=(Paint(lab=(5.0, 0.0, 0.0)),), sheen=2.0)
    body = make_part(outline, (75.0, 60.0), name="body", finish=black, height=40.0)
    top = make_part(outline, (75.0, 60.0), name="top", finish=MATT, height=46.0, roundover=0.0)
    both = picture(make_scene(path, mm, size, parts=(body, top)), scale=2.0)
    alone = picture(make_scene(path, mm, size, parts=(replace(top, height=46.0),)), scale=2.0)
    assert np.abs(both.pixels.astype(int) - alone.pixels).max() <= 2
    assert len(scene_layers((body, top))) == 1


def test_abutting_parts_leave_no_seam(plank):
    """Two halves of one colour side by side look like one part: no ground shines through where they meet."""
    path, mm, size = plank
    paint = Finish(steps=(Paint(lab=(30.0, 10.0, 10.0)),), sheen=2.0)
    cut = 3.337  # inside a pixel at any scale
    halves = tuple(make_part(b, (75.0, 60.0), name=n, finish=paint, roundover=0.0)
                   for n, b in (("a", box(-30, -30, cut, 30)), ("b", box(cut, -30, 30, 30))))
    one = make_part(box(-30, -30, 30, 30), (75.0, 60.0), finish=paint, roundover=0.0)
    got = picture(make_scene(path, mm, size, parts=halves), scale=1.7).pixels.astype(int)
    whole = picture(make_scene(path, mm, size, parts=(one,)), scale=1.7).pixels.astype(int)
    apart = np.abs(got - whole)
    seam = round((cut + 30 + 28) * 1.7)
    assert apart[:, seam - 3:seam + 4].max() <= 2  # the shadow is drawn at one sample per mm
    assert apart.max() <= 4  # elsewhere the halves lie on other wood, whose open pores show in the paint


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0, 5.3])
def test_the_edge_is_a_clean_step(tmp_path, scale):
    """From ground to part the tone never overshoots: no halo at any scale."""
    path = save(tmp_path / "board.png", np.full((300, 300, 3), 120, np.uint8))
    scene = make_scene(path, 0.5, (300, 300), shape=egg(0, 0, 40, 40), finish=Finish(sheen=3.0), roundover=5.0)
    shown = picture(scene, scale=scale).pixels[..., 1].astype(int)
    h, w = shown.shape
    row = shown[h // 2]
    ground, part = int(row[: max(2, w // 12)].mean()), int(row[w // 2])
    assert part < ground
    assert row[: w // 2].max() <= ground + 3
    assert row[: w // 2].min() >= part - 60  # contact shadow and rim, no black line


def test_left_hand_mirrors_the_layout_and_never_the_wood(plank):
    path, mm, size = plank
    shape = egg(0, 0, 40, 50)
    right = picture(make_scene(path, mm, size, shape=shape, finish=MATT, roundover=0.0), scale=4.0)
    left = picture(make_scene(path, mm, size, shape=shape.mirrored(0.0), finish=MATT, roundover=0.0), scale=4.0)

    def middle(p):
        h, w = p.pixels.shape[:2]
        x, y = (round(-o * 4) for o in p.canvas.origin)
        return p.pixels[y - 60:y + 60, x - 60:x + 60, 1].astype(np.float64)

    # Around the anchor of the unmirrored part, the board's own grain; around the mirrored part's, the same grain.
    dx = (shape.bounds[0] + shape.bounds[2]) / 2
    straight = cv2.matchTemplate(_gray(left), _gray(right)[120:260, 160:300], cv2.TM_CCOEFF_NORMED).max()
    flipped = cv2.matchTemplate(_gray(left), _gray(right)[120:260, 160:300][:, ::-1].copy(), cv2.TM_CCOEFF_NORMED).max()
    assert straight > 0.93 > flipped + 0.3
    assert abs(dx) > 0.1 and middle(right).std() > 1  # the shape is not symmetric, the wood not flat


def _gray(p) -> np.ndarray:
    return p.pixels[..., 1].astype(np.float32)


def test_from_the_back_the_layout_is_mirrored(plank):
    path, mm, size = plank
    scene = make_scene(path, mm, size, finish=Finish(steps=(Paint(lab=(30.0, 0.0, 0.0)),), sheen=2.0), roundover=0.0)
    front, back = (picture(scene, side=s, scale=2.0) for s in ("front", "back"))
    dark = [(p.pixels[..., 1] < 100).astype(float) for p in (front, back)]
    assert np.abs(dark[0] - dark[1][:, ::-1]).mean() < 0.004
    assert np.abs(dark[0] - dark[1]).mean() > 0.01
    assert any("mirrored" in note for note in back.notes)


def test_binding_has_its_width_and_colour(plank):
    path, mm, size = plank
    scene = make_scene(path, mm, size, shape=box(-30, -40, 30, 40), finish=Finish(steps=(Paint(lab=(20.0, 0.0, 0.0)),), sheen=2.0),
                       binding=Binding(width=3.0, lab=(86.0, 1.5, 12.0), line=0.0), roundover=0.0)
    shown = picture(scene, scale=10.0)
    x0, y = round((-30 - shown.canvas.origin[0]) * 10), shown.pixels.shape[0] // 2
    row = srgb8_to_lab(shown.pixels[y, x0 - 2:x0 + 45])
    light = row[:, 0] > 60
    assert abs(light[2:].sum() - 30) <= 1
    assert ciede2000(row[15], np.array([86.0, 1.5, 12.0])) < 3


def test_a_burst_deepens_toward_the_edge_and_follows_it(plank):
    path, mm, size = plank
    burst = Finish(steps=(Burst(stain=BLACK, strength=1.0, width=25.0, edge=4.0),), sheen=2.0)
    shape = egg(0, 0, 42, 52)
    lit = picture(make_scene(path, mm, size, shape=shape, finish=burst, roundover=0.0), scale=2.0).pixels.astype(float)
    bare = picture(make_scene(path, mm, size, shape=shape, finish=MATT, roundover=0.0), scale=2.0).pixels.astype(float)
    h, w = lit.shape[:2]
    canvas = picture_canvas(make_scene(path, mm, size, shape=shape), side="front", scale=2.0)
    distance, _ = edge_field(shape, origin=canvas.origin, px_per_mm=2.0, size=canvas.size, reach=30)
    ratio = lit.mean(axis=2) / bare.mean(axis=2)
    means = [ratio[(distance > d) & (distance < d + 1)].mean() for d in (3.0, 8.0, 14.0, 20.0)]
    assert means[0] < 0.6 and means == sorted(means)
    assert ratio[distance > 28].min() > 0.99
    assert ratio[(distance > 3) & (distance < 4)].std() < 0.1  # as deep all around


@pytest.mark.parametrize("count", [1, 3, 64])
def test_any_number_of_cores_gives_the_same_pixels(plank, amber_finish, monkeypatch, count):
    path, mm, size = plank
    scene = make_scene(path, mm, size, finish=amber_finish, binding=Binding(width=2.0, lab=(86.0, 1.5, 12.0), line=0.5))
    before = picture(scene, scale=4.0).pixels
    monkeypatch.setattr(os, "cpu_count", lambda: count)
    assert_array_equal(picture(scene, scale=4.0).pixels, before)


def test_a_picture_redrawn_in_part_is_the_one_drawn_anew(plank, amber_finish):
    """On a crop whose frame cuts the part, a sheen more and a colour less: what did not change is taken over, to the bit."""
    path, mm, size = plank
    parts = (make_part(egg(0, 0, 40, 50), (75.0, 60.0), name="body", finish=amber_finish, height=40.0),
             make_part(box(-9.3, -30, 12.1, 31.7), (70.0, 60.0), name="board", finish=MATT, height=44.0, roundover=1.0))
    canvas = Canvas((-50.3, -20.1), 5.0, (333, 261))
    kept = Kept()
    picture(make_scene(path, mm, size, parts=parts), scale=5.0, canvas=canvas, kept=kept)
    for part in (replace(parts[1], finish=amber_finish), replace(parts[1], finish=Finish(steps=(Paint(lab=(30.0, 10.0, 10.0)),), sheen=30.0))):
        scene = make_scene(path, mm, size, parts=(parts[0], part))
        assert_array_equal(picture(scene, scale=5.0, canvas=canvas, kept=kept).pixels, picture(scene, scale=5.0, canvas=canvas).pixels)


@pytest.mark.parametrize("size_px", [(1, 1), (1, 4), (4, 1), (1, 132), (2, 136)])
def test_a_crop_of_a_few_pixels_is_drawn(plank, amber_finish, size_px):
    path, mm, size = plank
    scene = make_scene(path, mm, size, finish=amber_finish, cut="bookmatch", joint=0.0)
    whole = picture(scene, scale=2.0, span=None)
    (x, y), (w, h) = (round((-20 - whole.canvas.origin[0]) * 2), round((-20 - whole.canvas.origin[1]) * 2)), size_px
    crop = Canvas((whole.canvas.origin[0] + x / 2, whole.canvas.origin[1] + y / 2), 2.0, size_px)
    got = picture(scene, scale=2.0, span=None, canvas=crop).pixels.astype(int)
    assert_allclose(got, whole.pixels[y:y + h, x:x + w].astype(int), atol=12)  # pores at the frame have no neighbours


@pytest.mark.parametrize("which", [1, 2])
def test_a_thread_that_cannot_be_started_is_an_error_and_no_endless_wait(plank, monkeypatch, which):
    """The machine has no more threads to give, after the first or before it."""
    path, mm, size = plank
    start, started = threading.Thread.start, []

    def refuse(thread):
        if thread.name.startswith("ThreadPoolExecutor"):
            started.append(thread)
            if len(started) == which:
                raise RuntimeError("can't start new thread")
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", refuse)
    done = []
    drawing = threading.Thread(target=lambda: done.append(_error_of(lambda: picture(make_scene(path, mm, size), scale=1.0))), daemon=True)
    start(drawing)
    drawing.join(20)
    assert done and isinstance(done[0], RuntimeError)


def _error_of(work) -> BaseException | None:
    try:
        work()
    except BaseException as error:
        return error
    return None


def test_a_board_that_is_gone_is_told_and_the_next_picture_is_whole(plank, tmp_path):
    path, mm, size = plank
    kept = Kept()
    with pytest.raises((MockupError, OSError)):
        picture(make_scene(tmp_path / "gone.png", mm, size), scale=1.0, kept=kept)
    after = picture(make_scene(path, mm, size), scale=1.0, kept=kept).pixels
    assert_array_equal(after, picture(make_scene(path, mm, size), scale=1.0).pixels)


def test_a_huge_picture_is_refused_with_the_scale_that_works(plank):
    path, mm, size = plank
    with pytest.raises(MockupError, match=r"Use a scale of at most [\d.]+ pixels per mm"):
        picture(make_scene(path, mm, size), scale=99.0)
    assert MAX_PIXELS == 120_000_000


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), 1e9])
def test_a_senseless_scale_is_refused(plank, scale):
    path, mm, size = plank
    with pytest.raises(MockupError, match="pixels per mm"):
        picture(make_scene(path, mm, size), scale=scale)


def test_transparent_board_is_refused(tmp_path):
    codes = np.full((100, 100, 4), 180, np.uint8)
    codes[:50, :, 3] = 0
    assert cv2.imwrite(str(tmp_path / "b.png"), codes)
    with pytest.raises(MockupError, match=r"boards\.plank: The picture of the board has transparent pixels"):
        picture(make_scene(tmp_path / "b.png", 1.0, (100, 100), shape=egg(0, 0, 20, 20)), scale=1.0)


def test_colours_are_those_of_the_finish_on_a_flat_board(tmp_path):
    """On a board of one colour the target is the engine's own answer, and the picture shows it."""
    from mockup.finish.engine import apply_steps

    code = np.array([204, 170, 125])
    path = save(tmp_path / "board.png", np.full((300, 300, 3), code, np.uint8))
    steps = (StainStep(stain=AMBER, strength=0.5), Coat(film=VARNISH, coats=4))
    scene = make_scene(path, 0.5, (300, 300), shape=egg(0, 0, 35, 35), finish=Finish(steps=steps, sheen=80.0))
    (target,) = colours(scene)
    expected = linear_to_lab(apply_steps(steps, decode_srgb(code / 255.0), np.ones(())))
    assert ciede2000(np.array(target.finished_lab), expected) < 0.05
    assert ciede2000(np.array(target.bare_lab), srgb8_to_lab(code)) < 0.05
    assert target.spread < 0.1
    assert_allclose(target.area_mm2, scene.parts[0].shape.area)

    shown = picture(scene, scale=2.0).pixels
    h, w = shown.shape[:2]
    patch = decode_srgb(shown[h // 2 - 8:h // 2 + 8, w // 2 - 8:w // 2 + 8] / 255.0).mean(axis=(0, 1))
    assert ciede2000(linear_to_lab(patch), np.array(target.finished_lab)) < 1.0  # the surface's veil is on top


def test_colours_do_not_depend_on_sheen(plank, amber_finish):
    """The surface light never enters a colour target."""
    path, mm, size = plank
    gloss, matt = (colours(make_scene(path, mm, size, finish=replace(amber_finish, sheen=s)))[0] for s in (88.0, 3.0))
    assert gloss.finished_lab == matt.finished_lab


def test_more_stain_is_darker_and_the_figure_stays_alive(plank):
    """A dark dye keeps at least half of the bare wood's lightness contrast."""
    path, mm, size = plank

    def middle(finish):
        p = picture(make_scene(path, mm, size, finish=finish, roundover=0.0), scale=4.0).pixels
        h, w = p.shape[:2]
        return srgb8_to_lab(p[h // 2 - 80:h // 2 + 80, w // 2 - 80:w // 2 + 80])[..., 0]

    bare, dyed = middle(MATT), middle(Finish(steps=(StainStep(stain=BLACK),), sheen=2.0))
    assert dyed.mean() < bare.mean() - 20
    assert dyed.std() > bare.std() / 2


def test_real_photograph_through_the_whole_job(tmp_path):
    """scikit-image's coffee photograph (CC0; a varnished table): its colour comes out as it went in."""
    from skimage import data

    codes = data.coffee()[60:380, 480:]  # bare table top
    path = save(tmp_path / "table.png", codes)
    h, w = codes.shape[:2]
    scene = make_scene(path, 0.5, (w, h), shape=box(-20, -60, 20, 60), finish=Finish(sheen=0.5), roundover=0.0)
    (target,) = colours(scene)
    y, x = h // 2, w // 2
    exact = linear_to_lab(decode_srgb(codes[y - 120:y + 120, x - 40:x + 40] / 255.0).mean(axis=(0, 1)))
    assert ciede2000(np.array(target.bare_lab), exact) < 0.3
    assert target.finished_lab == target.bare_lab


def test_ground_is_the_lab_asked_for(plank):
    path, mm, size = plank
    shown = picture(replace(make_scene(path, mm, size, finish=MATT), ground=(62.0, 0.0, 0.0)), scale=1.0).pixels
    corner = decode_srgb(shown[:4, :4] / 255.0).mean(axis=(0, 1))
    assert abs(linear_to_lab(corner)[0] - 62.0) < 1.5
    assert np.ptp(corner) < 0.01
    assert_allclose(lab_to_linear(np.array([62.0, 0, 0])).std(), 0, atol=1e-6)
