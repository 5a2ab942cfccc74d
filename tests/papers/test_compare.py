"""Finished wood in a photo against a record: simulated photographs of known colour."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from mockup.board.calibrate import Wanted
from mockup.colour.difference import ciede2000
from mockup.colour.spaces import lab_to_linear, linear_to_lab
from mockup.errors import MockupError
from mockup.files.photo import read_photo
from mockup.papers.approval import approve
from mockup.papers.compare import compare, judged, sentences, write_comparison
from mockup.papers.contrast import figure_contrast
from mockup.papers.finisher import advice_words, contrast_words, direction_words
from mockup.papers.record import comparisons_intact, fingerprint, read_record
from mockup.papers.verify import verify
from mockup.scene.load import load_scene

TODAY = "2026-12-20"
SIZE = (300.0, 130.0)


@pytest.fixture(scope="module")
def camera():
    """The camera of the tests of boards: it knows what it photographs."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "board"))
    import simulator

    return simulator


@pytest.fixture(scope="module")
def approved(tmp_path_factory):
    """A scene and the record of its approval."""
    from conftest_papers import OPTIONS, make_folder

    home = tmp_path_factory.mktemp("compare")
    plover = make_folder(home / "plover", OPTIONS[:2])
    _, record = approve(load_scene(plover), "amber", home, today=TODAY, px_width=1200)
    return plover, record


@pytest.fixture(scope="module")
def photo_of(camera, tmp_path_factory):
    """photo_of(lab, figure): a photo of a figured board whose mean is that Lab, with sheet and grey card; and the truth."""
    made = {}

    def take(lab, figure=1.0, *, seed=50, grey=True, pieces="ABCD"):
        key = (tuple(lab), figure, grey, pieces)
        if key not in made:
            picture = linear_to_lab(camera.wood("maple", SIZE, 1))
            detail = picture - picture.mean(axis=(0, 1))
            wood = lab_to_linear(np.array(lab) + detail * figure).clip(0.004, 0.97).astype(np.float32)
            wood *= np.float32(lab_to_linear(np.array(lab)) / wood.mean(axis=(0, 1)))
            camera._woods["maple", SIZE, seed] = wood
            rng = np.random.default_rng(7)
            world, info, _ = camera.setup(rng, species="maple", size_mm=SIZE, seed=seed, turn=0.8, bench=(32, 0, 2), grey=grey, pieces=pieces)
            data, _ = camera.photograph(world, info, rng=rng, size_px=(1300, 975), tilt=12, fall=1.3, kelvin=5000)
            path = tmp_path_factory.mktemp("photo") / "finished.jpg"
            path.write_bytes(data)
            made[key] = path, linear_to_lab(wood.mean(axis=(0, 1), dtype=np.float64))
        return made[key]

    return take


@pytest.fixture
def record(approved, tmp_path):
    path = tmp_path / approved[1].name
    path.write_bytes(approved[1].read_bytes())
    return path


@pytest.fixture(scope="module")
def twice(approved, photo_of, tmp_path_factory):
    """The bytes of a record with two comparisons."""
    path = tmp_path_factory.mktemp("twice") / approved[1].name
    path.write_bytes(approved[1].read_bytes())
    photo, _ = photo_of(target(path).round(2))
    for _ in range(2):
        write_comparison(path, compare(path, photo, {"body": None}, test_board=True, today=TODAY))
    return path.read_bytes()


def target(record, part="body"):
    return np.array(next(c["finished_lab"] for c in read_record(record)["colours"] if c["part"] == part))


def test_wood_of_the_approved_colour_is_inside(record, photo_of):
    photo, truth = photo_of(target(record).round(2))
    made = compare(record, photo, {"body": None}, test_board=True, today=TODAY)
    (c,) = made.parts
    assert c.verdict == "inside" and c.apart < 3.5
    assert float(ciede2000(np.array(c.measured), truth)) < 3.5  # what such a photo is good for, with a grey card
    assert "inside the expected range" in sentences(made.parts)[0]


def test_wood_that_is_darker_and_redder_is_outside_and_told_so(record, photo_of):
    wanted = target(record)
    photo, truth = photo_of((wanted + (-16, 9, -2)).round(2))
    (c,) = compare(record, photo, {"body": None}, test_board=True, today=TODAY).parts
    assert c.verdict == "outside" and c.apart == pytest.approx(float(ciede2000(wanted, truth)), abs=3.0)
    said = " ".join(c.directions)
    assert "darker" in said and "redder" in said and "lighter" not in said
    # Another board can have less dye; finished wood can only become darker.
    assert any("on the next board thin the dye" in a for a in c.advice)
    done = advice_words(c.approved, c.measured, (), (), test_board=False)
    assert any("no dye, tint or coat makes wood lighter" in a for a in done) and not any("tinted coat" in a and "closer" in a for a in done)


