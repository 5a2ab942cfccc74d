"""Written pictures, read back by independent readers."""

import io

import cv2
import numpy as np
import pytest
import tifffile
from numpy.testing import assert_array_equal
from PIL import Image, ImageCms

from mockup.errors import MockupError
from mockup.files.photo import read_photo
from mockup.files.picture import SUFFIXES, encode_picture, write_picture
from mockup.files.profile import srgb_profile

DPI = 300


def encoded(rgb, suffix, **how):
    return encode_picture(rgb, suffix, **{"px_per_mm": DPI / 25.4, **how})


@pytest.fixture(scope="module")
def smooth(scene):
    return cv2.resize(scene[:, :, [2, 0, 1]], (320, 240), interpolation=cv2.INTER_CUBIC)


@pytest.mark.parametrize("suffix", [".png", ".tif", ".tiff"])
def test_lossless_formats_come_back_exactly(scene, suffix):
    data = encoded(scene, suffix)
    assert_array_equal(np.asarray(Image.open(io.BytesIO(data))), scene)
    # OpenCV and Pillow each bring their own decoders.
    assert_array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)[..., ::-1], scene)


@pytest.mark.parametrize("suffix", [".jpg", ".jpeg", ".webp"])
def test_lossy_formats_come_back_nearly(smooth, suffix):
    back = np.asarray(Image.open(io.BytesIO(encoded(smooth, suffix)))).astype(int)
    # WebP halves the resolution of colour; JPEG at 4:4:4 keeps it.
    assert np.abs(back - smooth).mean() < (1.5 if suffix == ".webp" else 0.8)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_profile_is_found_by_pillow_and_accepted_by_littlecms(smooth, suffix):
    image = Image.open(io.BytesIO(encoded(smooth, suffix)))
    icc = image.info["icc_profile"]
    assert icc == srgb_profile()
    shown = ImageCms.profileToProfile(image, ImageCms.ImageCmsProfile(io.BytesIO(icc)), ImageCms.createProfile("sRGB"))
    assert np.abs(np.asarray(shown).astype(int) - np.asarray(image)).max() == 0


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("px_per_mm", [DPI / 25.4, 4.0, 0.5, 20.0])
def test_resolution_is_found(scene, suffix, px_per_mm):
    image = Image.open(io.BytesIO(encode_picture(scene, suffix, px_per_mm=px_per_mm)))
    if suffix == ".webp":  # only EXIF can hold it there
        exif = image.getexif()
        assert exif[296] == 2
        dpi = float(exif[282]), float(exif[283])
    else:
        dpi = image.info["dpi"]
    # JFIF keeps whole dots per inch or centimetre.
    assert dpi == pytest.approx((px_per_mm * 25.4,) * 2, rel=0.02 if px_per_mm < 1 else 1e-3)


def test_jpeg_keeps_all_colour(scene):
    """4:4:4: a one-pixel line of colour survives."""
    line = np.full((32, 32, 3), 128, np.uint8)
    line[:, 16] = [200, 90, 90]
    image = Image.open(io.BytesIO(encoded(line, ".jpg")))
    assert [layer[1:3] for layer in image.layer] == [(1, 1)] * 3
    red = np.asarray(image)[16].astype(int)
    assert red[16, 0] - red[16, 2] > 80 and abs(red[14, 0] - red[14, 2]) < 20


def test_quality_is_followed(smooth):
    assert len(encoded(smooth, ".jpg", quality=60)) < len(encoded(smooth, ".jpg")) < len(encoded(smooth, ".jpg", quality=99))


def test_png_is_as_small_as_opencvs_and_well_formed(smooth):
    import struct
    import zlib

    plain = cv2.imencode(".png", smooth[..., ::-1])[1]
    data = encoded(smooth, ".png")
    assert len(data) < len(plain) + len(srgb_profile()) + 100
    place, keys = 8, []
    while place < len(data):
        length, key = struct.unpack_from(">I4s", data, place)
        assert zlib.crc32(data[place + 4:place + 8 + length]) == struct.unpack_from(">I", data, place + 8 + length)[0]
        keys.append(key)
        place += 12 + length
    assert keys[0] == b"IHDR" and keys[-1] == b"IEND"
    assert keys.count(b"pHYs") == keys.count(b"iCCP") == 1
    assert max(keys.index(b"pHYs"), keys.index(b"iCCP")) < keys.index(b"IDAT")


def test_tiff_is_plain_to_a_strict_reader(scene):
    with tifffile.TiffFile(io.BytesIO(encoded(scene, ".tif"))) as file:
        page, = file.pages
        tags = page.tags
        assert tags["ResolutionUnit"].value == 2
        assert tags["XResolution"].value[0] / tags["XResolution"].value[1] == pytest.approx(DPI, rel=1e-5)
        assert bytes(tags["InterColorProfile"].value) == srgb_profile()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_equal_pixels_give_equal_bytes(smooth, suffix):
    assert encoded(smooth, suffix) == encoded(np.ascontiguousarray(smooth.copy()), suffix)


def test_a_view_of_a_larger_picture_is_written_as_it_looks(smooth):
    view = smooth[10:50:2, 20:60, ::-1]
    assert_array_equal(np.asarray(Image.open(io.BytesIO(encoded(view, ".png")))), view)


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_what_is_written_is_read_again(scene, tmp_path, suffix):
    path = tmp_path / f"new/a{suffix}"
    write_picture(path, scene, px_per_mm=4)
    photo = read_photo(path)
    assert photo.notes == ("read as sRGB, by its profile",)
    light = (np.arange(256) / 255 + 0.055) / 1.055
    table = np.where(np.arange(256) <= 10, np.arange(256) / 255 / 12.92, light ** 2.4)
    assert_array_equal(photo.pixels, np.rint(table[scene] * 65535))


@pytest.mark.parametrize("suffix", [".gif", ".bmp", ".pdf", ""])
def test_other_suffixes_are_refused_with_the_possible_ones(scene, suffix, tmp_path):
    path = tmp_path / f"picture{suffix}"
    with pytest.raises(MockupError) as caught:
        write_picture(path, scene, px_per_mm=4)
    words = str(caught.value)
    assert words.startswith(str(path)) and ".png, .jpg, .jpeg, .webp, .tif, .tiff" in words
    assert not list(tmp_path.iterdir())


def test_a_picture_too_long_for_webp():
    with pytest.raises(MockupError, match="too long for .webp. Write a .png"):
        encode_picture(np.zeros((1, 16384, 3), np.uint8), ".webp", px_per_mm=4)


def test_upper_case_suffix(scene, tmp_path):
    write_picture(tmp_path / "A.PNG", scene, px_per_mm=4)
    assert Image.open(tmp_path / "A.PNG").format == "PNG"
