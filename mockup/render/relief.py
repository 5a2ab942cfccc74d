"""The shape of a part's surface, and the light on it."""

from __future__ import annotations

import cv2
import numpy as np

from ..outline.closed import BEYOND, rim_strip
from ..outline.distance import edge_strip
from ..outline.shape import Shape, ring_area
from ..scene.values import Edge, Form
from .canvas import Canvas
from .coarse import Coarse, fine_canvas
from .finished import shape_key
from .form import form_key, form_lean
from .kept import Kept
from .light import diffuse, mirror, shine

__all__ = ["part_lighting"]

LEAST, MOST = 3.0, 3.5  # samples per mm that a roundover of some mm needs
LEAST_SMALL, MOST_SMALL = 5.0, 9.0  # and those of hardware
STEEPEST = 0.94
EASES = 0.2   # lean up to which a rim's light is eased into that of the face
SPUN = np.linspace(-0.5, 0.5, 9)  # how far the grooves of a turned face lean, and how much of each
SPUN_SHARE = np.exp(-0.5 * (SPUN / 0.22) ** 2)

CROWN, CROWN_MOST, CROWNED = 0.011, 0.12, 25.0  # lean per mm from the middle of a metal plate, its most, and the least area in mm² of one


def _ripple(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of a rubbed-out film, a thousandth or two: enough to bend a window's edge as real film does."""
    nx = 0.0011 * np.sin(x / 17.3 + 0.7 * np.sin(y / 31.0)) + 0.0008 * np.sin(y / 11.9 + x / 37.0)
    ny = 0.0011 * np.sin(y / 19.1 + 0.8 * np.sin(x / 27.0)) + 0.0008 * np.sin(x / 13.3 - y / 41.0)
    return nx, ny


def part_lighting(shape: Shape, edge: Edge, form: Form, gloss: float, picture: Canvas, window: tuple[int, int, int, int],
                  middle: tuple[float, float], *, metal: bool = False, spun: bool = False, small: bool = False,
                  kept: Kept | None = None) -> tuple[Coarse, Coarse | None]:
    """Light on a part with a quarter-round or a bevel along its edge.

    ``middle`` is the drawing point under the eye. Returns what multiplies the
    light of the body (1 where the part lies flat), and what the surface adds
    to it (None for nothing). A metal has no body of its own: what it mirrors
    multiplies its reflectance. ``small`` parts are worked out finer. What does
    not depend on the gloss is kept in ``kept``.
    """
    kept = Kept() if kept is None else kept
    least, most = (LEAST_SMALL, MOST_SMALL) if small else (LEAST, MOST)
    if edge.roundover > 0:
        # A window in a narrow rim is a line of some hundredths of a mm: too few samples would break it into dashes.
        least, most = (max(v, min(MOST_SMALL, 6.0 / edge.roundover)) for v in (least, most))
    canvas, factor = fine_canvas(picture, window, least, max(least, most))
    s, (ox, oy), (width, height) = canvas.px_per_mm, canvas.origin, canvas.size
    lean = kept.get(("lean", shape_key(shape), form_key(form)), lambda: form_lean(form, shape), lambda c: 0 if c is None else c.values.nbytes)

    def lit(nx, ny, nz, x, y, flat=False, turns=0.0):
        """What faces of unit normals at drawing points less ``middle`` mirror: all that is seen of a metal, the surface of the rest."""
        room = (*picture.in_room(nx, ny), nz, *picture.in_room(x, y), gloss)
        return mirror(*room, calm=flat) if metal else shine(*room, carved=lean is not None, turns=turns)

    # The face: smooth, so a few samples per cm do, or a few per mm where it leans.
    cell = max(1, int(s * (2 if lean is None else 0.75)))
    xs = (ox - middle[0] + (np.arange(0, width + cell, cell) + 0.5) / s).astype(np.float32)
    ys = (oy - middle[1] + (np.arange(0, height + cell, cell) + 0.5) / s).astype(np.float32)
    x, y = np.meshgrid(xs, ys)
    nx, ny = _ripple(x, y)
    if lean is not None:
        leant = _sampled(lean, x + middle[0], y + middle[1])
        nx, ny = nx + leant[..., 0], ny + leant[..., 1]
    face = (nx, ny, np.sqrt(np.maximum(1 - nx * nx - ny * ny, 0.0)), x, y)
    # Only the rim is drawn so fine; the face is spread at the picture's own fineness.
    size = (width // factor, height // factor)
    coarse = canvas if factor == 1 else Canvas(canvas.origin, picture.px_per_mm, size)
    matrix = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2]], np.float64) / cell

    def spread(field: np.ndarray) -> np.ndarray:
        return cv2.warpAffine(field, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)

    main = spread(lit(*face, flat=True))
    if metal and not spun:
        _crown(main, shape, coarse, lit, middle)
    edges = None
    rim_width = max(edge.roundover, edge.bevel)
    if rim_width > 0:
        rim, d, toward, laid = kept.get(("rim", shape_key(shape), canvas, rim_width, factor), lambda: _rim(shape, canvas, rim_width, factor), _rim_bytes)
        slope = np.clip(1 - d / np.float32(edge.roundover), 0, np.float32(STEEPEST)) if edge.roundover > 0 else np.zeros(len(d), np.float32)
        if edge.bevel > 0:
            # 45 degrees, its two edges broken by a stroke of the file.
            slope = np.maximum(slope, 0.707 * np.clip((edge.bevel - d) / 0.5 + 0.5, 0, 1)).astype(np.float32)
        nx, ny = -toward[:, 0] * slope, -toward[:, 1] * slope
        x = (ox - middle[0] + (rim[1] + 0.5) / s).astype(np.float32)
        y = (oy - middle[1] + (rim[0] + 0.5) / s).astype(np.float32)
        if lean is not None:
            leant = _sampled(lean, x + middle[0], y + middle[1])
            nx, ny = nx + leant[..., 0], ny + leant[..., 1]
            over = np.minimum(1.0, STEEPEST / np.maximum(np.hypot(nx, ny), 1e-9))
            nx, ny = nx * over, ny * over
            nz = np.sqrt(1 - nx * nx - ny * ny)
        else:
            nz = np.sqrt(1 - slope * slope)
        rx, ry = _ripple(x, y)
        edges = laid, (nx, ny, nz)
        # What is mirrored turns twice as fast as the face: by so much, sine of the angle, from one sample to the next.
        found = lit(nx + rx, ny + ry, nz, x, y, turns=2 / (edge.roundover * s) if edge.roundover > 0 else 0.0)
        # Where the rim begins it goes on as the face does, which is sampled and, of metal, made otherwise: a step there would be a line of dashes.
        own = main.ravel()[laid[0]][laid[1]]
        _lay(main, laid, own + np.minimum(slope / np.float32(EASES), 1) * (found - own))
    if spun and metal:
        _spin(main, shape, edge.roundover, coarse, lit)

    def wood() -> np.ndarray:
        """The light of a body, which no gloss changes."""
        body = np.ones(size[::-1], np.float32) if lean is None else spread(diffuse(*picture.in_room(face[0], face[1]), face[2]))
        if edges is not None:
            nx, ny, nz = edges[1]
            _lay(body, edges[0], diffuse(*picture.in_room(nx, ny), nz))
        return body

    body, surface = (main, None) if metal else \
        (kept.get(("body", shape_key(shape), canvas, picture.lying, factor, edge, form_key(form), small), wood, lambda b: b.nbytes), main)
    return Coarse(body, coarse), None if surface is None else Coarse(surface, coarse)


