"""The shop light: one soft window up on the left, a strip on the right, two tubes overhead, a dim room.

Directions are those of the reflected ray, seen from straight above: (x, y) of
the unit vector, x right, y down. Levels are radiance, 1 = a white diffuser
under the same light. A flat face shows the reflectance of the wood as it is.
"""

from __future__ import annotations

import math

import numpy as np

from ..finish.sheen import roughness

__all__ = ["diffuse", "mirror", "shine"]

F0 = 0.04  # normal reflectance of a film of n = 1.5
# Along and across the window's own sides: centre, half width, half height, level.
WINDOWS = ((-0.42, -0.36, 0.27, 0.30, 4.4), (0.86, 0.10, 0.10, 0.50, 1.8))
SLANT = math.radians(24.0)  # the shop's windows stand askew to the bench: edges cross the grain, not along it
# Two tubes high above the bench, dim enough to see wood through: a flat face shows its
# gloss by how sharp they lie in it. They run askew over a body, whether it stands or lies. Centre and half width across, level.
TUBES, TUBES_SLANT = ((0.030, 0.0105, 1.7), (0.062, 0.0085, 1.3)), math.radians(50.0)
ROOM, BENCH = 0.10, 0.30
VEIL = 0.16  # how much of a window a rough face spreads over all directions, per unit of alpha
EYE = 1900.0  # mm above the bench: what a flat, glossy face mirrors changes across it
# What metal mirrors besides the windows: a pale ceiling, brighter toward them, dark walls, the bench.
CEILING, TOWARD, WALL = 0.74, 0.50, 0.10
GLARE = 0.44  # of the windows that a polished plate of the shop's hardware mirrors: none is optically flat
WAVES = 0.11  # and the least one of a face that was carved by hand
HUMBLE = 0.4  # of a window that such a face shows: turned into soft patches, all of it would lie over the figure like fog
CALM = 0.34  # the width of lobe through which a flat plate sees a window


def diffuse(nx: np.ndarray, ny: np.ndarray, nz: np.ndarray) -> np.ndarray:
    """Light on a face of unit normal (nx, ny, nz), 1 where it lies flat."""
    return (0.45 + 0.55 * (nz - 0.45 * nx - 0.50 * ny)).astype(np.float32)


def _box(x: np.ndarray, centre: float, half: float, blur: float) -> np.ndarray:
    # A box seen through a lobe of width ``blur``: two soft edges.
    return 0.5 * (np.tanh((x - centre + half) / blur) - np.tanh((x - centre - half) / blur))


def _reflected(nx, ny, nz, x, y):
    """The eye's ray mirrored in the normal, (rx, ry, rz), and the cosine between them."""
    # 2 (n.v) n - v, v from the surface to the eye.
    vx, vy = -x / EYE, -y / EYE
    vz = 1 / np.sqrt(1 + vx * vx + vy * vy)
    vx, vy = vx * vz, vy * vz
    cosine = np.clip(nx * vx + ny * vy + nz * vz, 0, 1)
    return 2 * cosine * nx - vx, 2 * cosine * ny - vy, 2 * cosine * nz - vz, cosine


def _askew(rx, ry):
    return rx * math.cos(SLANT) + ry * math.sin(SLANT), ry * math.cos(SLANT) - rx * math.sin(SLANT)


def shine(nx: np.ndarray, ny: np.ndarray, nz: np.ndarray, x: np.ndarray, y: np.ndarray, gloss: float, *,
          carved: bool = False, turns: float = 0.0) -> np.ndarray:
    """Light mirrored by the surface, to be added to the body's, any shape.

    x, y are mm from the middle of the instrument. A rougher surface (lower
    gloss units) sees the windows through a wider lobe: the highlight fades
    into a veil. A ``carved`` face waves under a long straightedge: it
    mirrors a window with soft sides, and of a tube nothing that could be told.
    Where what is mirrored ``turns`` by so much from one sample to the next,
    each sees all of that.
    """
    alpha = float(roughness(gloss))
    rx, ry, rz, cosine = _reflected(nx, ny, nz, x, y)
    # Steep rims mirror the bench, not the windows: without a horizon they glow like a halo.
    sky = np.clip(rz / 0.35, 0, 1)
    sky = sky * sky * (3 - 2 * sky)
    blur = max(1.3 * alpha, WAVES if carved else 0.006, 0.5 * turns)
    light = BENCH + (ROOM - BENCH) * sky
    across = rx * math.cos(TUBES_SLANT) + ry * math.sin(TUBES_SLANT)
    for centre, half, level in TUBES if not carved else ():
        light = light + level * sky * _box(across, centre, half, blur)
    rx, ry = _askew(rx, ry)
    share = HUMBLE if carved else 1.0
    for cx, cy, hx, hy, level in WINDOWS:
        light = light + share * level * sky * _box(rx, cx, hx, blur) * _box(ry, cy, hy, blur)
        # GGX has a long tail: a rough face sees a little of the window everywhere.
        d2 = np.maximum(np.abs(rx - cx) - hx, 0) ** 2 + np.maximum(np.abs(ry - cy) - hy, 0) ** 2
        light = light + VEIL * alpha * level * sky / (1 + d2 / 0.25)
    schlick = F0 + (1 - F0) * (1 - cosine) ** 5
    # Rough faces shadow themselves: at grazing angles a matt one hardly mirrors.
    schlick *= 1 / (1 + 6 * alpha * (1 - cosine))
    return (schlick * light).astype(np.float32)


def mirror(nx: np.ndarray, ny: np.ndarray, nz: np.ndarray, x: np.ndarray, y: np.ndarray, gloss: float, *, calm: bool = False) -> np.ndarray:
    """What a metal mirrors of the room, any shape: times the metal's own reflectance it is the light from it.

    ``calm`` is for flat plates: brushed or not quite true, they blur a window into a slow change from end to end.
    """
    alpha = float(roughness(gloss))
    rx, ry, rz, _ = _reflected(nx, ny, nz, x, y)
    blur = max(1.6 * alpha, 0.11)
    wall = np.clip((rz - 0.02) / (0.34 + blur), 0, 1)
    wall = wall * wall * (3 - 2 * wall)
    bench = np.clip((-rz - 0.05) / 0.4, 0, 1)
    rx, ry = _askew(rx, ry)
    room = WALL + 0.35 * bench + wall * (CEILING - WALL - TOWARD * (0.62 * rx + 0.78 * ry))
    for cx, cy, hx, hy, level in WINDOWS:
        soft, share = (max(blur, CALM), 0.35 * GLARE) if calm else (blur, GLARE)
        room = room + share * level * wall * _box(rx, cx, hx, soft) * _box(ry, cy, hy, soft)
    return np.maximum(room, 0.02).astype(np.float32)
