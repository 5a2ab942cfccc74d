"""How much colour error the fast path adds to what rounding to 8 bits costs anyway."""

import numpy as np

from mockup.colour.spaces import encode_srgb, linear_to_lab
from mockup.finish.axes import in_axes
from mockup.finish.bake import SHIMMER, engine_colour
from mockup.finish.steps import Coat, Finish, StainStep
from mockup.render.bare import bare_source
from mockup.render.boards import load_board
from mockup.render.canvas import Canvas
from mockup.render.encode import dither_rows, encode_rows
from mockup.render.kept import Kept
from mockup.render.picture import finished_wood
from mockup.render.placement import leaves
from mockup.scene.library import films, stains

from dataclasses import replace

__all__ = ["colour_error"]

SIDE = 128  # pixels, the largest block that one call of the dither covers


def colour_error(scene, stain: str) -> tuple[float, float, float]:
    """(ratio, error of the picture, error of rounding alone), the errors as mean ΔE76, for a dye under varnish.

    The picture's path: 16-bit axes, baked table, 8 bits with dither. The
    reference: the same board pixels through the finish engine in float64,
    then the same dither. Unlit, at one picture pixel per board pixel.
    """
    kept = Kept()
    finish = Finish(steps=(StainStep(stain=stains()[stain].value, strength=0.7), Coat(film=films()["oil varnish"].value, coats=4)))
    part = next(p for p in scene.parts if p.placement.cut == "single")
    part = replace(part, finish=finish)
    board = load_board(scene.boards[part.board], kept)
    scale = 1 / board.mm_per_pixel
    canvas = Canvas.around(part.shape.bounds, scale, 0)
    x, y = canvas.width // 2 // SIDE * SIDE, canvas.height // 2 // SIDE * SIDE
    window = (x, y, x + SIDE, y + SIDE)
    source = bare_source(board, leaves(part), canvas, window)
    rows = source.rows(0, SIDE)
    wood = finished_wood(part, board, rows, canvas, window, kept)
    noise = dither_rows(0, SIDE, SIDE)
    drawn = encode_rows(wood.block(rows, canvas, (0, SIDE), (0, SIDE), 0), noise)

    exact = _reference(source, board, finish)
    codes = encode_srgb(np.clip(exact, 0, 1)) * 255
    rounded = np.clip(np.floor(codes + noise[..., None] / 256), 0, 255)
    lab = linear_to_lab(exact)
    errors = [float(np.linalg.norm(_lab(image) - lab, axis=-1).mean()) for image in (drawn, rounded)]
    return errors[0] / errors[1], *errors


def _lab(codes: np.ndarray) -> np.ndarray:
    v = codes / 255.0
    return linear_to_lab(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4))


def _reference(source, board, finish) -> np.ndarray:
    """Finished linear colour (H, W, 3) float64 straight from the board's pixels."""
    import cv2

    leaf = source.leaves[0]
    matrix = leaf.to_pixels
    assert np.allclose(np.abs(matrix[:, :2]), np.eye(2)) and not leaf.second, "a straight cut at equal scale copies pixels"
    x0, y0 = np.round(matrix[:, 2]).astype(int)
    pixels = board.pixels[y0:y0 + SIDE, x0:x0 + SIDE] / 65535.0
    t, c, r = in_axes(np.cbrt(pixels), board.axes)
    around = cv2.warpAffine(board.surround, leaf.to_surround, (SIDE, SIDE), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    w = t - around
    return engine_colour(finish, board.axes, t - SHIMMER * w, c, w, r)
