"""Photos and wishes that cannot be used: one sentence, with the remedy, and nothing written."""

import cv2
import numpy as np
import pytest
import simulator as sim
from PIL import Image

from mockup.board.calibrate import Wanted, calibrate
from mockup.board.card import card_pdf
from mockup.board.door import photo_to_board, write_card
from mockup.board.sheet import chessboard_sheet, reference_sheet
from mockup.errors import MockupError
from mockup.files.photo import photo_from_bytes


def refused(pixels, wanted=Wanted()):
    """What it says, in one line."""
    with pytest.raises(MockupError) as caught:
        calibrate(pixels, wanted)
    (problem,) = caught.value.problems
    assert problem.found.endswith(".") and problem.fix.endswith(".")
    assert "\n" not in str(problem)
    return str(problem)


def test_no_markers():
    wood = sim.wood("walnut", (300.0, 130.0), 0)
    pixels = np.rint(np.clip(wood, 0, 1) * 65535).astype(np.uint16)
    said = refused(pixels)
    assert "No markers were found" in said and "four corners" in said


def test_mirrored(plain_photo):
    said = refused(np.ascontiguousarray(plain_photo[0][:, ::-1]))
    assert "mirrored" in said and "back camera" in said


def test_two_copies_of_one_strip(plain_photo):
    pixels, truth, _ = plain_photo
    two = np.concatenate([pixels, pixels], 1)
    assert "two sheets" in refused(two)


def test_another_sheet_beside_ours(plain_photo):
    pixels = plain_photo[0].copy()
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    for k, number in enumerate((40, 41, 42)):
        tag = cv2.copyMakeBorder(cv2.aruco.generateImageMarker(book, number, 84), 12, 12, 12, 12, cv2.BORDER_CONSTANT, value=255)
        pixels[1010:1118, 20 + 130 * k:128 + 130 * k] = (tag[:108, :108, None] / 255 * 45000 + 2000).astype(np.uint16)
    assert "only one sheet" in refused(pixels)


def test_a_sheet_of_another_kind():
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    board = cv2.aruco.CharucoBoard((5, 7), 0.04, 0.02, book).generateImage((800, 1120), marginSize=40)
    pixels = np.repeat((board / 255.0 * 50000 + 3000).astype(np.uint16)[..., None], 3, 2)
    pixels += np.random.default_rng(0).integers(0, 900, pixels.shape).astype(np.uint16)
    said = refused(pixels)
    assert "not those of the reference sheet" in said and "6X6_250" in said


def test_blurred(plain_photo):
    soft = cv2.GaussianBlur(plain_photo[0], (0, 0), 2.6)
    assert "blur" in refused(soft)
    gone = cv2.GaussianBlur(plain_photo[0], (0, 0), 14)
    assert "blur" in refused(gone)


def test_night(plain_photo):
    rng = np.random.default_rng(1)
    dark = np.clip(plain_photo[0] * 0.01 + rng.normal(0, 250, plain_photo[0].shape), 0, 65535).astype(np.uint16)
    said = refused(dark)
    assert "dark" in said and "window" in said


def test_screenshot(plain_photo):
    pixels = plain_photo[0]
    bar = np.full((160, pixels.shape[1], 3), 60000, np.uint16)
    assert "screenshot" in refused(np.concatenate([bar, pixels, bar]))


def test_sheet_printed_too_small(plain_photo):
    """A sheet printed at 96 %: the sizes disagree, and the ruler is named; with the ruler's length all is well."""
    pixels, truth, _ = plain_photo
    w, h = truth.size_mm
    said = refused(pixels, Wanted(size=(w * 0.96, h * 0.96)))
    assert "300 x 130 mm" in said and "about 96 mm" in said and "enter what you measured" in said
    board = calibrate(pixels, Wanted(size=(w * 0.96, h * 0.96), ruler=96))
    assert board.survey.edges.size[0] == pytest.approx(w * 0.96, rel=0.004)


def test_wrong_units(plain_photo):
    pixels, truth, _ = plain_photo
    said = refused(pixels, Wanted(corners=tuple(map(tuple, truth.corners_px())), size=(30, 13)))
    assert "cannot be" in said and "in mm" in said
    assert "ruler" in refused(pixels, Wanted(ruler=10))
    assert "Check the size" in refused(pixels, Wanted(size=(600, 130)))


