"""A photograph, read and brought to linear light."""

from __future__ import annotations

import io
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from mockup.colour.spaces import decode_srgb
from mockup.errors import MockupError
from mockup.files.decode import decode
from mockup.files.header import Header, read_header
from mockup.files.heic import display_p3
from mockup.files.profile import Profile, ProfileError, adobe_rgb, read_profile, srgb_profile
from mockup.files.raw import develop_raw, is_raw, raw_size
from mockup.files.whole import read_bytes, sha256

__all__ = ["FILE_LIMIT", "MAX_PIXELS", "Photo", "photo_from_bytes", "photo_size", "read_photo"]

FILE_LIMIT = 500_000_000  # bytes
MAX_PIXELS = 120_000_000
_BAND = 32  # rows: a band stays in the processor's cache
_CLIPPED = 0.001  # share of pixels from which clipping is worth a word


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph, read and linearised.

    pixels  (H, W, 3) uint16, linear light, sRGB primaries, D65, 65535 = 1.0, upright.
    alpha   (H, W) uint8, None when opaque; the colours are not multiplied by it.
    sha256  of the file's bytes.
    notes   what was done, in words.
    straight  whether the light is as the sensor counted it, without a camera's tone curve.
    """

    pixels: np.ndarray
    alpha: np.ndarray | None
    sha256: str
    notes: tuple[str, ...]
    straight: bool = False


def read_photo(path: Path, *, max_pixels: int = MAX_PIXELS) -> Photo:
    """Read a JPEG, PNG, WebP, HEIC, TIFF or BMP picture, or a camera's raw file, through its profile to linear light.

    Raises MockupError, naming ``path``, when there is no such file, it is not
    one still picture of these kinds, is cut off or damaged, is in CMYK without
    a profile, or has more than ``max_pixels``.
    """
    return photo_from_bytes(read_bytes(Path(path), limit=FILE_LIMIT), str(path), max_pixels=max_pixels)


def photo_size(path: Path, *, max_pixels: int = MAX_PIXELS) -> tuple[int, int]:
    """(width, height) of a picture after its EXIF turn, without decoding it; raises as ``read_photo``."""
    data = read_bytes(Path(path), limit=FILE_LIMIT)
    if is_raw(data, str(path)):
        return raw_size(data, str(path), max_pixels=max_pixels)
    return read_header(data, str(path), max_pixels=max_pixels).size


def photo_from_bytes(data: bytes, name: str, *, max_pixels: int = MAX_PIXELS) -> Photo:
    """As ``read_photo``, from the bytes of a file; ``name`` is used in errors."""
    if is_raw(data, name):
        return Photo(develop_raw(data, name, max_pixels=max_pixels), None, sha256(data),
                     ("developed from the camera's raw file, without a tone curve",), straight=True)
    header = read_header(data, name, max_pixels=max_pixels)
    profile, said = _meaning(header, name)
    notes = [said, *header.notes]
    codes, alpha = decode(data, header, name)
    if profile is not None and not profile.simple:
        codes, said = _through_cms(codes, header.icc, name)
        profile = None
        notes += said
    if header.bits == 16:
        notes.append("16 bits per channel kept" if codes.dtype == np.uint16 else "rounded to 8 bits for its profile")
    pixels, outside = _linearise(codes, profile)
    if outside > _CLIPPED:
        notes.append(f"{outside:.1%} of the pixels are outside sRGB and were clipped")
    if header.turned != 1:
        notes.append(f"turned upright (EXIF {header.turned})")
    if header.mode in ("1", "L", "LA", "La"):
        notes.append("greyscale: it carries no colour of the wood")
    if alpha is not None:
        notes.append("partly transparent")
    return Photo(pixels, alpha, sha256(data), tuple(notes))


def _meaning(header: Header, name: str) -> tuple[Profile | None, str]:
    """The profile to read by (None: sRGB) and a note that says so."""
    colours = "GRAY" if header.mode in ("1", "L", "LA", "La") else header.mode if header.mode == "CMYK" else "RGB"
    if header.icc is not None:
        try:
            profile = read_profile(header.icc)
        except ProfileError:
            profile, said = None, "its colour profile is damaged: taken as sRGB"
        else:
            if profile.space == colours or (profile.space == "RGB" and colours == "GRAY"):
                if profile.is_srgb:
                    return None, "read as sRGB, by its profile"
                return profile, f"read through its profile, {profile.name}"
            profile, said = None, f"its profile is for {profile.space.lower()} pictures: taken as sRGB"
    elif header.says == "Adobe RGB" and colours == "RGB":
        return adobe_rgb(), "read as Adobe RGB, by its EXIF mark"
    elif header.says == "Display P3" and colours == "RGB":
        return display_p3(), "read as Display P3, by its colour mark"
    elif header.says == "sRGB":
        profile, said = None, "read as sRGB, as the file says"
    else:
        profile, said = None, "no colour profile: taken as sRGB"
    if colours == "CMYK":
        raise MockupError("This picture is in CMYK, without a sound profile that says which inks.",
                          fix="Export it as RGB with an sRGB profile.", where=name)
    return profile, said


def _through_cms(codes: np.ndarray, icc: bytes, name: str) -> tuple[np.ndarray, list[str]]:
    """Codes of any layout to 8-bit sRGB codes by littleCMS: relative colorimetric, black point matched."""
    from PIL import Image, ImageCms

    if codes.dtype == np.uint16:
        codes = cv2.convertScaleAbs(codes, alpha=1 / 257)
    mode = {2: "L", 3: "RGB", 4: "CMYK"}[codes.ndim if codes.ndim == 2 else codes.shape[2]]
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        if mode == "L" and source.profile.xcolor_space.strip() == "RGB":
            codes, mode = cv2.cvtColor(codes, cv2.COLOR_GRAY2RGB), "RGB"
        target = ImageCms.ImageCmsProfile(io.BytesIO(srgb_profile()))
        step = ImageCms.buildTransform(source, target, mode, "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC,
                                       ImageCms.Flags.BLACKPOINTCOMPENSATION)
        image = ImageCms.applyTransform(Image.frombuffer(mode, codes.shape[1::-1], codes.tobytes()), step)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        raise MockupError("The colour profile of this picture cannot be used.",
                          fix="Export it as RGB with an sRGB profile.", where=name) from None
    inks = ["converted from CMYK to sRGB, where deep colours may already be lost"] if mode == "CMYK" else []
    return np.asarray(image), inks


@cache
def _srgb_table(levels: int) -> np.ndarray:
    """Linear light of every code, (levels,) uint16."""
    return np.rint(decode_srgb(np.linspace(0, 1, levels)) * 65535).astype(np.uint16)


def _linearise(codes: np.ndarray, profile: Profile | None) -> tuple[np.ndarray, float]:
    """Codes (H, W) or (H, W, 3) to linear sRGB (H, W, 3) uint16, and the share of pixels outside its gamut.

    ``profile`` None means sRGB. Done in bands of rows: whole float pictures
    would cost time and memory.
    """
    levels = 256 if codes.dtype == np.uint8 else 65536
    height, width = codes.shape[:2]
    out = np.empty((height, width, 3), np.uint16)
    if profile is not None and profile.matrix is not None:
        return out, _through_matrix(codes, profile, levels, out) / (height * width)
    table = _srgb_table(levels) if profile is None else np.rint(profile.tables(levels)[0] * 65535).astype(np.uint16)
    for top in range(0, height, _BAND):
        band, target = codes[top:top + _BAND], out[top:top + _BAND]
        if band.ndim == 3:
            cv2.LUT(band, table, target)
        else:
            cv2.cvtColor(cv2.LUT(band, table), cv2.COLOR_GRAY2RGB, target)
    return out, 0.0


def _through_matrix(codes: np.ndarray, profile: Profile, levels: int, out: np.ndarray) -> int:
    """Fill ``out`` through three curves and a matrix; the number of pixels clipped."""
    table = np.ascontiguousarray(profile.tables(levels).T.astype(np.float32)).reshape(1, levels, 3)
    matrix = (profile.matrix * 65535).astype(np.float32)
    low, high = (-1e-3 * 65535,) * 3, (1.001 * 65535,) * 3

    def fill(top: int) -> int:
        band, target = codes[top:top + _BAND], out[top:top + _BAND]
        if band.ndim == 2:
            band = cv2.cvtColor(band, cv2.COLOR_GRAY2RGB)
        light = cv2.transform(cv2.LUT(band, table), matrix)
        # To 16 bits, rounded and clipped in one step.
        cv2.add(light.reshape(len(band), -1), 0, target.reshape(len(band), -1), dtype=cv2.CV_16U)
        inside = cv2.inRange(light, low, high)
        return inside.size - cv2.countNonZero(inside)

    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
        return sum(pool.map(fill, range(0, len(codes), _BAND)))
