"""From the bytes of a picture file to the numbers stored in it."""

from __future__ import annotations

import cv2
import numpy as np

from mockup.errors import MockupError
from mockup.files.heic import heic_codes
from mockup.files.header import Header, open_lazily
from mockup.files.quiet import quiet_opencv, quiet_pillow

__all__ = ["decode", "turn_upright"]


def decode(data: bytes, header: Header, name: str) -> tuple[np.ndarray, np.ndarray | None]:
    """Colour and alpha as stored, upright.

    Colour is (H, W) for grey, (H, W, 3) for RGB or (H, W, 4) for CMYK ink,
    uint8 or uint16; alpha is (H, W) uint8, None when opaque. Raises
    MockupError when the file is cut off or damaged.
    """
    try:
        with quiet_pillow(), quiet_opencv():
            colour, alpha = _pixels(data, header)
    except MemoryError:
        raise MockupError("This picture does not fit in memory.", fix="Make it smaller and use that.",
                          where=name) from None
    except Exception:  # damaged data fails in the decoders in many ways
        colour = alpha = None
    width, height = (header.width, header.height)
    if colour is None or colour.shape[:2] != (height, width):
        raise MockupError(f"This {header.kind} file is cut off or damaged.",
                          fix="Copy or export it again from the original.", where=name)
    if alpha is not None:
        if alpha.dtype == np.uint16:
            alpha = cv2.convertScaleAbs(alpha, alpha=1 / 257)
        alpha = None if cv2.minMaxLoc(alpha)[0] == 255 else turn_upright(alpha, header.turn)
    return turn_upright(colour, header.turn), alpha


def turn_upright(array: np.ndarray, turn: int) -> np.ndarray:
    """Undo an EXIF orientation 1..8 (Exif 3.0, tag 274) of a (H, W) or (H, W, C) array."""
    match turn:
        case 2:
            return cv2.flip(array, 1)
        case 3:
            return cv2.rotate(array, cv2.ROTATE_180)
        case 4:
            return cv2.flip(array, 0)
        case 5:
            return cv2.transpose(array)
        case 6:
            return cv2.rotate(array, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            return cv2.rotate(cv2.transpose(array), cv2.ROTATE_180)
        case 8:
            return cv2.rotate(array, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return array


def _pixels(data: bytes, header: Header) -> tuple[np.ndarray | None, np.ndarray | None]:
    if header.kind == "HEIC":
        return _apart(heic_codes(data))
    plain = header.kind in ("JPEG", "PNG", "WebP") and header.bits == 8 and not header.keyed
    if plain and header.mode == "RGB":
        return _cv2(data, cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION), None
    if plain and header.mode == "L":
        return _cv2(data, cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION), None
    if header.bits == 16 or (plain and header.mode == "RGBA"):
        return _split(_cv2(data, cv2.IMREAD_UNCHANGED), header)
    image = open_lazily(data, header.kind)
    image.load()
    if image.mode == "CMYK":
        return np.asarray(image), None
    if image.mode in ("RGBA", "LA", "PA", "RGBa", "La") or "transparency" in image.info:
        if image.mode == "La":
            image = image.convert("LA")
        pixels = np.asarray(image.convert("RGBA"))
        return np.ascontiguousarray(pixels[..., :3]), np.ascontiguousarray(pixels[..., 3])
    return np.asarray(image.convert("L" if image.mode in ("1", "L") else "RGB")), None


def _cv2(data: bytes, flags: int) -> np.ndarray | None:
    return cv2.imdecode(np.frombuffer(data, np.uint8), flags)


def _apart(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray | None]:
    """Grey or RGB, and alpha, of channels in that order."""
    if pixels.ndim == 2 or pixels.shape[2] == 3:
        return np.ascontiguousarray(pixels), None
    colour = pixels[..., 0] if pixels.shape[2] == 2 else pixels[..., :3]
    return np.ascontiguousarray(colour), np.ascontiguousarray(pixels[..., -1])


def _split(pixels: np.ndarray | None, header: Header) -> tuple[np.ndarray | None, np.ndarray | None]:
    """OpenCV's order of channels to grey or RGB, and alpha."""
    if pixels is None or (header.bits == 16 and pixels.dtype != np.uint16):
        return None, None
    if pixels.ndim == 2:
        return (65535 - pixels if header.inverted else pixels), None
    if pixels.shape[2] == 3:
        return cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB), None
    if pixels.shape[2] == 2:
        colour, alpha = np.ascontiguousarray(pixels[..., 0]), np.ascontiguousarray(pixels[..., 1])
        colour = 65535 - colour if header.inverted else colour
    else:
        colour, alpha = cv2.cvtColor(pixels, cv2.COLOR_BGRA2RGB), np.ascontiguousarray(pixels[..., 3])
    if header.multiplied:
        top = np.float32(np.iinfo(pixels.dtype).max)
        share = np.maximum(alpha, 1).astype(np.float32) / top
        share = share if colour.ndim == 2 else share[..., None]
        colour = np.minimum(np.rint(colour / share), top).astype(pixels.dtype)
    return colour, alpha
