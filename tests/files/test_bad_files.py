"""Whatever is called a picture is read, or refused in one clear sentence."""

import io
import re
import struct
import zlib

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from mockup.errors import MockupError
from mockup.files.photo import Photo, photo_from_bytes, photo_size, read_photo

KINDS = {"a.jpg": "JPEG", "a.png": "PNG", "a.webp": "WEBP", "a.tif": "TIFF", "a.bmp": "BMP"}


def refusal(data, name="board.jpg", **how):
    with pytest.raises(MockupError) as caught:
        photo_from_bytes(data, name, **how)
    words = str(caught.value)
    assert words.startswith(f"{name}: ") and "\n" not in words
    assert words.endswith(".") and len(words) < 200
    problem, = caught.value.problems
    assert problem.found.endswith(".") and problem.fix.endswith("."), "says what it is and what to do"
    return words


@pytest.fixture(scope="module")
def real(saved):
    """One small true picture of each kind, with profile and EXIF."""
    from mockup.files.profile import srgb_profile
    picture = cv2.resize(np.random.default_rng(3).integers(0, 256, (6, 8, 3)).astype(np.uint8), (64, 48),
                         interpolation=cv2.INTER_CUBIC)
    exif = Image.Exif()
    exif[274] = 6
    files = {}
    for name, kind in KINDS.items():
        how = {} if kind == "BMP" else {"icc_profile": srgb_profile(), "exif": exif}
        files[name] = saved(picture, kind, **how)
    files["deep.png"] = cv2.imencode(".png", picture.astype(np.uint16) * 257)[1].tobytes()
    file = io.BytesIO()
    tifffile.imwrite(file, picture.astype(np.uint16) * 257, photometric="rgb", compression="zlib")
    files["deep.tif"] = file.getvalue()
    files["palette.png"] = saved(Image.fromarray(picture).quantize(32), "PNG", transparency=3)
    files["lzw.tif"] = saved(picture, "TIFF", compression="tiff_lzw")
    return files


@pytest.mark.parametrize("data, words", [
    (b"", "This file is empty. Copy or export it again from the original."),
    (b"Dear maker, the board is in the other mail.", "This is not a picture file. Use a JPEG, PNG, WebP, HEIC, TIFF or BMP"),
    (b"\0" * 5000, "This is not a picture file."),
    (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "This is not a picture file."),
    (b"%PDF-1.7\n" + b"x" * 99, "This is a PDF, not a picture. Export its picture as JPEG, PNG or TIFF"),
    (b"GIF89a" + b"x" * 99, "This is a GIF"),
    (b"\0\0\0\x18ftypheic" + b"x" * 99, "This HEIC file is damaged. Copy or export it again from the original."),
    (b"\0\0\0\x18ftypavif" + b"x" * 99, "This is an AVIF or film file. Export it as JPEG, PNG or TIFF."),
    (b"\0\0\0\x18ftypcrx " + b"x" * 99, "This raw camera file is damaged, or of a camera that is not known. Copy it again, or develop it"),
    (b"II*\0\x10\0\0\0CR\2\0" + b"x" * 99, "This raw camera file is damaged"),
    (b"8BPS\0\1" + b"x" * 99, "This is a layered picture file. Export it as JPEG, PNG or TIFF"),
    (b"PK\3\4" + b"x" * 99, "This is an archive"),
    (b"\xff\xd8\xff", "This JPEG file is damaged."),
    (b"\x89PNG\r\n\x1a\n", "This PNG file is cut off."),
    (b"RIFF\x10\0\0\0WEBP", "This WebP file is damaged."),
    (b"II*\0", "This TIFF file is damaged, or of a rare kind. Export it again as a plain RGB TIFF with 8 or 16 bits."),
    (b"BM" + b"\xff" * 60, "This BMP file is damaged."),
])
def test_other_files_are_named_for_what_they_are(data, words):
    assert words in refusal(data)


def test_raw_files_are_known_by_their_name(saved, scene):
    assert "This raw camera file is damaged" in refusal(saved(scene, "TIFF"), "board.NEF")


def test_a_raw_file_in_the_guise_of_a_tiff(scene):
    file = io.BytesIO()
    tifffile.imwrite(file, scene, photometric="rgb", extratags=[(50706, 1, 4, bytes([1, 4, 0, 0]), True)])
    assert "This is a raw camera file. Name it .dng" in refusal(file.getvalue(), "board.tif")


