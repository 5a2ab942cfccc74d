"""Photographs reach linear light as their files mean them."""

import io

import cv2
import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from PIL import Image

from mockup.errors import MockupError
from mockup.files.photo import photo_from_bytes, photo_size, read_photo
from mockup.files.whole import sha256

LOSSLESS = ("PNG", "TIFF", "BMP")
rng = np.random.default_rng(2)


def srgb_light(codes, top=255):
    """IEC 61966-2-1, written out once more, as uint16 of linear light."""
    v = np.asarray(codes, float) / top
    return np.rint(65535 * np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)).astype(int)


# IEC 61966-2-1: 8-bit code to linear light.
@pytest.mark.parametrize("code, linear", {1: 0.00030353, 10: 0.00303527, 11: 0.00334654, 64: 0.05126946,
                                          128: 0.21586050, 200: 0.57758044, 254: 0.99110210, 255: 1, 0: 0}.items())
def test_srgb_anchor(saved, code, linear):
    photo = photo_from_bytes(saved(np.full((2, 3, 3), code, np.uint8), "PNG"), "a.png")
    assert_allclose(photo.pixels / 65535, linear, atol=0.5 / 65535 + 1e-8)


@pytest.mark.parametrize("kind", LOSSLESS)
def test_lossless_pictures_are_read_exactly(saved, scene, kind):
    data = saved(scene, kind)
    photo = photo_from_bytes(data, "a")
    assert photo.pixels.dtype == np.uint16
    assert_array_equal(photo.pixels, srgb_light(scene))
    assert photo.alpha is None and photo.sha256 == sha256(data)
    assert photo.notes == ("no colour profile: taken as sRGB",)


def test_lossless_webp_is_read_exactly(saved, scene):
    photo = photo_from_bytes(saved(scene, "WEBP", lossless=True), "a")
    assert_array_equal(photo.pixels, srgb_light(scene))


