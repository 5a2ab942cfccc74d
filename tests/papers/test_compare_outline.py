"""The approved outline laid on photos of finished work: simulated photographs of known place and colour."""

import json

import cv2
import numpy as np
import pytest
from conftest_papers import OPTIONS, make_folder
from finished_photo import finished, take

from mockup.board.calibrate import Wanted
from mockup.board.sheet import reference_sheet
from mockup.board.survey import survey_bench
from mockup.colour.difference import ciede2000
from mockup.colour.spaces import lab_to_linear, linear_to_lab
from mockup.errors import MockupError
from mockup.files.photo import photo_from_bytes
from mockup.outline.coverage import coverage
from mockup.papers.approval import approve
from mockup.papers.compare import compare, plain_rows, write_comparison
from mockup.papers.comparison_page import write_squared
from mockup.papers.laid import EDGE, plain_region
from mockup.papers.outline_fit import fit_outline, lay
from mockup.papers.record import comparisons_intact, read_record
from mockup.scene.load import load_scene

TODAY = "2026-12-20"


@pytest.fixture(scope="module")
def gannet(tmp_path_factory):
    """A body alone with a burst: scene, record, its picture and cover."""
    folder = tmp_path_factory.mktemp("gannet")
    scene = load_scene("gannet")
    _, record = approve(scene, "burst", folder, today=TODAY, px_width=1200)
    chosen = scene.with_variant("burst")
    return chosen, record, *finished(chosen)


@pytest.fixture(scope="module")
def tern(tmp_path_factory):
    """A whole instrument, with hardware and strings."""
    folder = tmp_path_factory.mktemp("tern")
    scene = load_scene("tern")
    _, record = approve(scene, "amber", folder, today=TODAY, px_width=1200)
    chosen = scene.with_variant("amber")
    return chosen, record, *finished(chosen, scale=1.5)


# tilt, fall of light, blur, noise, turn on the bench, bench (Lab)
PHOTOS = [(20, 1.6, 1.2, 1.5, 37, (80, 1, 3)),
          pytest.param(25, 1.4, 1.0, 2.0, -80, (20, 0, 0), marks=pytest.mark.slow),
          pytest.param(5, 1.1, 0.6, 0.5, 0, (30, 2, 4), marks=pytest.mark.slow),
          pytest.param(14, 2.0, 0.9, 1.0, 184, (60, -3, -8), marks=pytest.mark.slow)]


@pytest.mark.parametrize("tilt, fall, blur, noise, turn, bench", PHOTOS)
def test_the_outline_is_found_and_the_colour_read(gannet, tmp_path, tilt, fall, blur, noise, turn, bench):
    """However it is turned and lit, the outline lies within the margin that is left out at the edge, and the colour is that of the plain wood."""
    scene, record, light, cover, origin = gannet
    data, lies = take(light, cover, turn=turn, bench=bench, tilt=tilt, fall=fall, blur=blur, noise=noise)
    photo = tmp_path / "finished.jpg"
    photo.write_bytes(data)
    (c,) = compare(record, photo, today=TODAY).parts
    plane = survey_bench(photo_from_bytes(data, "x.jpg").pixels, reference_sheet()).plane
    ring = scene.parts[0].shape.rings[0]
    there = lay(c.laid.matrix, ring)
    apart = np.linalg.norm(plane.to_image(there) - lies(ring - origin), axis=1) / plane.px_per_mm(there)
    assert apart.max() < EDGE
    assert c.part == "body" and c.measured_mm2 > 0.72 * scene.parts[0].shape.area
    region = coverage(plain_region(scene, "front", "body"), origin=origin, px_per_mm=2.0, size=light.shape[1::-1])
    truth = linear_to_lab(light[region > 0.99].mean(axis=0, dtype=np.float64))
    assert float(ciede2000(truth, np.array(c.measured))) < min(max(3.0, c.photo_error), 6.0)
    assert c.verdict != "outside"


@pytest.mark.slow
def test_each_part_of_a_whole_instrument(tern, tmp_path):
    """Hardware and strings have no say: the top reads as its wood does, not as top and pickups do."""
    scene, record, light, cover, origin = tern
    data, _ = take(light, cover, scale=1.5, turn=3, bench=(75, 2, 6), size_px=(2400, 1800))
    photo = tmp_path / "finished.jpg"
    photo.write_bytes(data)
    made = compare(record, photo, today=TODAY)
    parts = {c.part: c for c in made.parts}
    assert {"top", "head-face"} <= set(parts) and any("too little plain wood" in n for n in made.notes)
    region = coverage(plain_region(scene, "front", "top"), origin=origin, px_per_mm=1.5, size=light.shape[1::-1]) > 0.99
    truth = linear_to_lab(light[region].mean(axis=0, dtype=np.float64))
    assert float(ciede2000(truth, np.array(parts["top"].measured))) < 3.0
    # With its hardware it would read another colour; and nothing of that hardware is in the region.
    for fitting in scene.fittings:
        if fitting.side != "back":
            hardware = coverage(fitting.shape, origin=origin, px_per_mm=1.5, size=light.shape[1::-1])
            assert float(hardware[region].max()) == 0.0, fitting.name
    # Rows for a table: every Lab in its own columns, lengths twice.
    row = plain_rows(made)[0]
    assert {"approved_L", "measured_b", "delta_e00", "verdict", "outline_edge_off_mm", "outline_edge_off_in", "measured_mm2", "measured_in2"} <= set(row)
    report = tmp_path / "page.pdf"
    kept = tmp_path / record.name
    kept.write_bytes(record.read_bytes())
    write_comparison(kept, made, report=report)
    assert report.with_suffix(".csv").read_text().splitlines()[0].startswith("part,title,approved_L")
    after = read_record(kept)
    assert comparisons_intact(after) and after["comparisons"][0]["parts"][0]["outline"]["edge_share"] > 0.7


