"""Raw files of cameras, developed to linear light by LibRaw; an extra that is installed when it is wanted."""

from __future__ import annotations

import io

import numpy as np

from mockup.errors import MockupError

__all__ = ["RAW_SUFFIXES", "develop_raw", "is_raw", "raw_size"]

RAW_SUFFIXES = frozenset("3fr arw cr2 cr3 dng iiq nef nrw orf pef raf rw2 srw".split())
_MARKS = ((0, b"FUJIFILMCCD-RAW"), (0, b"IIU\0"), (0, b"IIRO"), (0, b"IIRS"), (0, b"MMOR"), (0, b"\0MRM"), (0, b"FOVb"),
          (8, b"CR\2\0"), (4, b"ftypcrx"))


def is_raw(data: bytes, name: str) -> bool:
    """Whether a file is a camera's raw file, by its first bytes or, as many are TIFFs inside, by its suffix."""
    suffix = name.rpartition(".")[2].lower() if "." in name else ""
    return bool(data) and (suffix in RAW_SUFFIXES or any(data[at:at + len(mark)] == mark for at, mark in _MARKS))


def raw_size(data: bytes, name: str, *, max_pixels: int) -> tuple[int, int]:
    """(width, height) upright, as it will be developed; MockupError as ``develop_raw``."""
    with _opened(data, name) as raw:
        return _size(raw, name, max_pixels)


def develop_raw(data: bytes, name: str, *, max_pixels: int) -> np.ndarray:
    """(H, W, 3) uint16 linear sRGB primaries, upright: balanced as the camera was set, no tone curve, nothing brightened.

    Raises MockupError when the extra is not installed, the file is damaged or
    of an unknown camera, or has more than ``max_pixels``.
    """
    with _opened(data, name) as raw:
        import rawpy

        _size(raw, name, max_pixels)
        try:
            return np.ascontiguousarray(raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, output_bps=16, use_camera_wb=True, output_color=rawpy.ColorSpace.sRGB))
        except Exception:  # LibRaw fails in many ways
            raise _damaged(name) from None


def _opened(data: bytes, name: str):
    try:
        import rawpy
    except ImportError:
        raise MockupError("This is a raw camera file.", fix='Install its reader, pip install rawpy, or develop it and export it '
                          "as JPEG, PNG or TIFF.", where=name) from None
    try:
        return rawpy.imread(io.BytesIO(data))
    except Exception:
        raise _damaged(name) from None


def _size(raw, name: str, max_pixels: int) -> tuple[int, int]:
    sizes = raw.sizes
    width, height = (sizes.height, sizes.width) if sizes.flip in (5, 6) else (sizes.width, sizes.height)
    if width * height > max_pixels:
        raise MockupError(f"This picture is {width} x {height} pixels; at most {max_pixels / 1e6:g} million are read.",
                          fix="Develop it smaller and use that.", where=name)
    return width, height


def _damaged(name: str) -> MockupError:
    return MockupError("This raw camera file is damaged, or of a camera that is not known.",
                       fix="Copy it again, or develop it and export it as JPEG, PNG or TIFF.", where=name)
