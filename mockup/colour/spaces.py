"""sRGB, linear light, XYZ and CIE Lab (D65, 2 degree observer).

A name says the space a value is in: ``srgb`` encoded 0..1, ``linear`` the same
primaries in linear light with 1.0 = perfect white diffuser, ``xyz`` with Y of
white = 1, ``lab`` CIE 1976.
"""

from __future__ import annotations

import numpy as np

__all__ = [
    "EPSILON", "KAPPA", "SRGB_TO_XYZ", "WHITE", "XYZ_TO_SRGB",
    "decode_srgb", "encode_srgb", "lab_to_linear", "lab_to_xyz", "linear_to_lab",
    "linear_to_xyz", "luminance", "srgb8_to_lab", "xyz_to_lab", "xyz_to_linear",
]

Array = np.ndarray

# Linear sRGB to CIE XYZ, from the primaries and D65 white of IEC 61966-2-1.
SRGB_TO_XYZ = np.array([[0.4123908, 0.3575843, 0.1804808],
                        [0.2126390, 0.7151687, 0.0721923],
                        [0.0193308, 0.1191948, 0.9505322]])
XYZ_TO_SRGB = np.linalg.inv(SRGB_TO_XYZ)
WHITE = SRGB_TO_XYZ.sum(axis=1)  # from the matrix, so that greys have a* = b* = 0
EPSILON, KAPPA = 216 / 24389, 24389 / 27  # CIE 15, exact


def _float(values: Array) -> Array:
    """Keep float32 and float64; anything else becomes float64."""
    values = np.asarray(values)
    return values if values.dtype in (np.float32, np.float64) else values.astype(np.float64)


def decode_srgb(srgb: Array) -> Array:
    """Encoded sRGB 0..1 to linear light, any shape (IEC 61966-2-1, piecewise curve)."""
    srgb = _float(srgb)
    return np.where(srgb <= 0.04045, srgb / 12.92,
                    ((np.maximum(srgb, 0.04045) + 0.055) / 1.055) ** 2.4).astype(srgb.dtype)


def encode_srgb(linear: Array) -> Array:
    """Linear light to encoded sRGB, clipped to 0..1, any shape (IEC 61966-2-1)."""
    linear = np.clip(_float(linear), 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92,
                    1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055).astype(linear.dtype)


def linear_to_xyz(linear: Array) -> Array:
    """Linear sRGB (..., 3) to XYZ (..., 3), Y of white = 1."""
    linear = _float(linear)
    return linear @ SRGB_TO_XYZ.T.astype(linear.dtype)


def xyz_to_linear(xyz: Array) -> Array:
    """XYZ (..., 3) to linear sRGB (..., 3); values outside 0..1 are kept."""
    xyz = _float(xyz)
    return xyz @ XYZ_TO_SRGB.T.astype(xyz.dtype)


def luminance(linear: Array) -> Array:
    """Y of linear sRGB (..., 3); white = 1."""
    linear = _float(linear)
    return linear @ SRGB_TO_XYZ[1].astype(linear.dtype)


def xyz_to_lab(xyz: Array, white: Array = WHITE) -> Array:
    """XYZ (..., 3) to CIE Lab against ``white`` (CIE 15)."""
    xyz = _float(xyz)
    ratio = xyz / np.asarray(white, xyz.dtype)
    f = np.where(ratio > EPSILON, np.cbrt(ratio), (KAPPA * ratio + 16) / 116).astype(xyz.dtype)
    return np.stack([116 * f[..., 1] - 16,
                     500 * (f[..., 0] - f[..., 1]),
                     200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_to_xyz(lab: Array, white: Array = WHITE) -> Array:
    """CIE Lab (..., 3) to XYZ against ``white`` (CIE 15)."""
    lab = _float(lab)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    ratio = np.where(f ** 3 > EPSILON, f ** 3, (116 * f - 16) / KAPPA)
    return (ratio * np.asarray(white)).astype(lab.dtype)


def linear_to_lab(linear: Array) -> Array:
    """Linear sRGB (..., 3) to CIE Lab, D65."""
    return xyz_to_lab(linear_to_xyz(linear))


def lab_to_linear(lab: Array) -> Array:
    """CIE Lab, D65 (..., 3) to linear sRGB; out-of-gamut values are kept, not clipped."""
    return xyz_to_linear(lab_to_xyz(lab))


def srgb8_to_lab(rgb: Array) -> Array:
    """8-bit sRGB codes (..., 3) to CIE Lab, D65."""
    return linear_to_lab(decode_srgb(np.asarray(rgb, np.float64) / 255))