@pytest.mark.parametrize(("corners", "words"), [
    (((200, 200), (1200, 210), (210, 900), (1190, 880)), "crosses itself"),
    (((200, 200), (210, 900), (1190, 880), (1200, 210)), "anticlockwise"),
    (((200, 200), (5000, 210), (1190, 880), (210, 900)), "outside the photo"),
    (((200, 200), (1200, 210), (1190, 880)), "Four corners are needed"),
    (((200, 200), (210, 205), (1190, 880), (210, 900)), "less than 20 pixels"),
    (((200, 200), (1200, 210), (500, 350), (210, 900)), "points inward"),
])
def test_corners_that_are_none(plain_photo, corners, words):
    assert words in refused(plain_photo[0], Wanted(corners=corners, size=(300, 130)))


def test_grey_card_where_there_is_none(plain_photo):
    pixels, truth, _ = plain_photo
    edge = truth.to_image([truth.to_plane([truth.corners_px()[0]])[0]])[0]
    assert "not even" in refused(pixels, Wanted(grey=tuple(edge)))
    assert "outside the photo" in refused(pixels, Wanted(grey=(9000, 10)))
    x, y = truth.grey_at
    bright = pixels.copy()
    bright[int(y) - 60:int(y) + 60, int(x) - 60:int(x) + 60] = 65535
    assert "burnt out" in refused(bright, Wanted(grey=truth.grey_at))


def test_target_that_is_not_there(plain_photo):
    assert "24-patch target was not found" in refused(plain_photo[0], Wanted(target="after-2014"))


@pytest.mark.parametrize(("make", "words"), [
    (lambda: Wanted(target="after-2015"), "after-2014"),
    (lambda: Wanted(corners=((0, 0),) * 4), "without the board's size"),
    (lambda: Wanted(grey_value=18), "as a share"),
    (lambda: Wanted(target_at=((0, 0),) * 4), "edition"),
    (lambda: reference_sheet(float("nan")), "ruler"),
    (lambda: chessboard_sheet(5, 7, 20, 40), "smaller than its square"),
    (lambda: chessboard_sheet(5, 7, 40, 20, dictionary="9X9_1"), "no marker dictionary"),
    (lambda: card_pdf("a5"), "a4"),
    (lambda: calibrate(np.zeros((50, 50, 3), np.uint16), Wanted(dpi=3)), "25 to 2400"),
])
def test_wishes_that_cannot_be(make, words):
    with pytest.raises(MockupError, match=words):
        make()


def test_nothing_is_written_when_refused(tmp_path, plain_photo):
    """And the photo itself is never a target."""
    _, _, data = plain_photo
    photo = tmp_path / "photo.jpg"
    mirrored = cv2.imdecode(np.frombuffer(data, np.uint8), 1)[:, ::-1]
    Image.fromarray(np.ascontiguousarray(mirrored[..., ::-1])).save(photo, quality=92)
    before = photo.read_bytes()
    with pytest.raises(MockupError, match=r"^photo\.jpg: .*mirrored"):
        photo_to_board(photo, report=tmp_path / "report.png")
    assert [p.name for p in tmp_path.iterdir()] == ["photo.jpg"] and photo.read_bytes() == before
    board = tmp_path / "board.png"
    board.write_bytes(before)
    with pytest.raises(MockupError, match="overwrite the photo"):
        photo_to_board(board)
    with pytest.raises(MockupError, match="16-bit PNG"):
        photo_to_board(photo, out=tmp_path / "board.jpg")
    with pytest.raises(MockupError, match="is a PDF"):
        write_card("a4", tmp_path / "card.png")


def test_strip_at_another_height_is_told():
    """One strip 4 % nearer the camera than the rest: the verdict names it, or the fit is refused."""
    rng = np.random.default_rng(4)
    world, info, _ = sim.setup(rng, species="mahogany", size_mm=(300.0, 130.0), turn=0.0, bench=(30, 0, 0), pieces="AC")
    sheet = reference_sheet()
    big = next(p for p in sheet.pieces if p.name == "B1")
    picture = sim.piece_picture(big, sheet.dictionary, np.full(3, 0.86), np.full(3, 0.045))
    world.lay(picture, 16.0 / 1.04, (180, 205), 0.0)
    data, _ = sim.photograph(world, info, rng=rng, size_px=(1500, 1125), tilt=6, fall=1.3)
    board = calibrate(photo_from_bytes(data, "x.jpg").pixels)
    scale = [f for f in board.verdict if f.topic == "scale"]
    assert any("B1" in f.found and f.level == "poor" for f in scale)