def test_wood_that_was_never_measured_is_doubted_before_the_finish(record, photo_of):
    """Told where the part came out otherwise, of a board that only a camera saw and of wood that stands for its kind, and nowhere else."""
    good, far = (compare(record, photo_of((target(record) + by).round(2))[0], {"body": None}, test_board=True, today=TODAY) for by in ((0, 0, 0), (-16, 9, -2)))
    words = "Body was approved on wood as the camera showed it, not measured, L"
    assert not any("approved on wood" in note for note in good.notes)
    assert sum(note.startswith(words) and "measure a bare offcut" in note for note in far.notes) == 1
    kind = read_record(record)
    next(c for c in kind["colours"] if c["part"] == "body")["actual"] = False
    record.write_text(json.dumps({**kind, "fingerprint": fingerprint(kind)}))
    far = compare(record, photo_of((target(record) + (-16, 9, -2)).round(2))[0], {"body": None}, test_board=True, today=TODAY)
    assert sum(note.startswith("Body was approved on wood that stands for its kind, L") for note in far.notes) == 1


def test_advice_does_not_contradict_itself():
    """Wood far too light and too little red: less dye would take it further off; too dark, less dye is what helps."""
    said = " ".join(advice_words((28.6, 23.6, 37.4), (50.0, 10.4, 29.8), ({"stain": "honey", "strength": 1.0},), (), test_board=False))
    assert "less dye" not in said and "begin again from a test board" in said and "much lighter: several thin coats" in said
    assert "begin again with less dye" in " ".join(advice_words((50.0, 10.4, 29.8), (28.6, 10.4, 29.8), (), (), test_board=False))


def test_the_figure_is_held_against_the_approved_picture(approved, photo_of, tmp_path):
    """With picture and scene at hand: a weaker figure is told as less contrast."""
    import shutil

    shutil.copytree(approved[1].parent, tmp_path / "home")
    record = tmp_path / "home" / approved[1].name
    ratios = []
    for figure in (1.0, 0.2):
        photo, _ = photo_of(target(record).round(2), figure)
        (c,) = compare(record, photo, {"body": None}, test_board=True, today=TODAY).parts
        ratios.append(c.contrast)
    assert ratios[0] > 2.5 * ratios[1] > 0
    assert "less contrast in the figure" in c.directions and c.advice


def test_it_is_appended_and_the_record_stays_verifiable(approved, record, photo_of, tmp_path):
    plover, original = approved
    before = json.loads(record.read_text())
    photo, _ = photo_of(target(record).round(2))
    for k in (1, 2):
        made = compare(record, photo, {"body": (20, 20, 200, 80) if k == 1 else (120, 90, 120, 60)}, today=TODAY, test_board=k == 1)
        paths = write_comparison(record, made, paper="letter", report=tmp_path / "page.pdf")
        assert paths == (record, tmp_path / "page.pdf", tmp_path / "page.csv")
    after = read_record(record)
    assert len(after["comparisons"]) == 2 and comparisons_intact(after)
    assert fingerprint(after) == after["fingerprint"] == before["fingerprint"]
    assert {k: v for k, v in after.items() if k != "comparisons"} == before
    entry = after["comparisons"][0]
    assert entry["test_board"] and entry["photo"] == "finished.jpg" and len(entry["photo_sha256"]) == 64
    assert entry["parts"][0]["area_mm"] == [20, 20, 200, 80] and entry["parts"][0]["delta_e00"] > 0
    (tmp_path / original.with_suffix(".png").name).write_bytes(original.with_suffix(".png").read_bytes())
    assert verify(record, plover).unchanged
    page = PdfReader(tmp_path / "page.pdf").pages[0]
    assert (round(float(page.mediabox.width)), round(float(page.mediabox.height))) == (612, 792)
    assert "Did it come out?" in page.extract_text() and "Approved" in page.extract_text()


@pytest.mark.parametrize("spoil", [
    lambda r: r["colours"][0]["finished_lab"].__setitem__(0, 50.0),
    lambda r: r["comparisons"][0]["parts"][0].__setitem__("delta_e00", 0.1),
    lambda r: r["comparisons"].pop(0),
    lambda r: r.__setitem__("comparisons", "none"),
], ids=["target", "comparison", "left out", "no list"])
def test_a_record_that_was_edited_is_refused_and_left(approved, record, photo_of, twice, spoil):
    photo, _ = photo_of(target(record).round(2))
    data = json.loads(twice)
    spoil(data)
    record.write_text(json.dumps(data))
    with pytest.raises(MockupError) as told:
        compare(record, photo, {"body": None}, test_board=True, today=TODAY)
    assert str(told.value) == (f"{record.name}: The record was edited: it does not match its own fingerprint. "
                               "Take the record from where it was first saved.")
    assert json.loads(record.read_text()) == data
    assert fingerprint(data) != data["fingerprint"] or not comparisons_intact(data)


