"""A looping picture to the bytes of a file, with its colour profile."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np

from mockup.errors import MockupError
from mockup.files.profile import srgb_profile

__all__ = ["MOVING", "encode_moving"]

MOVING = (".webp", ".gif")
_LONGEST = {".webp": 16_383, ".gif": 65_535}  # pixels, a limit of the format


def encode_moving(frames: Sequence[np.ndarray], suffix: str, *, ms: int, quality: int = 85) -> bytes:
    """The bytes of an endless loop.

    frames   (H, W, 3) uint8 sRGB, all of one size.
    suffix   one of ``MOVING``; a GIF has 256 colours, which all frames share.
    ms       each frame is shown for.
    quality  1 to 100, for WebP.

    Equal frames give equal bytes. Raises MockupError for another suffix and
    for frames too long for the format.
    """
    from PIL import Image

    suffix = suffix.lower()
    if suffix not in MOVING:
        raise MockupError(f'"{suffix}" is not a moving picture that can be written.', fix=f"Use one of: {', '.join(MOVING)}.")
    height, width = frames[0].shape[:2]
    if max(height, width) > _LONGEST[suffix]:
        raise MockupError(f"A moving picture of {width} x {height} pixels is too long for {suffix}.", fix="Make it smaller.")
    pictures = [Image.fromarray(np.ascontiguousarray(f)) for f in frames]
    out = io.BytesIO()
    if suffix == ".webp":
        pictures[0].save(out, "WEBP", save_all=True, append_images=pictures[1:], duration=ms, loop=0, quality=quality, method=2,
                         icc_profile=srgb_profile())
        return out.getvalue()
    # One palette, from all over the loop, or colours would jump from frame to frame.
    some = np.concatenate([f[::2, ::2] for f in frames[:: max(1, len(frames) // 6)]])
    palette = Image.fromarray(some).quantize(256, method=Image.Quantize.MEDIANCUT, kmeans=1)
    # Without dithering: wood has grain enough to hide the steps, and the file is half as large.
    flat = [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]
    flat[0].save(out, "GIF", save_all=True, append_images=flat[1:], duration=ms, loop=0, optimize=False, disposal=1)
    return out.getvalue()
