"""ICC profiles: what colours a picture's numbers stand for.

A profile of three primaries and three curves (sRGB, Display P3, Adobe RGB and
most cameras and screens), or of one grey curve, is read here, so that a
picture reaches linear light in one step, without a second rounding to 8 bits.
Other profiles are left to littleCMS. ICC.1:2022 names the tags.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from mockup.colour.light import adaptation, xy_to_xyz
from mockup.colour.spaces import WHITE, XYZ_TO_SRGB, encode_srgb

__all__ = ["PCS_WHITE", "Profile", "ProfileError", "adobe_rgb", "read_profile", "srgb_profile"]

# The white of the profile connection space, ICC.1:2022, 7.2.16.
PCS_WHITE = np.array([0.9642, 1.0, 0.8249])

Curve = tuple[str, np.ndarray]  # ("table", samples 0..1) or ("0".."4", parameters)


class ProfileError(ValueError):
    """The bytes are not a sound ICC profile."""


@dataclass(frozen=True, slots=True)
class Profile:
    """An ICC profile, as far as a photograph needs it.

    name    what the profile calls itself.
    space   colour space of the numbers in the file: "RGB", "GRAY", "CMYK", ...
    curves  three curves (one for grey), or none when the profile is a table.
    matrix  (3, 3) from the curves' light to linear sRGB, D65; None for others.
    """

    name: str
    space: str
    curves: tuple[Curve, ...] = ()
    matrix: np.ndarray | None = None

    @property
    def simple(self) -> bool:
        """Whether curves (and a matrix, for RGB) say everything."""
        return bool(self.curves)

    def tables(self, levels: int) -> np.ndarray:
        """Light 0..1 of each of ``levels`` codes per curve, (curves, levels) float64."""
        x = np.linspace(0, 1, levels)
        return np.stack([_evaluate(curve, x) for curve in self.curves])

    @property
    def is_srgb(self) -> bool:
        """Whether it is sRGB to a quarter of an 8-bit code and to the digits a profile is written with."""
        if self.space != "RGB" or not self.simple:
            return False
        off = np.abs(encode_srgb(self.tables(256)) * 255 - np.arange(256)).max()
        return off < 0.25 and np.abs(self.matrix - np.eye(3)).max() < 3e-4


@cache
def srgb_profile() -> bytes:
    """The sRGB profile that every picture written carries."""
    return (Path(__file__).parent / "srgb.icc").read_bytes()


def read_profile(data: bytes) -> Profile:
    """Read an ICC profile; ProfileError when it is damaged.

    A profile with a device-to-PCS table (A2B0), or of other than RGB or grey
    numbers, comes back without curves.
    """
    try:
        return _read(data)
    except (struct.error, IndexError, KeyError, OverflowError, FloatingPointError) as error:
        raise ProfileError(f"damaged profile: {error}") from None


def _read(data: bytes) -> Profile:
    if len(data) < 132 or data[36:40] != b"acsp":
        raise ProfileError("not an ICC profile")
    space = data[16:20].decode("latin-1").strip()
    pcs = data[20:24]
    count, = struct.unpack_from(">I", data, 128)
    if count > 200:
        raise ProfileError("too many tags")
    tags = {}
    for i in range(count):
        key, start, size = struct.unpack_from(">4sII", data, 132 + 12 * i)
        if start + size > len(data):
            raise ProfileError("a tag runs past the end")
        tags[key] = data[start:start + size]
    name = _text(tags.get(b"desc", b"")) or "unnamed"
    if space == "GRAY" and b"kTRC" in tags:
        return Profile(name, space, (_curve(tags[b"kTRC"]),))
    wanted = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC")
    if space != "RGB" or pcs != b"XYZ " or b"A2B0" in tags or any(key not in tags for key in wanted):
        return Profile(name, space)
    primaries = np.stack([_xyz(tags[key]) for key in wanted[:3]], axis=1)
    if abs(np.linalg.det(primaries)) < 1e-4:
        raise ProfileError("the primaries lie on one line")
    matrix = XYZ_TO_SRGB @ adaptation(PCS_WHITE, WHITE) @ primaries
    white = matrix.sum(axis=1)
    if np.abs(white - 1).max() < 0.01:
        # The file keeps four to five digits; without this, greys would be tinted by the rounding.
        matrix = matrix / white[:, None]
    return Profile(name, space, tuple(_curve(tags[key]) for key in wanted[3:]), matrix)


def _xyz(tag: bytes) -> np.ndarray:
    """XYZType: three s15Fixed16 numbers."""
    if tag[:4] != b"XYZ ":
        raise ProfileError("a primary of unknown type")
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _curve(tag: bytes) -> Curve:
    """curveType or parametricCurveType, ICC.1:2022, 10.6 and 10.18."""
    kind = tag[:4]
    if kind == b"curv":
        count, = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return "0", np.array([1.0])
        values = np.frombuffer(tag, ">u2", count, 12) if 12 + 2 * count <= len(tag) else None
        if values is None:
            raise ProfileError("a curve is cut off")
        return ("0", values / 256) if count == 1 else ("table", values / 65535)
    if kind == b"para":
        function, = struct.unpack_from(">H", tag, 8)
        if function > 4:
            raise ProfileError("a curve of unknown type")
        number = (1, 3, 4, 5, 7)[function]
        return str(function), np.array(struct.unpack_from(f">{number}i", tag, 12)) / 65536
    raise ProfileError("a curve of unknown type")


def _evaluate(curve: Curve, x: np.ndarray) -> np.ndarray:
    kind, p = curve
    if kind == "table":
        return np.interp(x, np.linspace(0, 1, len(p)), p)
    g = p[0]
    a, b, c, d, e, f = (*p[1:], *[0.0] * (7 - len(p)))
    with np.errstate(all="ignore"):
        power = np.maximum(a * x + b, 0) ** g
        y = {
            "0": lambda: x ** g,
            "1": lambda: np.where(a * x + b >= 0, power, 0),
            "2": lambda: np.where(a * x + b >= 0, power, 0) + c,
            "3": lambda: np.where(x >= d, power, c * x),
            "4": lambda: np.where(x >= d, power + e, c * x + f),
        }[kind]()
    return np.clip(np.nan_to_num(y), 0, 1)


def _text(tag: bytes) -> str:
    """The first text of a textDescriptionType (v2) or multiLocalizedUnicodeType (v4) tag."""
    if tag[:4] == b"desc":
        length, = struct.unpack_from(">I", tag, 8)
        text = tag[12:12 + length].split(b"\0")[0].decode("ascii", "replace")
    elif tag[:4] == b"mluc":
        length, start = struct.unpack_from(">II", tag, 20)
        text = tag[start:start + length].decode("utf-16-be", "replace")
    else:
        return ""
    return "".join(c for c in text if c.isprintable()).strip()[:60]


@cache
def adobe_rgb() -> Profile:
    """Adobe RGB (1998), sections 4.3.1 and 4.3.4: what a camera means by the EXIF mark "R03"."""
    xy = np.array([[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]])
    primaries = np.stack([xy_to_xyz(x, y) for x, y in xy], axis=1)
    primaries = primaries * np.linalg.solve(primaries, WHITE)
    gamma: Curve = ("0", np.array([563 / 256]))
    return Profile("Adobe RGB (1998)", "RGB", (gamma,) * 3, XYZ_TO_SRGB @ primaries)
