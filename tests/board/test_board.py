"""From a photo on disk to a board on disk, and what is written beside it."""

import hashlib
import tomllib

import cv2
import numpy as np
import pytest
import simulator as sim
from scoring import score

from mockup.board.calibrate import Wanted, calibrate
from mockup.board.door import photo_to_board
from mockup.board.png16 import board_png
from mockup.board.report import report_picture
from mockup.board.sheet import chessboard_sheet
from mockup.board.verdict import Measures, judge
from mockup.files.photo import photo_from_bytes, read_photo


@pytest.fixture(scope="module")
def written(tmp_path_factory, plain_photo):
    folder = tmp_path_factory.mktemp("board")
    photo = folder / "photo.jpg"
    photo.write_bytes(plain_photo[2])
    done = photo_to_board(photo, wood='ribbon "mahogany"', actual=True, report=folder / "report.png")
    return photo, done


def test_board_reads_back_as_measured(written, plain_photo):
    """The PNG gives back the same linear light, and its TOML what a scene asks for."""
    photo, done = written
    again = read_photo(done.files[0])
    assert np.abs(again.pixels.astype(int) - done.board.pixels).max() <= 2
    record = tomllib.loads(done.files[1].read_text(encoding="utf-8"))
    assert record["mm_per_pixel"] == pytest.approx(done.board.mm_per_pixel, rel=1e-6)
    assert record["wood"] == 'ribbon "mahogany"' and record["actual"] is True
    assert record["grain"] == pytest.approx(0, abs=1.5)
    assert record["source"]["sha256"] == hashlib.sha256(plain_photo[2]).hexdigest()
    assert record["source"]["file"] == "photo.jpg" and record["mask"] == "board.mask.png"
    assert record["quality"]["colour_basis"] == "grey card" and record["quality"]["colour_error"] < 4
    assert 0 < record["quality"]["brightness_varies"] < 0.15 and record["quality"]["light_left"] < 0.02
    assert {v["topic"] for v in record["verdict"]} >= {"scale", "light", "colour", "detail", "glare"}
    assert photo.read_bytes() == plain_photo[2]
    mask = cv2.imread(str(done.files[2]), cv2.IMREAD_UNCHANGED)
    assert mask.shape == done.board.pixels.shape[:2] and (mask == 255).mean() > 0.98


def test_board_is_true(written, plain_photo):
    s = score(written[1].board, plain_photo[1])
    assert s.length < 0.003 and s.colour < 3 and abs(s.contrast) < 0.12 and s.edges < 0.4


def test_same_photo_same_files(written, tmp_path, plain_photo):
    photo, done = written
    (tmp_path / "photo.jpg").write_bytes(plain_photo[2])
    again = photo_to_board(tmp_path / "photo.jpg", wood='ribbon "mahogany"', report=tmp_path / "report.png")
    assert [a.read_bytes() == b.read_bytes() for a, b in zip(done.files, again.files)] == [True] * 4


def test_report_shows_board_and_verdict(written):
    """Board colours are in the picture, and it is as tall as its lines."""
    picture = report_picture(written[1].board, "photo.jpg")
    assert picture.shape[1] == 1600 and picture.shape[0] > 900 and picture.dtype == np.uint8
    assert ((picture == (220, 40, 30)).all(2)).sum() > 300    # the outline of the board
    assert len(np.unique(picture.reshape(-1, 3) @ (65536, 256, 1))) > 2000


def test_target_beats_the_camera(target_photo):
    """A camera with its own colours: the target brings them within 2, and the left-out error travels along."""
    pixels, truth, _ = target_photo
    board = calibrate(pixels, Wanted(target="after-2014"))
    plain = calibrate(pixels, Wanted())
    assert score(board, truth).colour < 2.0
    assert board.measures.basis == "target" and plain.measures.basis == "paper"
    assert board.recipe.correction.error < 2.5
    assert board.measures.colour_error < plain.measures.colour_error
    assert any(f.topic == "colour" and f.level == "fair" and "paper" in f.found for f in plain.verdict)


