"""A finished picture to a file, with its colour profile and its resolution."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import cv2
import numpy as np

from mockup.errors import MockupError
from mockup.files.png import png_bytes
from mockup.files.profile import srgb_profile
from mockup.files.whole import write_whole

__all__ = ["SUFFIXES", "encode_picture", "write_picture"]

SUFFIXES = (".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff")
_LONGEST = {".jpg": 65_500, ".jpeg": 65_500, ".webp": 16_383}  # pixels, a limit of the format


def write_picture(path: Path, rgb: np.ndarray, *, px_per_mm: float, quality: int = 92) -> None:
    """Write a picture in the format its suffix names; raises as ``encode_picture`` and ``write_whole``."""
    path = Path(path)
    try:
        data = encode_picture(rgb, path.suffix, px_per_mm=px_per_mm, quality=quality)
    except MockupError as error:
        raise error.within(str(path)) from None
    write_whole(path, data)


def encode_picture(rgb: np.ndarray, suffix: str, *, px_per_mm: float, quality: int = 92) -> bytes:
    """The bytes of a picture file.

    rgb        (H, W, 3) uint8, sRGB.
    suffix     one of ``SUFFIXES``; PNG and TIFF lose nothing.
    px_per_mm  kept in the file, so that it prints at its size.
    quality    1 to 100, for JPEG (all colour kept, 4:4:4) and WebP.

    The sRGB profile is embedded, and equal pixels give equal bytes. Raises
    MockupError for another suffix and for a picture too long for the format.
    """
    suffix = suffix.lower()
    if suffix not in SUFFIXES:
        raise MockupError(f'"{suffix}" is not a picture format that can be written.' if suffix else
                          "The file name has no ending that says which picture format to write.",
                          fix=f"Use one of: {', '.join(SUFFIXES)}.")
    if rgb.dtype != np.uint8 or rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.size == 0:
        raise ValueError("a picture is (H, W, 3) uint8")
    if not 0 < px_per_mm < 1e4:
        raise ValueError("px_per_mm must be positive")
    height, width = rgb.shape[:2]
    if max(height, width) > _LONGEST.get(suffix, 10**6):
        raise MockupError(f"A picture of {width} x {height} pixels is too long for {suffix}.",
                          fix="Write a .png or .tif, or make the picture smaller.")
    if suffix == ".png":
        return png_bytes((width, height), lambda first, last: rgb[first:last], bits=8, px_per_mm=px_per_mm)
    if suffix in (".jpg", ".jpeg"):
        how = [cv2.IMWRITE_JPEG_QUALITY, quality,
               cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
        return _with_jpeg_size(_cv2(rgb, suffix, how), px_per_mm)
    if suffix == ".webp":
        return _cv2(rgb, suffix, [cv2.IMWRITE_WEBP_QUALITY, quality], {cv2.IMAGE_METADATA_EXIF: _exif_size(px_per_mm)})
    return _tiff(rgb, px_per_mm)


def _cv2(rgb: np.ndarray, suffix: str, how: list[int], more: dict[int, bytes] | None = None) -> bytes:
    extra = {cv2.IMAGE_METADATA_ICCP: srgb_profile(), **(more or {})}
    done, data = cv2.imencodeWithMetadata(suffix, cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), list(extra),
                                          [np.frombuffer(block, np.uint8) for block in extra.values()], how)
    if not done:
        raise MockupError(f"The picture could not be encoded as {suffix}.", fix="Write a .png or .tif.")
    return data.tobytes()


def _with_jpeg_size(jpeg: bytes, px_per_mm: float) -> bytes:
    """Set the density of the JFIF header (ITU-T T.871, 10.1), in the unit that rounds less."""
    if jpeg[2:4] != b"\xff\xe0" or jpeg[6:11] != b"JFIF\0":
        raise RuntimeError("the encoder wrote no JFIF header")
    per_inch, per_cm = px_per_mm * 25.4, px_per_mm * 10
    unit, exact = min(((1, per_inch), (2, per_cm)), key=lambda pair: abs(round(pair[1]) - pair[1]) / pair[1])
    density = min(max(round(exact), 1), 65535)
    return jpeg[:13] + struct.pack(">BHH", unit, density, density) + jpeg[18:]


def _exif_size(px_per_mm: float) -> bytes:
    """An EXIF block that holds the resolution only: WebP has no other place for it."""
    value = struct.pack("<II", round(px_per_mm * 25400), 1000)
    entries = struct.pack("<HHIIHHIIHHIHH", 0x011A, 5, 1, 50, 0x011B, 5, 1, 50, 0x0128, 3, 1, 2, 0)
    return b"II*\0" + struct.pack("<IH", 8, 3) + entries + bytes(4) + value


def _tiff(rgb: np.ndarray, px_per_mm: float) -> bytes:
    from PIL import Image

    file = io.BytesIO()
    dpi = px_per_mm * 25.4
    # 317 = 2: store differences between neighbours (TIFF 6, section 14), a third smaller.
    Image.fromarray(rgb).save(file, "TIFF", compression="tiff_lzw", dpi=(dpi, dpi), icc_profile=srgb_profile(),
                              tiffinfo={317: 2})
    return file.getvalue()