def test_a_picture_under_a_wrong_name_is_read(saved, scene):
    assert isinstance(photo_from_bytes(saved(scene, "PNG"), "board.jpg"), Photo)


def test_missing_folder_and_too_large_a_file(tmp_path):
    for look in (read_photo, photo_size):
        with pytest.raises(MockupError, match="nowhere.jpg: There is no such file. Check the name"):
            look(tmp_path / "nowhere.jpg")
        with pytest.raises(MockupError, match="This is a folder, not a file. Name a file in it"):
            look(tmp_path)
        huge = tmp_path / "huge.tif"
        with open(huge, "wb") as file:
            file.truncate(500_000_001)  # takes no room on the disk
        with pytest.raises(MockupError, match="has 500.0 MB; at most 500 MB are read. Use a smaller one"):
            look(huge)


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_moving_pictures(saved, scene, kind):
    frames = {"save_all": True, "append_images": [Image.fromarray(255 - scene)], "duration": 100}
    assert "This picture moves (it has several frames). Export one frame" in refusal(saved(Image.fromarray(scene), kind, **frames))


def png(width, height, rows=b"", bits=8, colour=2):
    chunk = lambda key, body: struct.pack(">I", len(body)) + key + body + struct.pack(">I", zlib.crc32(key + body))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0))
            + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))


def test_a_bomb_is_refused_from_its_header(saved, recwarn, capfd):
    """Pillow would warn at 89 and raise at 179 million pixels, in words of its own."""
    bombs = {"PNG": png(60_000, 60_000, bytes(1 << 20))}
    for kind in ("BMP", "TIFF", "JPEG"):
        small = saved(np.zeros((258, 259, 3), np.uint8), kind)
        low, high = ("<", (259, 258)) if kind != "JPEG" else (">", (258, 259))
        width = "H" if kind in ("TIFF", "JPEG") else "I"
        if kind == "TIFF":  # a tag each for width and height
            bombs[kind] = re.sub(struct.pack("<HHIH", 256, 4, 1, 259)[:8] + b"....", struct.pack("<HHII", 256, 4, 1, 60_000),
                                 small, count=1, flags=re.S)
            bombs[kind] = re.sub(struct.pack("<HHI", 257, 4, 1) + b"....", struct.pack("<HHII", 257, 4, 1, 60_000),
                                 bombs[kind], count=1, flags=re.S)
        else:
            old = struct.pack(f"{low}2{width}", *high)
            assert small.count(old) == 1
            bombs[kind] = small.replace(old, struct.pack(f"{low}2{width}", 60_000, 60_000))
    for kind, bomb in bombs.items():
        assert len(bomb) < 300_000
        words = refusal(bomb)
        assert "This picture is 60000 x 60000 pixels; at most 120 million are read. Make it smaller" in words, kind
    assert not recwarn.list and capfd.readouterr() == ("", "")


def test_the_limit_is_the_callers(saved, scene):
    assert "is 40 x 30 pixels; at most 0.001 million" in refusal(saved(scene, "PNG"), max_pixels=1000)
    assert photo_from_bytes(saved(scene, "PNG"), "a", max_pixels=1200).pixels.shape == (30, 40, 3)


def test_a_picture_between_pillows_limits_and_ours_gives_no_warning(recwarn, tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(png(10_000, 10_000, bytes(10_000 * 1_251), bits=1, colour=0))
    assert photo_size(path) == (10_000, 10_000)
    assert not recwarn.list


def test_odd_depths_are_refused(scene):
    for array, how, words in ((scene.astype(np.float32), {"photometric": "rgb"}, "with 8 or 16 bits"),
                              (scene.astype(np.uint16), {"photometric": "rgb", "planarconfig": "separate"}, "TIFF"),
                              (scene[..., 0].astype(np.float32), {"photometric": "minisblack"}, "32 bits per channel"),
                              (np.dstack([scene] * 2).astype(np.uint16), {"photometric": "minisblack"}, "TIFF")):
        file = io.BytesIO()
        if how.get("planarconfig"):
            array = np.ascontiguousarray(np.moveaxis(array, -1, 0))
        tifffile.imwrite(file, array, **how)
        assert words in refusal(file.getvalue(), "a.tif")


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 0.97])
@pytest.mark.parametrize("name", [*KINDS, "deep.png", "deep.tif", "palette.png", "lzw.tif"])
def test_a_truncated_picture_is_refused_quietly(real, name, share, capfd, recwarn):
    data = real[name]
    words = refusal(data[:int(len(data) * share)], name)
    assert "cut off" in words or "damaged" in words or "no pixels" in words
    assert capfd.readouterr() == ("", "") and not recwarn.list