def test_grey_card_pointed_at(plain_photo):
    """By hand or on the panel, the card says the same."""
    pixels, truth, _ = plain_photo
    auto, hand = calibrate(pixels), calibrate(pixels, Wanted(grey=truth.grey_at))
    assert auto.measures.basis == hand.measures.basis == "grey card"
    assert np.abs(auto.mean_lab - hand.mean_lab).max() < 0.6


def test_corners_and_size(plain_photo):
    """Without markers: the board by its corners, and honest words about what that leaves open."""
    pixels, truth, _ = plain_photo
    board = calibrate(pixels, Wanted(corners=tuple(map(tuple, truth.corners_px())), size=truth.size_mm, grey=truth.grey_at))
    assert score(board, truth).colour_mean < 4
    levels = {f.topic: f.level for f in board.verdict}
    assert levels["scale"] == "fair" and levels["light"] == "fair"


def test_flat_scan():
    """A scan keeps every pixel's light, and its scale is the scanner's."""
    wood = sim.wood("walnut", (300.0, 130.0), 1)
    pixels = np.rint(wood * 65535).astype(np.uint16)
    dpi = sim.FINE * 25.4
    board = calibrate(pixels, Wanted(dpi=dpi))
    assert board.px_per_mm == pytest.approx(sim.FINE, rel=0.02)
    assert np.abs(board.mean_lab[0] - 40) < 2
    same = calibrate(pixels, Wanted(dpi=dpi), px_per_mm=sim.FINE).pixels
    assert np.abs(same[5:-5, 5:-5].astype(int) - pixels[5:-5, 5:-5]).max() < 130


def test_sheet_printed_at_another_scale(plain_photo):
    """All lengths follow the ruler."""
    a, b = calibrate(plain_photo[0]), calibrate(plain_photo[0], Wanted(ruler=97))
    assert b.survey.edges.size[0] / a.survey.edges.size[0] == pytest.approx(0.97, abs=1e-3)


def test_strips_on_the_board_are_masked():
    """Paper on the face: outlined, masked, told, and kept out of the mean colour."""
    rng = np.random.default_rng(9)
    world, info, _ = sim.setup(rng, species="walnut", size_mm=(420.0, 180.0), turn=0.0, bench=(70, 0, 0), pieces="AB", grey=False)
    from mockup.board.sheet import reference_sheet
    sheet = reference_sheet()
    for piece in sheet.pieces:
        if piece.name in ("C1", "D1"):
            world.lay(sim.piece_picture(piece, sheet.dictionary, np.full(3, 0.86), np.full(3, 0.045)), 16.0,
                      (90, 90) if piece.name == "C1" else (330, 180), 3.0)
    data, truth = sim.photograph(world, info, rng=rng, size_px=(1500, 1125), tilt=10, fall=1.3)
    board = calibrate(photo_from_bytes(data, "x.jpg").pixels)
    assert board.survey.edges.size == (pytest.approx(420, abs=2), pytest.approx(180, abs=2))
    assert board.measures.hidden == pytest.approx(2 * 100 * 24 / (420 * 180), rel=0.25)
    assert any(f.topic == "cover" for f in board.verdict)
    assert board.mean_lab[0] == pytest.approx(40, abs=5)


def test_another_sheet_serves_too():
    """A ChArUco sheet of known squares gives the scale as well."""
    rng = np.random.default_rng(5)
    world = sim.World((420, 300), (30, 0, 0), rng)
    world.lay(sim.wood("maple", (220.0, 180.0), 0), sim.FINE, (180.0, 60.0), 0.0)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    sheet = cv2.aruco.CharucoBoard((5, 7), 0.025, 0.018, book).generateImage((1250, 1750), marginSize=0)
    world.lay(np.repeat(sheet[..., None] / np.float32(255) * 0.8 + 0.04, 3, 2), 10.0, (25.0, 50.0), 0.0)
    info = dict(reflectance=sim.wood("maple", (220.0, 180.0), 0), size_mm=(220.0, 180.0), origin=(180.0, 60.0), turn=0.0)
    data, truth = sim.photograph(world, info, rng=rng, size_px=(1400, 1000), tilt=15, fall=1.2)
    board = calibrate(photo_from_bytes(data, "x.jpg").pixels, Wanted(sheet=chessboard_sheet(5, 7, 25, 18)))
    length = score(board, truth).length
    assert length < 0.003 or length < 1.5 * board.measures.scale_error, (length, board.measures.scale_error)
    assert board.survey.edges.size == (pytest.approx(220, abs=1.5), pytest.approx(180, abs=1.5))