def test_jpeg_is_read_as_pillow_reads_it(saved, scene):
    data = saved(cv2.resize(scene, (400, 300), interpolation=cv2.INTER_CUBIC), "JPEG", quality=90)
    theirs = np.asarray(Image.open(io.BytesIO(data)))
    ours = photo_from_bytes(data, "a").pixels
    # The two are free to round the inverse transform differently, by a code or so.
    assert np.abs(ours - srgb_light(theirs)).max() < 1200
    assert np.abs(ours - srgb_light(theirs)).mean() < 60


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("turn", range(1, 9))
def test_exif_orientation(saved, tmp_path, kind, turn):
    """Exif 3.0, tag 274: what is stored is the upright picture, turned or mirrored; Pillow's words for it."""
    upright = np.kron(np.array([[0, 90, 170], [240, 40, 130]], np.uint8), np.ones((16, 16), np.uint8))
    upright = np.stack([upright, 255 - upright, upright // 2], -1)
    undo = {1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180,
            4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90,
            7: Image.Transpose.TRANSVERSE, 8: Image.Transpose.ROTATE_270}[turn]
    stored = Image.fromarray(upright) if undo is None else Image.fromarray(upright).transpose(undo)
    exif = Image.Exif()
    exif[274] = turn
    path = tmp_path / "a"
    path.write_bytes(saved(stored, kind, exif=exif, **({} if kind in ("PNG", "TIFF") else {"quality": 95})))
    photo = read_photo(path)
    assert photo.pixels.shape == (32, 48, 3)
    assert_allclose(photo.pixels[8::16, 8::16], srgb_light(upright[8::16, 8::16]), atol=2500)
    assert photo_size(path) == (48, 32)
    assert (f"turned upright (EXIF {turn})" in photo.notes) == (turn > 1)


@pytest.mark.parametrize("turn", range(1, 9))
def test_orientation_of_a_16_bit_tiff_with_alpha(turn):
    stored = np.zeros((4, 6, 4), np.uint16)
    stored[..., 3] = 65535
    stored[0, 0] = [40000, 0, 0, 30000]  # the corner that wanders
    file = io.BytesIO()
    tifffile.imwrite(file, stored, photometric="rgb", extrasamples=["unassalpha"], extratags=[(274, 3, 1, turn, True)])
    photo = photo_from_bytes(file.getvalue(), "a.tif")
    corner = {1: (0, 0), 2: (0, -1), 3: (-1, -1), 4: (-1, 0), 5: (0, 0), 6: (0, -1), 7: (-1, -1), 8: (-1, 0)}[turn]
    assert photo.pixels.shape == ((4, 6, 3) if turn < 5 else (6, 4, 3))
    assert photo.pixels[corner][0] == srgb_light(40000, 65535)
    assert photo.alpha[corner] == round(30000 / 257) and photo.alpha.min() == photo.alpha[corner]
    assert np.count_nonzero(photo.pixels) == 1


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_16_bits_stay_16_bits(suffix):
    codes = rng.integers(0, 65536, (20, 30, 3)).astype(np.uint16)
    data = cv2.imencode(suffix, codes[..., ::-1])[1].tobytes()
    photo = photo_from_bytes(data, "a")
    assert_array_equal(photo.pixels, srgb_light(codes, 65535))
    assert "16 bits per channel kept" in photo.notes


def test_16_bit_grey_and_white_is_zero():
    codes = rng.integers(0, 65536, (20, 30)).astype(np.uint16)
    for photometric, wanted in (("minisblack", codes), ("miniswhite", 65535 - codes)):
        file = io.BytesIO()
        tifffile.imwrite(file, codes, photometric=photometric)
        photo = photo_from_bytes(file.getvalue(), "a")
        assert_array_equal(photo.pixels, np.repeat(srgb_light(wanted, 65535)[..., None], 3, 2))
    photo = photo_from_bytes(cv2.imencode(".png", codes)[1].tobytes(), "a")
    assert_array_equal(photo.pixels[..., 1], srgb_light(codes, 65535))


@pytest.mark.parametrize("how", [{}, {"compression": "zlib"}, {"compression": "zlib", "predictor": True}])
def test_16_bit_tiff_by_another_writer(how):
    codes = rng.integers(0, 65536, (70, 30, 3)).astype(np.uint16)
    file = io.BytesIO()
    tifffile.imwrite(file, codes, photometric="rgb", **how)
    assert_array_equal(photo_from_bytes(file.getvalue(), "a").pixels, srgb_light(codes, 65535))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "BMP"])
def test_greyscale_gives_three_equal_channels(saved, kind):
    grey = np.kron(np.array([[0, 90], [170, 250]], np.uint8), np.ones((16, 16), np.uint8))
    photo = photo_from_bytes(saved(grey, kind), "a")
    assert photo.pixels.shape == (32, 32, 3)
    assert np.ptp(photo.pixels.astype(int), axis=2).max() == 0
    assert_allclose(photo.pixels[::16, ::16, 0], srgb_light(grey[::16, ::16]), atol=1200)
    # WebP has no grey of its own.
    assert any("greyscale" in note for note in photo.notes) == (kind != "WEBP")


@pytest.mark.parametrize("kind, mode", [("PNG", "RGBA"), ("PNG", "LA"), ("TIFF", "RGBA"), ("TIFF", "LA"), ("WEBP", "RGBA")])
def test_alpha_comes_apart_and_colour_keeps_its_strength(saved, scene, kind, mode):
    alpha = np.linspace(1, 255, 40).astype(np.uint8) * np.ones((30, 1), np.uint8)
    image = Image.fromarray(np.dstack([scene, alpha])).convert(mode)
    how = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    photo = photo_from_bytes(saved(image, kind, **how), "a")
    assert_array_equal(photo.alpha, alpha)
    assert_array_equal(photo.pixels, srgb_light(np.asarray(image.convert("RGB"))))
    assert "partly transparent" in photo.notes


def test_colour_stored_multiplied_by_alpha_is_divided_again(scene):
    """TIFF 6, section 18: ExtraSamples 1, associated alpha."""
    alpha = np.linspace(2000, 65535, 40).astype(np.uint16) * np.ones((30, 1), np.uint16)
    stored = np.rint(scene / 255 * alpha[..., None]).astype(np.uint16)
    file = io.BytesIO()
    tifffile.imwrite(file, np.dstack([stored, alpha]), photometric="rgb", extrasamples=["assocalpha"])
    photo = photo_from_bytes(file.getvalue(), "a")
    assert_allclose(photo.pixels, srgb_light(scene), atol=70)  # the stored steps are coarse where alpha is low


