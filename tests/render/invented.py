"""Invented boards and scenes for the tests of the renderer."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from mockup.finish.steps import Film, Finish, Stain
from mockup.outline.shape import Shape, ring_area
from mockup.scene.values import Binding, BoardRef, Edge, Part, Placement, Scene

AMBER = Stain(name="amber", words="amber dye", absorb=(0.02, 0.4, 3.0))
BLACK = Stain(name="black", words="black dye", absorb=(3.0, 3.0, 3.0))
VARNISH = Film(name="oil varnish", words="oil varnish", absorb=(0.002, 0.008, 0.027), wet=0.35)


def shape_of(points: np.ndarray) -> Shape:
    points = np.asarray(points, np.float64)
    return Shape((points if ring_area(points) > 0 else points[::-1],))


def box(x0: float, y0: float, x1: float, y1: float) -> Shape:
    return shape_of([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def egg(cx: float, cy: float, rx: float, ry: float) -> Shape:
    """A closed curve without any symmetry."""
    t = np.linspace(0, 2 * np.pi, 1200, endpoint=False)
    r = 1 + 0.10 * np.cos(2 * t + 0.4) + 0.06 * np.cos(3 * t + 1.3)
    return shape_of(np.stack([cx + rx * r * np.cos(t), cy + ry * r * np.sin(t)], axis=1))


def wood_codes(height: int, width: int, seed: int = 3) -> np.ndarray:
    """sRGB codes (H, W, 3) uint8 of a warm, streaky board; grain along x, nothing symmetric."""
    rng = np.random.default_rng(seed)
    streaks = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), sigmaX=12, sigmaY=1.2)
    curl = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), sigmaX=3, sigmaY=9)
    level = 12 * streaks / streaks.std() + 8 * curl / curl.std()
    warm = np.array([1.0, 1.1, 1.3], np.float32)
    return np.clip(np.array([196, 158, 112], np.float32) + level[..., None] * warm + rng.normal(0, 1.5, (height, width, 3)), 0, 255).astype(np.uint8)


def save(path: Path, codes: np.ndarray) -> Path:
    assert cv2.imwrite(str(path), codes[..., ::-1])
    return path


def make_scene(path: Path, mm_per_pixel: float, size: tuple[int, int], *, shape: Shape | None = None, finish: Finish = Finish(),
               cut: str = "single", at: tuple[float, float] | None = None, turn: float = 0.0, joint: float = 0.0, slip: float = 0.0,
               binding: Binding | None = None, roundover: float = 4.0, parts: tuple[Part, ...] | None = None) -> Scene:
    """A scene of one part, or of the parts given, on one board; ``size`` is the board's (width, height) in pixels."""
    size_mm = (size[0] * mm_per_pixel, size[1] * mm_per_pixel)
    board = BoardRef(name="plank", path=path, mm_per_pixel=mm_per_pixel, wood="test wood", actual=False, grain=0.0, size_mm=size_mm)
    if parts is None:
        parts = (make_part(shape or egg(0, 0, 40, 50), at or (size_mm[0] / 2, size_mm[1] / 2), finish=finish, cut=cut, turn=turn,
                           joint=joint, slip=slip, binding=binding, roundover=roundover),)
    return Scene(name="test", title="Test", revision="A", client="", date=None, hand="right", centre=0.0, ground=(88.0, 0.0, 0.0),
                 folder=path.parent, file=path.parent / "test.toml", boards={"plank": board}, parts=parts, variants=(), sources={},
                 resolved={})


def make_part(shape: Shape, at: tuple[float, float], *, name: str = "body", finish: Finish = Finish(), cut: str = "single",
              turn: float = 0.0, joint: float = 0.0, slip: float = 0.0, binding: Binding | None = None, roundover: float = 4.0,
              height: float = 45.0, side: str = "both") -> Part:
    return Part(name=name, title=name.title(), shape=shape, board="plank",
                placement=Placement(at=at, turn=turn, cut=cut, joint=joint, slip=slip), finish=finish, edge=Edge(roundover=roundover),
                binding=binding, height=height, side=side)