def test_png_of_noise_is_exact_and_opens_elsewhere(tmp_path):
    """Read back by Pillow's and by OpenCV's decoder; every row and the profile are there."""
    rng = np.random.default_rng(0)
    pixels = rng.integers(0, 65536, (401, 57, 3)).astype(np.uint16)
    data = board_png(pixels, 5.0)
    assert np.abs(photo_from_bytes(data, "x.png").pixels.astype(int) - pixels).max() <= 2
    codes = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    assert codes.dtype == np.uint16 and codes.shape == pixels.shape
    import io

    from PIL import Image
    image = Image.open(io.BytesIO(data))
    image.load()
    assert image.size == (57, 401) and image.info["icc_profile"] and image.info["dpi"][0] == pytest.approx(127, abs=0.1)
    assert data == board_png(pixels, 5.0)


GOOD = dict(how="sheet", scale_error=0.001, strange=(), missing=(), px_per_mm=8.0, blur_px=2.5, fall=1.4, covered=1.0,
            uneven=0.004, clipped=0.0, dark=0.0, glare=0.0, hidden=0.0, paper_burnt=False, basis="target",
            colour_error=1.2, light_error=1.0, colour_worst=3.0, contrast_error=0.05)


@pytest.mark.parametrize(("change", "topic", "level", "words"), [
    ({"scale_error": 0.02}, "scale", "poor", "more strips"),
    ({"strange": (("B1", 0.97),)}, "scale", "poor", "3.0 % too small"),
    ({"missing": ("left",)}, "edges", "fair", "cloth"),
    ({"px_per_mm": 2.0}, "detail", "poor", "Go closer"),
    ({"blur_px": 9.0}, "sharpness", "poor", "timer"),
    ({"fall": 2.8}, "light", "fair", "window"),
    ({"uneven": 0.06}, "light", "fair", "ceiling lamp"),
    ({"uneven": None}, "light", "fair", "white paper"),
    ({"uneven": None, "fall": 21.8}, "light", "poor", "Take everything but the strips off"),
    ({"how": "corners", "size": (300.0, 600.0), "stretch": 4.0}, "scale", "poor", "4.0 times higher"),
    ({"how": "corners", "size": (600.0, 300.0), "stretch": 0.25}, "scale", "poor", "4.0 times wider"),
    ({"how": "corners", "size": (60.0, 30.0)}, "scale", "fair", "in mm"),
    ({"clipped": 0.02}, "clipping", "poor", "darker"),
    ({"glare": 0.05}, "glare", "poor", "left and right"),
    ({"hidden": 0.08}, "cover", "fair", "offcuts"),
    ({"contrast_error": 0.2}, "figure", "fair", "24-patch"),
    ({"basis": "nothing", "colour_error": None}, "colour", "poor", "grey card"),
    ({"colour_error": 5.0}, "colour", "poor", "edition"),
    ({"basis": "paper", "colour_error": 3.0}, "colour", "fair", "panel E"),
])
def test_every_fault_is_told_with_what_to_do(change, topic, level, words):
    assert all(f.level == "good" for f in judge(Measures(**GOOD)))
    told = [f for f in judge(Measures(**{**GOOD, **change})) if f.level != "good"]
    # A coarse or soft photo also weakens the figure, and says so.
    assert [(f.topic, f.level) for f in told if f.topic in (topic, "scale", "light", "colour")] == [(topic, level)]
    assert {f.topic for f in told} <= {topic, "figure"}
    told = [f for f in told if f.topic == topic]
    assert words in told[0].found + told[0].advice and told[0].advice.endswith(".")