def test_opaque_alpha_is_dropped(saved, scene):
    opaque = np.dstack([scene, np.full(scene.shape[:2], 255, np.uint8)])
    assert photo_from_bytes(saved(opaque, "PNG"), "a").alpha is None


def test_palette_bilevel_and_colour_key(saved, scene):
    palette = Image.fromarray(scene).quantize(16)
    assert_array_equal(photo_from_bytes(saved(palette, "PNG"), "a").pixels, srgb_light(np.asarray(palette.convert("RGB"))))
    keyed = photo_from_bytes(saved(palette, "PNG", transparency=3), "a")
    assert_array_equal(keyed.alpha == 0, np.asarray(palette) == 3)
    bilevel = Image.fromarray(scene).convert("1")
    assert set(np.unique(photo_from_bytes(saved(bilevel, "PNG"), "a").pixels)) == {0, 65535}
    colour = photo_from_bytes(saved(Image.fromarray(scene), "PNG", transparency=tuple(int(v) for v in scene[3, 4])), "a")
    assert colour.alpha[3, 4] == 0 and colour.alpha[0, 0] == 255


# --- profiles -----------------------------------------------------------------

PATCHES = np.array([[200, 60, 50], [222, 184, 135], [101, 67, 33], [40, 120, 60], [128, 128, 128], [255, 255, 255],
                    [7, 5, 3]], np.uint8)[None]


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF"])
def test_display_p3_agrees_with_colour_science(saved, p3_icc, kind):
    colour = pytest.importorskip("colour")
    how = {"JPEG": {"quality": 100, "subsampling": 0}, "WEBP": {"lossless": True}}.get(kind, {})
    data = saved(np.kron(PATCHES, np.ones((8, 8, 1), np.uint8)), kind, icc_profile=p3_icc, **how)
    codes = np.asarray(Image.open(io.BytesIO(data)))
    theirs = colour.RGB_to_RGB(codes / 255, "Display P3", "sRGB", apply_cctf_decoding=True)
    photo = photo_from_bytes(data, "a")
    assert_allclose(photo.pixels / 65535, np.clip(theirs, 0, 1), atol=2e-3 if kind == "JPEG" else 3e-4)
    assert photo.notes[0] == "read through its profile, Display P3"


def test_p3_red_is_clipped_and_said(saved, p3_icc):
    """Pure P3 red lies outside sRGB: linear (1.2249, -0.0420, -0.0197), colour-science 0.4.7."""
    photo = photo_from_bytes(saved(np.full((8, 8, 3), [255, 0, 0], np.uint8), "PNG", icc_profile=p3_icc), "a")
    assert_array_equal(photo.pixels[0, 0], [65535, 0, 0])
    assert "100.0% of the pixels are outside sRGB and were clipped" in photo.notes


def test_colours_below_zero_are_counted_too(saved, p3_icc):
    """P3 (0, 150, 0) has less than no red in sRGB, and no channel above white."""
    photo = photo_from_bytes(saved(np.full((8, 8, 3), [0, 150, 0], np.uint8), "PNG", icc_profile=p3_icc), "a")
    assert photo.pixels[0, 0, 0] == 0 and photo.pixels.max() < 40000
    assert "100.0% of the pixels are outside sRGB and were clipped" in photo.notes


def test_a_few_clipped_pixels_are_not_worth_a_word(saved, p3_icc):
    codes = np.full((50, 50, 3), 120, np.uint8)
    codes[0, :2] = [255, 0, 0]
    assert not any("clipped" in n for n in photo_from_bytes(saved(codes, "PNG", icc_profile=p3_icc), "a").notes)
    codes[0, :9] = [255, 0, 0]
    assert any("0.4% of the pixels" in n for n in photo_from_bytes(saved(codes, "PNG", icc_profile=p3_icc), "a").notes)


