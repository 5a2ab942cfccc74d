"""How far a calibrated board is from the truth it was photographed from."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from simulator import FINE

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab, luminance


@dataclass(frozen=True)
class Score:
    """length: worst relative error of 600 lengths on the board; colour: mean ΔE00 of 10 mm squares; colour_mean: ΔE00
    of the board's mean; contrast: figure's strength over the true one, less 1; edges: mm, worst corner outside the board."""

    length: float
    colour: float
    colour_mean: float
    contrast: float
    edges: float


def true_view(board, truth, mm):
    """Points of the result (..., 2) mm to mm on the true board."""
    px = board.survey.plane.to_image(mm.reshape(-1, 2))
    return truth.on_board(truth.to_plane(px)).reshape(mm.shape)


def figure(linear, scale):
    """Strength of what changes over about 4 to 30 mm: the figure."""
    y = np.log(np.maximum(luminance(linear), 1e-3)).astype(np.float32)
    y = cv2.GaussianBlur(y, (0, 0), 1.2 * scale) - cv2.GaussianBlur(y, (0, 0), 6 * scale)
    edge = int(8 * scale)
    return float(y[edge:-edge, edge:-edge].std())


def score(board, truth) -> Score:
    h, w = board.pixels.shape[:2]
    scale = board.px_per_mm
    grid = np.stack(np.meshgrid(np.linspace(0, w / scale, 7), np.linspace(0, h / scale, 5)), -1).reshape(-1, 2)
    real = true_view(board, truth, grid)
    d = lambda p: np.linalg.norm(p[:, None] - p[None], axis=2)
    far = d(grid) > 50
    length = float(np.abs(d(real)[far] / d(grid)[far] - 1).max())
    yy, xx = np.mgrid[:h, :w]
    at = true_view(board, truth, (np.stack([xx, yy], -1) + 0.5) / scale) * FINE - 0.5
    sharp = truth.reflectance
    step = FINE / scale
    if step > 1:
        sharp = cv2.GaussianBlur(sharp, (0, 0), 0.4 * step)
    same = cv2.remap(sharp, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR,
                     borderMode=cv2.BORDER_REPLICATE)
    ours = board.pixels / np.float32(65535)
    k = int(10 * scale)
    blocks = lambda a: a[:h // k * k, :w // k * k].reshape(h // k, k, w // k, k, 3).mean((1, 3))
    lab = lambda a: linear_to_lab(np.maximum(a, 1e-4))
    ends = true_view(board, truth, np.array([[0, 0], [w, 0], [w, h], [0, h]]) / scale)
    outside = np.maximum(-ends, ends - np.array(truth.size_mm)).max()
    return Score(length, float(ciede2000(lab(blocks(ours)), lab(blocks(same))).mean()),
                 float(ciede2000(lab(ours.mean((0, 1))), lab(same.mean((0, 1))))),
                 figure(ours, scale) / figure(same, scale) - 1, float(outside))