def test_verify_sees_an_edited_comparison(approved, record, twice):
    data = json.loads(twice)
    data["comparisons"][1]["date"] = "2027-01-01"
    record.write_text(json.dumps(data))
    assert verify(record, approved[0]).edited


def test_a_photo_without_reference_is_refused(record, tmp_path, photo_of):
    import cv2

    before = record.read_bytes()
    plain = tmp_path / "plain.jpg"
    cv2.imwrite(str(plain), np.random.default_rng(1).normal(120, 12, (600, 900, 3)).clip(0, 255).astype(np.uint8))
    with pytest.raises(MockupError) as told:
        compare(record, plain, {"body": None}, test_board=True, today=TODAY)
    assert str(told.value).startswith("plain.jpg: ") and len(str(told.value).splitlines()) == 1
    # Squared by its corners, but with nothing to tell colour by.
    corners = ((100.0, 100.0), (800.0, 100.0), (800.0, 500.0), (100.0, 500.0))
    with pytest.raises(MockupError) as told:
        compare(record, plain, {"body": None}, wanted=Wanted(corners=corners, size=(350.0, 200.0)), today=TODAY)
    assert str(told.value) == ("plain.jpg: The photo has nothing to measure colour by. Lay a grey card or a 24-patch target beside the wood, "
                               "or the printed sheet around it.")
    assert record.read_bytes() == before


@pytest.mark.parametrize("parts, words", [
    (None, "The record has 2 parts, and none is named. Name what the photo shows: body, plate."),
    ({"bodi": None}, 'The record has no part "bodi". Did you mean "body"?'),
    ({"body": None, "plate": None}, "Several parts are named, and not for each where it lies in the photo. Write NAME=x,y,width,height, in mm of "
                                    "the squared photo, for each."),
])
def test_which_part_must_be_clear(record, tmp_path, parts, words):
    with pytest.raises(MockupError) as told:
        compare(record, tmp_path / "not-looked-at.jpg", parts, test_board=True, today=TODAY)
    assert str(told.value) == f"{record.name}: {words}"


def test_an_area_off_the_wood_is_refused(record, photo_of):
    photo, _ = photo_of(target(record).round(2))
    with pytest.raises(MockupError, match="The area for body shows 0 mm² of wood that can be used"):
        compare(record, photo, {"body": (900, 900, 50, 50)}, today=TODAY)


@pytest.mark.parametrize("approved_lab, measured_lab, words", [
    ((60, 20, 40), (60.5, 20.4, 40.3), ()),
    ((60, 20, 40), (65, 20, 40), ("lighter",)),
    ((60, 20, 40), (52, 20, 40), ("much darker",)),
    ((60, 20, 40), (60, 24, 40), ("redder",)),
    ((60, 20, 40), (60, 18, 40), ("a little less red",)),
    ((60, 20, 40), (60, 20, 30), ("much less yellow",)),
    ((40, -5, -30), (40, -5, -25), ("less blue",)),
    ((40, -5, -30), (40, -5, -36), ("bluer",)),
    ((50, 0, 0), (50, -4, 0), ("greener",)),
    ((60, 20, 40), (54, 22, 40), ("darker", "a little redder")),
])
def test_directions_in_a_finisher_s_words(approved_lab, measured_lab, words):
    assert direction_words(approved_lab, measured_lab) == words
    for test_board in (True, False):
        assert len(advice_words(approved_lab, measured_lab, (), (), test_board=test_board)) == len(words)


def test_how_much_dye_by_the_density_it_adds():
    """Beer-Lambert by hand: bare Y 0.5, approved 0.25, measured 0.2: densities 0.301 and 0.398 over the wood, so 0.757 of the dye."""
    def lightness(y):
        return 116 * y ** (1 / 3) - 16

    steps = [{"stain": "amber", "strength": 0.8}, {"coat": "oil varnish", "coats": 3}]
    told = advice_words((lightness(0.25), 20, 40), (lightness(0.2), 20, 40), steps, (), test_board=True, bare=(lightness(0.5), 5, 20))
    assert told == ("It is darker: on the next board amber dye at about 61 % instead of 80 %, an estimate to try, not a promise.",)
    # Without a dye there is nothing to thin, and nothing that lightens is promised.
    (told,) = advice_words((60, 20, 40), (55, 20, 40), steps[1:], (), test_board=True, bare=(80, 5, 20))
    assert "the wood itself is darker" in told and "no dye, tint or coat makes wood lighter" in told