def test_adobe_rgb_by_profile_and_by_exif_mark(saved, adobe_icc):
    colour = pytest.importorskip("colour")
    theirs = np.clip(colour.RGB_to_RGB(PATCHES / 255, "Adobe RGB (1998)", "sRGB", apply_cctf_decoding=True), 0, 1)
    by_profile = photo_from_bytes(saved(PATCHES, "PNG", icc_profile=adobe_icc), "a")
    assert_allclose(by_profile.pixels / 65535, theirs, atol=3e-4)
    exif = Image.Exif()
    exif._ifds[0x8769] = {0xA001: 0xFFFF, 0xA005: {1: "R03"}}
    big = np.kron(PATCHES, np.ones((16, 16, 1), np.uint8))
    by_mark = photo_from_bytes(saved(big, "JPEG", quality=100, subsampling=0, exif=exif), "a")
    assert by_mark.notes[0] == "read as Adobe RGB, by its EXIF mark"
    assert_allclose(by_mark.pixels[8, 8::16] / 65535, theirs[0], atol=0.02)


def test_16_bit_p3_keeps_its_fineness(p3_icc):
    """Neighbouring 16-bit codes stay apart: nothing on the way has 8 bits."""
    colour = pytest.importorskip("colour")
    codes = (np.arange(30000, 31000, dtype=np.uint16)[None, :, None] + np.array([4000, 0, -6000])).astype(np.uint16)
    file = io.BytesIO()
    tifffile.imwrite(file, codes, photometric="rgb", iccprofile=p3_icc)
    photo = photo_from_bytes(file.getvalue(), "a")
    theirs = colour.RGB_to_RGB(codes / 65535, "Display P3", "sRGB", apply_cctf_decoding=True)
    assert_allclose(photo.pixels / 65535, theirs, atol=1e-4)
    assert len(np.unique(photo.pixels[..., 0])) > 900


def test_greys_stay_neutral_through_a_profile(saved, p3_icc, adobe_icc):
    ramp = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, 2)
    for icc in (p3_icc, adobe_icc):
        pixels = photo_from_bytes(saved(ramp, "PNG", icc_profile=icc), "a").pixels
        assert np.ptp(pixels.astype(int), axis=2).max() <= 1
        assert pixels[0, 255, 0] == 65535 and pixels[0, 0, 0] == 0


def test_grey_profile(saved, grey_icc):
    photo = photo_from_bytes(saved(np.array([[0, 64, 128, 255]], np.uint8), "PNG", icc_profile=grey_icc), "a")
    gamma = round(1.8 * 256) / 256  # a curve keeps its gamma in 256ths
    assert_allclose(photo.pixels[0, :, 2] / 65535, (np.array([0, 64, 128, 255]) / 255) ** gamma, atol=1e-5)
    assert "read through its profile, Grey 1.8" in photo.notes


def test_profile_that_is_a_table_goes_through_littlecms(saved, rgb_table_icc):
    codes = np.full((4, 4, 3), [255, 128, 0], np.uint8)
    photo = photo_from_bytes(saved(codes, "PNG", icc_profile=rgb_table_icc), "a")
    lightness = 100 * codes[0, 0].mean() / 255
    assert_allclose(photo.pixels / 65535, ((lightness + 16) / 116) ** 3, atol=4e-3)
    assert photo.notes[0] == "read through its profile, table"


def test_grey_picture_with_a_table_for_rgb(saved, rgb_table_icc):
    photo = photo_from_bytes(saved(np.full((4, 4), 128, np.uint8), "PNG", icc_profile=rgb_table_icc), "a")
    assert_allclose(photo.pixels / 65535, ((100 * 128 / 255 + 16) / 116) ** 3, atol=4e-3)


def test_cmyk_through_its_profile(saved, cmyk_icc):
    ink = np.zeros((16, 32, 4), np.uint8)
    ink[:, 16:] = [0, 255, 255, 0]  # magenta and yellow
    for kind in ("JPEG", "TIFF"):
        photo = photo_from_bytes(saved(Image.fromarray(ink, "CMYK"), kind, icc_profile=cmyk_icc), "a")
        assert (photo.pixels[8, 8] > 64500).all(), "paper is white"
        red = photo.pixels[8, 24]
        assert red[0] > 3 * red[1] and red[0] > 3 * red[2]
        assert any("CMYK" in note for note in photo.notes)