@pytest.mark.parametrize("name", ["a.png", "deep.png", "palette.png"])
def test_a_flipped_bit_in_a_png_is_found_quietly(real, name, capfd):
    spoilt = bytearray(real[name])
    spoilt[-40] ^= 4
    assert "This PNG file is damaged." in refusal(bytes(spoilt), name)
    assert capfd.readouterr() == ("", "")


def test_a_long_jpeg_without_its_end_is_refused(saved):
    data = saved(np.random.default_rng(1).integers(0, 256, (300, 300, 3)).astype(np.uint8), "JPEG")
    assert "cut off or damaged" in refusal(data[:-1000])


def read_or_refuse(data, name):
    try:
        photo = photo_from_bytes(data, name, max_pixels=1_000_000)
    except MockupError as error:
        assert str(error).startswith(f"{name}: ")
        return None
    assert photo.pixels.dtype == np.uint16 and photo.pixels.ndim == 3 and photo.pixels.shape[2] == 3
    assert photo.alpha is None or photo.alpha.shape == photo.pixels.shape[:2]
    assert photo.notes
    return photo


STARTS = [b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF\x40\0\0\0WEBPVP8 ", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08",
          b"BM", b"\0\0\0\x20ftyp"]
fuzz = settings(deadline=None, derandomize=True, max_examples=120)


@fuzz
@given(st.sampled_from(STARTS), st.binary(max_size=400), st.sampled_from(["a.jpg", "a", "b.tif"]))
def test_random_bytes_are_refused(start, rest, name):
    read_or_refuse(start + rest, name)


@settings(fuzz, max_examples=300)
@given(st.data())
def test_spoilt_pictures_are_read_or_refused(real, data):
    """Bits flipped, parts cut out, ends cut off: a picture or a sentence, never another error."""
    name = data.draw(st.sampled_from(sorted(real)))
    spoilt = bytearray(real[name])
    # Half of the time near the front, where the headers are.
    reach = data.draw(st.sampled_from([64, 700, len(spoilt)]))
    for place in data.draw(st.lists(st.integers(0, min(reach, len(spoilt)) - 1), max_size=5)):
        spoilt[place] ^= 1 << data.draw(st.integers(0, 7))
    if data.draw(st.booleans()):
        cut = data.draw(st.integers(0, len(spoilt)))
        del spoilt[cut:cut + data.draw(st.integers(1, 300))]
    read_or_refuse(bytes(spoilt), name)


@settings(fuzz, max_examples=100)
@given(st.data())
def test_spoilt_png_chunks_with_mended_sums(real, data):
    """A checksum that fits lets the damage reach the decoders."""
    spoilt = bytearray(real[data.draw(st.sampled_from(["a.png", "deep.png", "palette.png"]))])
    for place in data.draw(st.lists(st.integers(8, len(spoilt) - 1), min_size=1, max_size=3)):
        spoilt[place] ^= 1 << data.draw(st.integers(0, 7))
    place = 8
    while place + 12 <= len(spoilt):
        length, = struct.unpack_from(">I", spoilt, place)
        if place + 12 + length > len(spoilt):
            break
        body = bytes(spoilt[place + 4:place + 8 + length])
        struct.pack_into(">I", spoilt, place + 8 + length, zlib.crc32(body))
        place += 12 + length
    read_or_refuse(bytes(spoilt), "a.png")


def test_reading_leaves_the_libraries_as_they_were_in_every_thread(real):
    import threading
    import warnings

    before = cv2.utils.logging.getLogLevel(), list(warnings.filters)
    faults = []

    def work(name):
        try:
            for share in (1.0, 0.7, 1.0):
                read_or_refuse(real[name][:int(len(real[name]) * share)], name)
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in real for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    assert (cv2.utils.logging.getLogLevel(), list(warnings.filters)) == before