def _lay(field: np.ndarray, laid: tuple[np.ndarray, ...], values: np.ndarray) -> None:
    """Put values at the samples of a rim into a field whose pixels are whole blocks of them, by area."""
    pixels, at, weight, face, share = laid
    flat = field.ravel()
    # What is no sample of the rim keeps the value of the face.
    flat[pixels] = (face * flat[pixels] + np.bincount(at, weight * values, len(pixels))) / share


def _laid(rim: tuple[np.ndarray, np.ndarray], d: np.ndarray, canvas: Canvas, factor: int) -> tuple[np.ndarray, ...]:
    """Of samples ``d`` mm within the edge: the pixels of factor x factor samples they fall in, in which of those each does and with
    what weight, and the share of the face in each pixel and of all."""
    width, height = canvas.width // factor, canvas.height // factor
    at = (rim[0] // factor) * width + rim[1] // factor
    # Beyond the edge is no light of the part's: coverage ends it there.
    weight = np.where(d > 0, np.float32(1), np.float32(1e-3))
    if factor == 1:
        return at, np.arange(len(at)), weight, np.zeros(len(at), np.float32), weight
    touched = np.zeros(width * height, bool)
    touched[at] = True
    pixels = np.flatnonzero(touched)
    place = np.empty(len(touched), np.int32)
    place[pixels] = np.arange(len(pixels), dtype=np.int32)
    at = place[at]
    face = (factor**2 - np.bincount(at)).astype(np.float32)
    return pixels, at, weight, face, face + np.bincount(at, weight, len(pixels))


def _rim(shape: Shape, canvas: Canvas, width: float, factor: int) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray, np.ndarray, tuple[np.ndarray, ...]]:
    """The samples (rows, columns) along an edge, how far in they lie, which way is in, and where they are ``_laid``."""
    place = {"origin": canvas.origin, "px_per_mm": canvas.px_per_mm, "size": canvas.size}
    # A little beyond the edge too: coverage, not light, ends the part there. All of the pixels that the edge runs
    # through, that is, and of those beside them from which light kept coarser than the picture is spread.
    beyond = min(BEYOND, 2.5 * factor / canvas.px_per_mm)
    rim, d, toward = rim_strip(shape, **place, beyond=beyond, within=width) or edge_strip(shape, **place, beyond=beyond, within=width)
    return rim, np.maximum(d, 0), toward, _laid(rim, d, canvas, factor)