@pytest.mark.slow
def test_a_body_alone_is_found_in_an_approved_instrument(tern, tmp_path):
    """Before the neck goes in: the outline of body and top is tried by itself."""
    scene, record, *_ = tern
    light, cover, _ = finished(scene, ("body", "top"), scale=1.5)
    data, _ = take(light, cover, scale=1.5, turn=-8, bench=(25, 0, 0))
    photo = tmp_path / "body.jpg"
    photo.write_bytes(data)
    (c,) = compare(record, photo, {"top": None}, today=TODAY).parts
    assert c.part == "top" and c.verdict != "outside" and c.laid.on > 0.8


def refused(record, photo, parts=None):
    before = record.read_bytes()
    with pytest.raises(MockupError) as told:
        compare(record, photo, parts, today=TODAY)
    assert record.read_bytes() == before and len(str(told.value).splitlines()) == 1
    return str(told.value)


@pytest.mark.parametrize("what", ["plank", pytest.param("body", marks=pytest.mark.slow)])
def test_another_outline_is_not_taken_for_the_approved_one(gannet, tmp_path, what):
    """A plain board, or a different body, on the bench: a rectangle is asked for."""
    _, record, *_ = gannet
    if what == "body":
        light, cover, _ = finished(load_scene("dunlin").with_variant("sea-green"), ("body", "top"), scale=1.5)
    else:
        light, cover = np.full((300, 500, 3), lab_to_linear(np.array([62.0, 14, 38])), np.float32), np.ones((300, 500), np.float32)
    data, _ = take(light, cover, scale=1.5, turn=10, bench=(30, 2, 4))
    photo = tmp_path / "other.jpg"
    photo.write_bytes(data)
    said = refused(record, photo)
    assert said.startswith("other.jpg: The approved outline does not lie clearly on what this photo shows. ") and "--squared" in said
    # The named rectangle is what is left: mm are read from the squared photo.
    write_squared(tmp_path / "squared.png", photo, Wanted())
    assert (tmp_path / "squared.png").stat().st_size > 10_000


def test_a_bench_of_the_wood_s_own_colour_is_said_not_guessed(gannet, tmp_path):
    """Where no edge shows there is no fit."""
    scene, record, light, cover, _ = gannet
    lab = np.array([55.0, 15.0, 35.0])
    even = np.broadcast_to(lab_to_linear(lab).astype(np.float32), light.shape)
    data, _ = take(even, cover, turn=4, bench=tuple(lab), rough=0.02)
    photo = tmp_path / "same.jpg"
    photo.write_bytes(data)
    assert "does not lie clearly" in refused(record, photo)


def test_a_scene_that_changed_since_is_not_laid_on(tmp_path):
    """The outline of today would be held against the colours of then."""
    plover = make_folder(tmp_path / "plover", OPTIONS[:2])
    scene = load_scene(plover)
    _, record = approve(scene, "amber", tmp_path / "out", today=TODAY, px_width=1200)
    light, cover, _ = finished(scene.with_variant("amber"), scale=4.0)
    data, _ = take(light, cover, scale=4.0, turn=5)
    photo = tmp_path / "finished.jpg"
    photo.write_bytes(data)
    assert "body" in {c.part for c in compare(record, photo, today=TODAY).parts}
    drawing = plover.parent / "plover.svg"
    drawing.write_text(drawing.read_text().replace("M 60 10", "M 60 12"))
    said = refused(record, photo)
    assert said.startswith("finished.jpg: The outline cannot be laid on the photo: The scene has changed since it was approved. Name where it lies")
    drawing.unlink()
    assert "cannot be laid on the photo" in refused(record, photo)
    # Where it is named, it is measured all the same.
    made = compare(record, photo, {"body": (400, 300, 60, 40)}, today=TODAY)
    assert json.dumps(made.record["comparisons"][-1]["parts"][0]["area_mm"]) == "[400, 300, 60, 40]"


def test_the_fit_by_itself():
    """A drawn shape on noise: place, turn and scale come back; half covered, too; and nothing is not found."""
    rng = np.random.default_rng(4)
    a = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    ring = np.column_stack([(120 + 30 * np.cos(3 * a)) * np.cos(a), (90 + 18 * np.sin(2 * a)) * np.sin(a)])
    angle, at, grow = np.radians(52), np.array([310.0, 240.0]), 1.02
    c, s = grow * np.cos(angle), grow * np.sin(angle)
    true = np.array([[c, -s, at[0]], [s, c, at[1]]])
    lab = np.zeros((480, 620, 3), np.float32) + np.float32([40, 3, 8])
    shape = np.zeros(lab.shape[:2], np.uint8)
    cv2.fillPoly(shape, [np.rint((lay(true, ring) - 0.5) * 256).astype(np.int32)], 1, shift=8)
    lab[shape == 1] = (58, 14, 30)
    lab += rng.normal(0, 3, lab.shape).astype(np.float32)
    for covered in (0, 240):
        hidden = np.zeros(shape.shape, bool)
        hidden[:covered] = True
        fit = fit_outline(lab, hidden, 1.0, [ring])
        assert fit is not None and fit.good and fit.turn == pytest.approx(52, abs=0.5) and fit.scale == pytest.approx(grow, abs=0.01)
        assert np.abs(lay(fit.matrix, ring) - lay(true, ring)).max() < (1.0 if not covered else 2.5)
    assert not fit_outline(rng.normal(50, 3, lab.shape).astype(np.float32), np.zeros(shape.shape, bool), 1.0, [ring]).good
