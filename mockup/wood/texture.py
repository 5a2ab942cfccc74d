"""A generated board as a picture and the words beside it: what the library of textures is made of."""

from __future__ import annotations

import numpy as np

from mockup.colour.spaces import encode_srgb
from mockup.wood.board import Board

__all__ = ["board_rgb", "board_toml"]


def board_rgb(board: Board) -> np.ndarray:
    """(H, W, 3) uint8 sRGB of a board's reflectance, rounded with a dither that depends on the place alone."""
    out = np.empty(board.reflectance.shape, np.uint8)
    # A dither of one code keeps flat cream from banding; its seed is fixed, so the picture stays the same.
    noise = np.random.Generator(np.random.SFC64(1)).random((64, out.shape[1], 1), dtype=np.float32)
    for top in range(0, len(out), 64):
        part = encode_srgb(board.reflectance[top: top + 64]) * np.float32(255)
        out[top: top + 64] = np.floor(part + noise[: len(part)]).clip(0, 255).astype(np.uint8)
    return out


def board_toml(board: Board) -> str:
    """The TOML that belongs beside the picture of a generated board (lengths mm, degrees)."""
    return (f'wood = "{board.species.words}"        # words for captions\n'
            f'species = "{board.species.name}"\n'
            f'cut = "{board.cut}"\n'
            f"mm_per_pixel = {1 / board.px_per_mm:.7g}\n"
            "grain = 90                # degrees: 90 = the grain runs along y of the picture\n"
            "actual = false            # a drawn board, not the very piece\n"
            f'made = "{board.made}"\n')