def test_cmyk_without_profile_is_refused(saved):
    with pytest.raises(MockupError, match="in CMYK.*Export it as RGB"):
        photo_from_bytes(saved(Image.new("CMYK", (8, 8)), "JPEG"), "a.jpg")


def test_profile_of_another_kind_of_picture(saved, scene, cmyk_icc, grey_icc):
    for icc, word in ((cmyk_icc, "cmyk"), (grey_icc, "gray")):
        photo = photo_from_bytes(saved(scene, "PNG", icc_profile=icc), "a")
        assert_array_equal(photo.pixels, srgb_light(scene))
        assert photo.notes == (f"its profile is for {word} pictures: taken as sRGB",)


def test_damaged_profile_is_left_out_and_said(saved, scene, p3_icc):
    for icc in (p3_icc[:200], b"nonsense", p3_icc[:36] + b"xxxx" + p3_icc[40:]):
        photo = photo_from_bytes(saved(scene, "PNG", icc_profile=icc), "a")
        assert_array_equal(photo.pixels, srgb_light(scene))
        assert photo.notes == ("its colour profile is damaged: taken as sRGB",)


def test_png_colour_marks(saved, scene):
    import struct
    import zlib

    def mark(key, body):
        data = saved(scene, "PNG")
        return data[:33] + struct.pack(">I", len(body)) + key + body + struct.pack(">I", zlib.crc32(key + body)) + data[33:]
    assert photo_from_bytes(mark(b"sRGB", b"\0"), "a").notes == ("read as sRGB, as the file says",)
    assert photo_from_bytes(mark(b"gAMA", struct.pack(">I", 45455)), "a").notes == ("no colour profile: taken as sRGB",)
    assert "its gamma mark of 1 is not followed" in photo_from_bytes(mark(b"gAMA", struct.pack(">I", 100000)), "a").notes
    with pytest.raises(MockupError, match="high dynamic range"):
        photo_from_bytes(mark(b"cICP", bytes([9, 16, 0, 1])), "a")


def test_a_phone_picture_with_a_second_one_inside_is_read(saved, scene):
    """Multi-picture JPEG (CIPA DC-007): a depth map or preview follows the photo."""
    data = saved(Image.fromarray(scene), "MPO", save_all=True, append_images=[Image.new("RGB", (10, 10))])
    assert Image.open(io.BytesIO(data)).format == "MPO"
    assert photo_from_bytes(data, "a.jpg").pixels.shape == (30, 40, 3)


def test_a_tiff_with_a_preview_is_read_but_not_one_of_several_pages(scene):
    for subfile, fine in ((1, True), (0, False)):
        file = io.BytesIO()
        with tifffile.TiffWriter(file) as writer:
            writer.write(scene, photometric="rgb", metadata=None)
            writer.write(scene[::2, ::2], photometric="rgb", subfiletype=subfile, metadata=None)
        if fine:
            assert_array_equal(photo_from_bytes(file.getvalue(), "a").pixels, srgb_light(scene))
        else:
            with pytest.raises(MockupError, match="several pages"):
                photo_from_bytes(file.getvalue(), "a")


def test_reading_leaves_the_file_as_it_was(saved, scene, tmp_path):
    path = tmp_path / "a.png"
    path.write_bytes(saved(scene, "PNG"))
    before = path.stat()
    read_photo(path)
    assert path.stat().st_mtime_ns == before.st_mtime_ns and path.stat().st_size == before.st_size


def test_a_real_photograph(tmp_path):
    """scikit-image's coffee table, read as scikit-image and Pillow read it."""
    coffee = pytest.importorskip("skimage.data").coffee()
    path = tmp_path / "coffee.png"
    Image.fromarray(coffee).save(path)
    photo = read_photo(path)
    assert_array_equal(photo.pixels, srgb_light(coffee))
    assert photo_size(path) == (600, 400)