def _rim_bytes(made: tuple) -> int:
    return sum(a.nbytes for a in (*made[0], made[1], made[2], *made[3]))


def _sampled(field: Coarse, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A field at drawing points of any shape (n,) or (h, w), linear between its samples."""
    c = field.canvas
    u = ((x - c.origin[0]) * c.px_per_mm - 0.5).astype(np.float32)
    v = ((y - c.origin[1]) * c.px_per_mm - 0.5).astype(np.float32)
    if u.ndim == 2:
        return cv2.remap(field.values, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    if not len(u):  # a crop that no edge runs through
        return np.zeros((0, 2), np.float32)
    # OpenCV maps planes of less than 32768 columns: fold the list of points into one.
    rows = -(-len(u) // 4096)
    folded = [np.pad(a, (0, rows * 4096 - len(a))).reshape(rows, 4096) for a in (u, v)]
    return cv2.remap(field.values, *folded, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(-1, 2)[:len(u)]


def _crown(body: np.ndarray, shape: Shape, canvas: Canvas, lit, middle: tuple[float, float]) -> None:
    """Pressed and polished plates are never quite flat: each ring's face leans a little outward, so that it mirrors more than one spot."""
    s, (ox, oy) = canvas.px_per_mm, canvas.origin
    for ring in shape.rings:
        (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
        a, b = max(int((x0 - ox) * s) - 1, 0), min(int((x1 - ox) * s) + 3, body.shape[1])
        c, d = max(int((y0 - oy) * s) - 1, 0), min(int((y1 - oy) * s) + 3, body.shape[0])
        if a >= b or c >= d or ring_area(ring) < CROWNED:
            continue
        small = (max(2, int((b - a) / s)), max(2, int((d - c) / s)))
        x = ox + (a + (np.arange(small[0]) + 0.5) * (b - a) / small[0]) / s
        y = oy + (c + (np.arange(small[1]) + 0.5) * (d - c) / small[1]) / s
        x, y = np.meshgrid(x, y)
        nx, ny = (np.tanh((p - m) * CROWN / CROWN_MOST) * CROWN_MOST for p, m in ((x, (x0 + x1) / 2), (y, (y0 + y1) / 2)))
        shown = lit(nx, ny, np.sqrt(1 - nx * nx - ny * ny), x - middle[0], y - middle[1], flat=True)
        body[c:d, a:b] = cv2.resize(shown, (b - a, d - c), interpolation=cv2.INTER_LINEAR)


def _spin(body: np.ndarray, shape: Shape, roundover: float, canvas: Canvas, lit) -> None:
    """Lay the bow of light of a turned face over each round ring of a shape, within its roundover."""
    s, (ox, oy) = canvas.px_per_mm, canvas.origin
    turn = np.linspace(0, 2 * np.pi, 181)
    leans = SPUN[:, None] * np.stack((np.cos(turn), np.sin(turn)))[:, None, :]
    zero = np.zeros_like(leans[0])
    bow = (lit(leans[0], leans[1], np.sqrt(1 - SPUN[:, None] ** 2) + zero, zero, zero) * SPUN_SHARE[:, None]).sum(axis=0) / SPUN_SHARE.sum()
    for ring in shape.rings:
        (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
        cx, cy, r = (x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) / 2 - roundover
        a, b = max(int((x0 - ox) * s), 0), min(int((x1 - ox) * s) + 2, body.shape[1])
        c, d = max(int((y0 - oy) * s), 0), min(int((y1 - oy) * s) + 2, body.shape[0])
        if a >= b or c >= d or r <= 0:
            continue
        dx = ox + (np.arange(a, b) + 0.5) / s - cx
        dy = (oy + (np.arange(c, d) + 0.5) / s - cy)[:, None]
        far = np.hypot(dx, dy)
        angle = np.mod(np.arctan2(dy, dx), 2 * np.pi)
        shown = np.interp(angle, turn, bow)
        share = np.clip((r - far) * s + 0.5, 0, 1)
        body[c:d, a:b] += (share * (shown - body[c:d, a:b])).astype(np.float32)
