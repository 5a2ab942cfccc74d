"""HEIC, written by libheif's own encoder, read back."""

import io

import cv2
import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image, ImageCms

from mockup.colour.spaces import decode_srgb
from mockup.errors import MockupError
from mockup.files.heic import display_p3
from mockup.files.photo import photo_from_bytes, photo_size
from mockup.files.profile import srgb_profile

pillow_heif = pytest.importorskip("pillow_heif")


def heic(pixels, mode="RGB", **how):
    """Lossless, so that only the reader's own errors are left; 4:4:4 and RGB without a matrix between."""
    file = io.BytesIO()
    image = pillow_heif.from_bytes(mode, pixels.shape[1::-1], np.ascontiguousarray(pixels).tobytes())
    image.save(file, quality=-1, chroma=444, matrix_coefficients=0, **how)
    return file.getvalue()


@pytest.fixture(scope="module")
def patches():
    """16 flat patches of 32 pixels."""
    colours = np.random.default_rng(3).integers(20, 240, (4, 4, 3)).astype(np.uint8)
    return colours, np.repeat(np.repeat(colours, 32, 0), 32, 1)


def middles(pixels):
    return pixels[16::32, 16::32].astype(float)


def test_srgb_comes_back_exactly(patches):
    colours, pixels = patches
    photo = photo_from_bytes(heic(pixels, icc_profile=srgb_profile()), "board.heic")
    assert photo.notes == ("read as sRGB, by its profile",) and not photo.straight
    assert_allclose(middles(photo.pixels) / 65535, decode_srgb(colours / 255), atol=1e-4)


@pytest.mark.parametrize("size", [(64, 64), (99, 65), (129, 71)])
def test_any_width(size):
    width, height = size
    pixels = np.full((height, width, 3), 90, np.uint8)
    pixels[:, width // 2:] = [200, 120, 60]
    photo = photo_from_bytes(heic(pixels, icc_profile=srgb_profile()), "board.heic")
    assert_allclose(photo.pixels / 65535, decode_srgb(pixels / 255), atol=1e-4)


def test_ten_bits_are_kept():
    ramp = np.repeat(np.linspace(20_000, 21_000, 64).astype(np.uint16)[None, :, None], 64, 0).repeat(3, 2)
    photo = photo_from_bytes(heic(ramp, "RGB;16", icc_profile=srgb_profile()), "board.heic")
    assert "16 bits per channel kept" in photo.notes
    # 8 bits would leave 5 steps of this ramp.
    assert len(np.unique(photo.pixels[32, :, 1])) > 12
    assert_allclose(photo.pixels[32, :, 1] / 65535, decode_srgb(ramp[32, :, 1] / 65535), atol=6e-4)


def test_display_p3_by_its_colour_mark_agrees_with_littlecms(patches):
    """nclx 12/13 (ITU-T H.273): what phones write beside or instead of a profile."""
    colours, pixels = patches
    data = heic(pixels, color_primaries=12, transfer_characteristics=13)
    photo = photo_from_bytes(data, "board.heic")
    assert photo.notes[0] == "read as Display P3, by its colour mark"
    # The second opinion: littleCMS from a profile of the published primaries, with the curve of sRGB.
    wide = ImageCms.ImageCmsProfile(io.BytesIO(p3_profile()))
    through = ImageCms.profileToProfile(Image.fromarray(colours), wide, ImageCms.createProfile("sRGB"),
                                        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC)
    seen, told = middles(photo.pixels) / 65535, decode_srgb(np.asarray(through) / 255)
    inside = ((np.asarray(through) > 0) & (np.asarray(through) < 255)).all(-1)
    assert inside.sum() > 8
    assert_allclose(seen[inside], told[inside], atol=0.006)
    assert np.abs(seen - decode_srgb(colours / 255)).max() > 0.02, "read as if it were sRGB"


def p3_profile():
    """The sRGB profile with the colorants of Display P3, adapted to D50 (Bradford): from memory, as ICC's registry gives them."""
    import struct

    data = bytearray(srgb_profile())
    count = struct.unpack_from(">I", data, 128)[0]
    places = {bytes(data[132 + 12 * n:136 + 12 * n]): struct.unpack_from(">I", data, 136 + 12 * n)[0] for n in range(count)}
    for tag, xyz in {b"rXYZ": (0.51512, 0.24120, -0.00105), b"gXYZ": (0.29198, 0.69225, 0.04189), b"bXYZ": (0.15710, 0.06657, 0.78407)}.items():
        struct.pack_into(">iii", data, places[tag] + 8, *(round(v * 65536) for v in xyz))
    return bytes(data)


def test_white_of_display_p3_is_white():
    assert_allclose(display_p3().matrix @ [1, 1, 1], [1, 1, 1], atol=1e-12)


def test_a_turned_phone_photo_stands_upright(patches):
    _, pixels = patches
    wide = pixels[:64]
    image = pillow_heif.from_bytes("RGB", wide.shape[1::-1], wide.tobytes())
    exif = Image.Exif()
    exif[0x0112] = 6
    file = io.BytesIO()
    image.save(file, quality=-1, chroma=444, matrix_coefficients=0, exif=exif.tobytes(), icc_profile=srgb_profile())
    photo = photo_from_bytes(file.getvalue(), "board.heic")
    want = cv2.rotate(wide, cv2.ROTATE_90_CLOCKWISE)
    assert photo.pixels.shape == want.shape
    assert_allclose(middles(photo.pixels) / 65535, decode_srgb(middles(want) / 255), atol=1e-3)


def test_size_without_decoding(tmp_path, patches):
    file = tmp_path / "board.heic"
    file.write_bytes(heic(patches[1][:64]))
    assert photo_size(file) == (128, 64)


def test_transparency_is_told(patches):
    _, pixels = patches
    alpha = np.full(pixels.shape[:2], 255, np.uint8)
    alpha[:40] = 0
    photo = photo_from_bytes(heic(np.dstack([pixels, alpha]), "RGBA", icc_profile=srgb_profile()), "a.heic")
    assert photo.alpha is not None and photo.alpha[:32].max() < 8 and photo.alpha[48:].min() > 247


@pytest.mark.parametrize("keep", [12, 40, 300, 0.5, 0.95])
def test_a_file_cut_off_is_refused_in_a_sentence(patches, keep):
    data = heic(patches[1])
    data = data[:keep if keep > 1 else int(len(data) * keep)]
    with pytest.raises(MockupError, match="This HEIC file is (cut off or )?damaged. Copy or export it again"):
        photo_from_bytes(data, "board.heic")


def test_high_dynamic_range_and_films_are_refused(patches):
    data = heic(patches[1], color_primaries=9, transfer_characteristics=16)
    with pytest.raises(MockupError, match="high dynamic range picture. Export it as ordinary JPEG"):
        photo_from_bytes(data, "board.heic")
    with pytest.raises(MockupError, match="several frames"):
        photo_from_bytes(b"\0\0\0\x18ftyphevc" + b"x" * 99, "a.heic")


def test_too_many_pixels_are_refused_before_decoding(patches):
    with pytest.raises(MockupError, match="at most 0.01 million are read"):
        photo_from_bytes(heic(patches[1]), "board.heic", max_pixels=10_000)