@pytest.mark.parametrize("measured", [(66, 20, 40), (54, 20, 40), (60, 26, 40), (60, 14, 40), (60, 20, 46), (60, 20, 33), (54, 26, 44), (40, 40, 20)])
def test_finished_wood_is_never_promised_to_become_lighter(measured):
    for words in advice_words((60, 20, 40), measured, [{"stain": "amber"}], (), test_board=False):
        if "tint" in words and "no dye, tint" not in words and "more than a tinted coat" not in words:
            assert "darken" in words or "cover some of the figure" in words, words
        if measured[0] < 59 and "no dye" not in words and "more than" not in words:
            assert words.endswith("leave it.") or "strip it" in words, words


def test_the_figure_s_contrast(camera):
    wood = camera.wood("maple", SIZE, 1)
    mask = np.ones(wood.shape[:2], bool)
    lab = linear_to_lab(wood)
    flat = lab_to_linear(lab.mean(axis=(0, 1)) + (lab - lab.mean(axis=(0, 1))) * 0.5).astype(np.float32)
    whole, half = (figure_contrast(w, mask, camera.FINE) for w in (wood, flat))
    assert half / whole == pytest.approx(0.5, abs=0.02)
    assert figure_contrast(wood, mask & False, camera.FINE) is None
    assert contrast_words(half / whole) == ("less contrast in the figure",) and contrast_words(1.1) == () == contrast_words(None)
    # The same wood seen coarser, and through a mask, has the same figure.
    import cv2

    small = cv2.resize(wood, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    assert figure_contrast(small, np.ones(small.shape[:2], bool), camera.FINE / 2) == pytest.approx(whole, rel=0.03)
    mask[:, :400] = False
    assert figure_contrast(wood, mask, camera.FINE) == pytest.approx(whole, rel=0.15)


@pytest.mark.parametrize("apart, expected, error, verdict", [(1, 5, 3, "inside"), (9, 5, 3, "outside"), (4, 5, 3, "near the limit"), (6, 5, 3, "near the limit"),
                                                             (3.4, 5.4, 24.7, "not told"), (1.3, 2.8, 20.6, "not told"), (30, 5.4, 24.7, "outside")])
def test_a_verdict_is_as_sure_as_its_photo(apart, expected, error, verdict):
    """A photo that may be off by ΔE00 24.7 says nothing of a range of 5.4: that is not "near its limit"."""
    assert judged(apart, expected, error) == verdict


def test_nothing_is_done_to_wood_for_what_a_photo_may_have_made_up(record, photo_of):
    lab = np.array(json.loads(record.read_text())["colours"][0]["finished_lab"])
    path, _ = photo_of(lab + (4.0, 1.5, 2.5))
    made = compare(record, path, {"body": None}, test_board=True, today=TODAY)
    (sure,) = made.parts
    assert sure.apart > sure.photo_error and any("on the next board" in t for t in sure.advice)
    import mockup.papers.compare as module

    m = module.by_areas(read_photo(path).pixels, Wanted(), {"body": None}, board=True)[0][0]
    rough = replace(m, board=replace(m.board, measures=replace(m.board.measures, colour_error=24.7)))
    target = json.loads(record.read_text())["colours"][0]
    c = module._compared(made.record, record, target, rough, True)
    assert c.verdict == "not told" and "good to about ΔE00 24.7, cannot tell" in c.sentence
    assert c.advice[0].startswith("The photo may itself be off by as much") and not any("dye at" in t or "mix a drop" in t for t in c.advice)


def test_a_comparison_of_two_parts_stays_on_one_page(record, photo_of):
    from mockup.papers.comparison_page import comparison_page
    from mockup.papers.page import Text

    lab = json.loads(record.read_text())["colours"][0]["finished_lab"]
    path, _ = photo_of(np.array(lab) + (8.0, 3.0, 9.0))
    made = compare(record, path, {"body": None}, test_board=True, today=TODAY)
    tall = replace(made, parts=made.parts * 2, shown=np.zeros((2000, 900, 3), np.float32), px_per_mm=1.0)
    page, = comparison_page(tall, "letter")
    said = [i.text for i in page.items if isinstance(i, Text)]
    assert "20\u00a0December\u00a02026" in said and TODAY not in said


def test_a_photo_of_finished_wood_has_no_mask():
    from mockup.papers.compare import _of_wood

    assert _of_wood("5.9 % of the board mirrors a light; it is marked in the mask.") == "5.9 % of the wood mirrors a light."
