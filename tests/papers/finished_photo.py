"""A photograph of a finished part on a bench: the camera of the tests of boards, and a part of any outline laid before it."""

import sys
from pathlib import Path

import cv2
import numpy as np

from mockup.board.sheet import GREY_BOX, HALF, STRIP_WIDTH, reference_sheet
from mockup.colour.spaces import decode_srgb
from mockup.outline.coverage import coverage
from mockup.render.layers import seen_pieces
from mockup.render.picture import picture

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "board"))
import simulator  # noqa: E402

AROUND = 60.0  # mm of bench around the part, for strips and card


def finished(scene, pieces=None, scale=2.0, side="front"):
    """The part as reflectance (H, W, 3), how much of each pixel it covers, and the drawing point of the picture's corner.

    pieces  names of the parts that are there, all for None.
    """
    made = picture(scene, side=side, scale=scale)
    cover = np.zeros(made.pixels.shape[:2], np.float32)
    for piece in seen_pieces(scene, side):
        if pieces is None or piece.name in pieces or getattr(piece, "part", None) in pieces:
            cover = np.maximum(cover, coverage(piece.shape, origin=made.canvas.origin, px_per_mm=scale, size=made.canvas.size))
    return decode_srgb(made.pixels.astype(np.float32) / 255).astype(np.float32), cover, made.canvas.origin


def take(light, cover, *, scale=2.0, turn=0.0, bench=(30, 2, 4), seed=3, size_px=(2400, 1800), grey=True, rough=0.04, **how):
    """JPEG bytes of the part, strips and grey card on a bench; and where points (N, 2) in mm of the picture come to lie in it, px."""
    rng = np.random.default_rng(seed)
    high, wide = (n / scale for n in cover.shape)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    spin = np.array([[c, -s], [s, c]])
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]]) @ spin.T
    low, top = corners.min(axis=0), corners.max(axis=0)
    across, down = top - low
    world = simulator.World((max(across + 2 * AROUND + 110, 400), max(down + 2 * AROUND, 320)), bench, rng, texture=rough)
    at = np.array([AROUND, AROUND]) - low
    motion = np.column_stack([spin, at])
    # Pixel centres: mm = (i + 0.5) / scale.
    k = simulator.FINE / scale
    m = np.column_stack([spin * k, at * simulator.FINE + spin @ (0.5, 0.5) * k - 0.5])
    size = world.paint.shape[1::-1]
    over = cv2.warpAffine(light, m, size, flags=cv2.INTER_LINEAR)
    share = cv2.warpAffine(cover, m, size, flags=cv2.INTER_LINEAR)[..., None]
    world.paint = world.paint * (1 - share) + over * share
    sheet = reference_sheet()
    paper, ink = np.array([0.86, 0.865, 0.875]), np.array([0.045, 0.045, 0.047])
    x1, y1 = AROUND + across, AROUND + down
    places = {"A": (AROUND + 0.02 * across, AROUND - STRIP_WIDTH - 22, 0.4), "B": (max(x1 - 205, 10), y1 + 14, -0.5),
              "C": (AROUND - 24, AROUND + max(down / 2 - 100, 0), 90.6)}
    for piece in sheet.pieces:
        name = piece.name[0]
        if name in places:
            x, y, angle = places[name]
            co, si = np.cos(np.radians(angle)), np.sin(np.radians(angle))
            half = HALF if piece.name.endswith("2") else 0.0
            world.lay(simulator.piece_picture(piece, sheet.dictionary, paper, ink), 16.0, (x + co * half, y + si * half), angle)
    if grey:
        panel, corner = sheet.pieces[-1], np.array([x1 + 26.0, 30.0])
        world.lay(simulator.piece_picture(panel, sheet.dictionary, paper, ink), 16.0, corner, 0.0)
        gx0, gy0, gx1, gy1 = GREY_BOX
        card = np.full((int((gy1 - gy0 - 4) * 8), int((gx1 - gx0 - 4) * 8), 3), 0.18, np.float32)
        world.lay(card, 8.0, corner + (gx0 + 2, gy0 + 2), 0.0)
    info = dict(reflectance=light, size_mm=(wide, high), origin=tuple(at), turn=turn)
    data, truth = simulator.photograph(world, info, rng=rng, size_px=size_px, **{"tilt": 12, "fall": 1.3, "kelvin": 5000, **how})
    return data, lambda mm: truth.to_image(mm @ motion[:, :2].T + motion[:, 2])
