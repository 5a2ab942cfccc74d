"""HEIC pictures (ISO/IEC 23008-12), as phones save them, through libheif."""

from __future__ import annotations

from functools import cache

import numpy as np

from mockup.colour.light import xy_to_xyz
from mockup.colour.spaces import WHITE, XYZ_TO_SRGB
from mockup.errors import MockupError
from mockup.files.profile import Profile, read_profile, srgb_profile

__all__ = ["display_p3", "heic_codes", "heic_facts", "is_heic"]

_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"mif1"))
_MOVING = frozenset((b"hevc", b"hevx", b"msf1"))
_HDR = (16, 18)  # transfer characteristics of ITU-T H.273: perceptual quantiser, hybrid log-gamma


def is_heic(data: bytes) -> bool:
    """Whether a file says that it is a HEIC picture; MockupError for one that says it moves."""
    if data[4:8] != b"ftyp":
        return False
    if data[8:12] in _MOVING:
        raise MockupError("This picture moves (it has several frames).", fix="Export one frame of it.")
    # "mif1" is said of AVIF too: then the brands that follow tell.
    also = data[16:int.from_bytes(data[:4], "big")]
    return data[8:12] in _BRANDS and b"avif" not in also


def heic_facts(data: bytes) -> tuple[tuple[int, int], str, int, bytes | None, str]:
    """Size upright (width, height), mode, bits, profile and what another mark says of its colours, without decoding.

    Raises MockupError for a picture of high dynamic range; whatever libheif
    raises for one that is damaged.
    """
    image = _opened(data)
    info = image.info
    marks = info.get("nclx_profile") or {}
    icc = info.get("icc_profile") or None
    if icc is None and marks.get("transfer_characteristics") in _HDR:
        raise MockupError("This HEIC is a high dynamic range picture.", fix="Export it as ordinary JPEG.")
    says = {12: "Display P3", 1: "sRGB"}.get(marks.get("color_primaries", 0), "")
    return image.size, image.mode.partition(";")[0], info.get("bit_depth", 8), icc, says


def heic_codes(data: bytes) -> np.ndarray:
    """The numbers of the main picture, upright, (H, W[, C]) uint8 or, above 8 bits, uint16."""
    image = _opened(data)
    # A copy: the array that the library offers looks into memory that it frees with the image.
    # Its rows may be longer than the picture is wide.
    return np.array(image)[:, :image.size[0]]


def _opened(data: bytes):
    from pi_heif import open_heif

    file = open_heif(data, convert_hdr_to_8bit=False)
    return file[file.primary_index]


@cache
def display_p3() -> Profile:
    """Display P3: the primaries of SMPTE RP 431-2 (2011), D65, the curve of sRGB (as ITU-T H.273 codes them, 12 and 13)."""
    xy = np.array([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]])
    primaries = np.stack([xy_to_xyz(x, y) for x, y in xy], axis=1)
    primaries = primaries * np.linalg.solve(primaries, WHITE)
    return Profile("Display P3", "RGB", read_profile(srgb_profile()).curves, XYZ_TO_SRGB @ primaries)
