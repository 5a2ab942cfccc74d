"""A camera that photographs a known board: the truth for the tests of this room.

Everything lies in one plane, in mm, x right and y down: bench, board, pieces
of the reference sheet, grey card, colour target. It is lit by a near lamp,
seen through a lens, and developed as a phone does. The tone curves are
logistic and filmic, a family the program does not fit with.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from mockup.board.sheet import GREY_BOX, HALF, PANEL, STRIP_WIDTH, marker_bits, reference_sheet
from mockup.board.target import COLUMNS, ROWS, target_linear
from mockup.colour.light import D65, adaptation
from mockup.colour.spaces import SRGB_TO_XYZ, XYZ_TO_SRGB, lab_to_linear

FINE = 4.0  # px/mm of the flat world
PATCH, GAP = 15.0, 3.0

_woods: dict = {}


WOODS = {  # mean Lab, depth of the curl (L*), depth of the streaks (L*), heartwood across the board (Lab)
    "maple": ((78, 5.0, 21), 4.0, 1.6, (-2.5, 1.0, 2.0)),
    "mahogany": ((48, 17.0, 23), 0.8, 3.0, (-1.5, 0.8, 0.5)),
    "ash": ((73, 5.0, 19), 0.6, 4.5, (-4.0, 1.5, 3.0)),
    "walnut": ((40, 8.0, 14), 2.0, 3.5, (-4.5, 0.5, -1.0)),
}


def wood(species: str, size_mm, seed: int) -> np.ndarray:
    """Known reflectance, (H, W, 3) float32 at FINE px/mm, the grain along x; size (long, short) in mm.

    Curl across, streaks along, and a heart darker toward one side: a trap for
    whatever takes slow changes for light.
    """
    key = species, size_mm, seed
    if key not in _woods:
        lab, curl, streak, heart = WOODS[species]
        rng = np.random.default_rng([seed, sorted(WOODS).index(species)])
        w, h = (int(v * FINE) for v in size_mm)

        def noise(along, across):
            small = rng.standard_normal((max(int(h / across / FINE * 3), 4), max(int(w / along / FINE * 3), 4)))
            out = cv2.resize(cv2.GaussianBlur(small.astype(np.float32), (0, 0), 1.2), (w, h), interpolation=cv2.INTER_CUBIC)
            return (out - out.mean()) / out.std()

        y, x = np.mgrid[:h, :w].astype(np.float32) / FINE
        waves = np.sin(2 * np.pi * (x + 3.0 * noise(40, 25)) / (7.5 + seed)) * (0.7 + 0.4 * noise(50, 30))
        streaks = 0.6 * noise(60, 1.2) + 0.5 * noise(25, 0.5) + 0.5 * noise(150, 6)
        side = 1 / (1 + np.exp(-(y / size_mm[1] - 0.55 + 0.03 * noise(120, 80)) * 9)) - 0.5
        picture = np.float32(lab) + side[..., None] * np.float32(heart)
        picture = picture + (curl * waves + streak * streaks)[..., None] * np.float32([0.75, -0.1, -0.05])
        _woods[key] = np.clip(lab_to_linear(picture), 0.004, 0.95).astype(np.float32)
    return _woods[key]


@dataclass
class Truth:
    """What the photograph was made from."""

    reflectance: np.ndarray          # of the board, FINE px/mm
    size_mm: tuple[float, float]
    origin: tuple[float, float]      # of the board in the plane
    turn: float                      # degrees clockwise
    lens: np.ndarray
    bend: np.ndarray                 # Brown k1 k2 p1 p2
    view: np.ndarray                 # plane to ideal pixels
    size_px: tuple[int, int]
    grey_at: tuple[float, float] | None = None   # px
    target_at: np.ndarray | None = None          # px corners
    notes: dict = field(default_factory=dict)

    def to_plane(self, px):
        """Pixels (N, 2) to mm of the plane."""
        ideal = cv2.undistortPoints(np.asarray(px, np.float64).reshape(-1, 1, 2), self.lens, self.bend, P=self.lens,
                                    R=None).reshape(-1, 2) if np.any(self.bend) else np.asarray(px, float).reshape(-1, 2)
        out = np.column_stack([ideal, np.ones(len(ideal))]) @ np.linalg.inv(self.view).T
        return out[:, :2] / out[:, 2:]

    def to_image(self, mm):
        """mm of the plane (N, 2) to pixels."""
        p = np.column_stack([np.asarray(mm, float).reshape(-1, 2), np.ones(np.size(mm) // 2)]) @ self.view.T
        p = p[:, :2] / p[:, 2:]
        rays = np.column_stack([p, np.ones(len(p))]) @ np.linalg.inv(self.lens).T
        return cv2.projectPoints(rays.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), self.lens, self.bend)[0].reshape(-1, 2)

    def on_board(self, mm):
        """mm of the plane to mm on the board."""
        c, s = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        return (np.asarray(mm) - self.origin) @ np.array([[c, -s], [s, c]])

    def corners_px(self):
        """The board's corners in the photo, clockwise from its top left."""
        w, h = self.size_mm
        c, s = np.cos(np.radians(self.turn)), np.sin(np.radians(self.turn))
        box = np.array([[0, 0], [w, 0], [w, h], [0, h]]) @ np.array([[c, s], [-s, c]]) + self.origin
        return self.to_image(box)


class World:
    """The flat scene, painted in linear reflectance."""

    def __init__(self, size_mm, bench=(45, 2, 6), rng=None, texture=0.04):
        w, h = (int(v * FINE) for v in size_mm)
        self.mm = size_mm
        rng = rng or np.random.default_rng(0)
        self.paint = np.empty((h, w, 3), np.float32)
        self.paint[:] = np.clip(lab_to_linear(np.array(bench, float)), 0.005, 1)
        rough = cv2.GaussianBlur(rng.standard_normal((h // 2 + 1, w // 2 + 1)).astype(np.float32), (0, 0), 1.5)
        self.paint *= 1 + texture * cv2.resize(rough, (w, h), interpolation=cv2.INTER_LINEAR)[..., None] * 3

    def lay(self, picture, scale, at, turn):
        """Lay a picture of ``scale`` px/mm with its top left at ``at``, turned clockwise."""
        if scale > FINE:
            picture = cv2.GaussianBlur(picture, (0, 0), 0.42 * scale / FINE)
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        k = FINE / scale
        # Pixel centres: mm = (i + 0.5) / scale.
        m = np.array([[c * k, -s * k, 0], [s * k, c * k, 0]])
        m[:, 2] = np.array(at) * FINE + m[:, :2] @ (0.5, 0.5) - 0.5
        ph, pw = picture.shape[:2]
        box = np.array([[0, 0, 1], [pw, 0, 1], [pw, ph, 1], [0, ph, 1]]) @ m.T
        x0, y0 = np.maximum(np.floor(box.min(0)).astype(int) - 2, 0)
        x1, y1 = np.minimum(np.ceil(box.max(0)).astype(int) + 3, self.paint.shape[1::-1])
        m[:, 2] -= (x0, y0)
        size = (int(x1 - x0), int(y1 - y0))
        over = cv2.warpAffine(picture.astype(np.float32), m, size, flags=cv2.INTER_LINEAR)
        cover = cv2.warpAffine(np.ones((ph, pw), np.float32), m, size, flags=cv2.INTER_LINEAR)[..., None]
        part = self.paint[y0:y1, x0:x1]
        self.paint[y0:y1, x0:x1] = part * (1 - cover) + over * (cover > 0)


def piece_picture(piece, dictionary, paper, ink, scale=16.0):
    """A piece of the sheet as reflectance."""
    w, h = (int(round(v * scale)) for v in piece.size)
    out = np.empty((h, w, 3), np.float32)
    out[:] = paper
    for number, corners in piece.markers.items():
        bits = marker_bits(dictionary, number)
        x, y = corners[0] * scale
        side = np.ptp(corners[:, 0]) * scale
        n = len(bits)
        edges_x = np.rint(x + side * np.arange(n + 1) / n).astype(int)
        edges_y = np.rint(y + side * np.arange(n + 1) / n).astype(int)
        for r, c in np.argwhere(bits):
            out[edges_y[r]:edges_y[r + 1], edges_x[c]:edges_x[c + 1]] = ink
    return out


def target_picture(scale=8.0, rng=None, error=0.0):
    """The 24-patch target, its true colours in a dark frame; size in mm is target_size()."""
    values = np.clip(target_linear("after-2014"), 0.002, 1)
    if rng is not None:
        values = values * (1 + error * rng.standard_normal(values.shape))
    w, h = target_size()
    out = np.full((int(h * scale), int(w * scale), 3), 0.03, np.float32)
    for k in range(24):
        r, c = divmod(k, COLUMNS)
        x, y = (int((GAP + c * (PATCH + GAP)) * scale), int((GAP + r * (PATCH + GAP)) * scale))
        out[y:y + int(PATCH * scale), x:x + int(PATCH * scale)] = values[k]
    return out


def target_size():
    return COLUMNS * (PATCH + GAP) + GAP, ROWS * (PATCH + GAP) + GAP


def tone_logistic(k, m):
    s = lambda v: 1 / (1 + np.exp(-k * (v - m)))
    return lambda v: (s(v) - s(0)) / (s(1) - s(0))


def tone_filmic(white):
    """Reinhard 2002 eq. 4 on linear light, in the encoded domain before and after."""
    def curve(v):
        x = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) * 1.35
        y = x * (1 + x / white ** 2) / (1 + x * 0.35)
        y = y / (1.35 * (1 + 1.35 / white ** 2) / (1 + 1.35 * 0.35))
        return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.maximum(y, 1e-9) ** (1 / 2.4) - 0.055)
    return curve


def random_tone(rng):
    if rng.random() < 0.6:
        return tone_logistic(rng.uniform(0.8, 3.6), rng.uniform(0.42, 0.55))
    return tone_filmic(rng.uniform(1.2, 3.0))


def warm_white(kelvin):
    """XYZ of a daylight of that temperature (CIE 15 daylight locus; below 4000 K extrapolated)."""
    t = max(kelvin, 3500.0)
    x = 0.244063 + 99.11 / t + 2.9678e6 / t ** 2 - 4.607e9 / t ** 3
    y = -3 * x * x + 2.87 * x - 0.275
    return np.array([x / y, 1, (1 - x - y) / y])


def photograph(world: World, truth_board, *, rng, size_px=(2000, 1500), tilt=20.0, fall=2.0, kelvin=5000,
               tone=None, saturation=1.0, exposure=0.85, blur=0.7, noise=1.0, vignette=0.25, bend=(0.0, 0.0, 0.0, 0.0),
               quality=92, lamp=None, fill=0.93, encode=True, glare=None):
    """Take the picture. Returns (JPEG bytes or linear picture, Truth)."""
    w_mm, h_mm = world.mm
    width, height = size_px
    focal = 0.8 * width
    lens = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    bend = np.array(bend, float)
    axis = rng.uniform(0, 2 * np.pi)
    turn, _ = cv2.Rodrigues(np.radians(tilt) * np.array([np.cos(axis), np.sin(axis), 0]))
    spin, _ = cv2.Rodrigues(np.array([0, 0, np.radians(rng.uniform(-4, 4))]))
    rot = spin @ turn
    box = np.array([[0, 0], [w_mm, 0], [w_mm, h_mm], [0, h_mm]], float)
    near, far = 50.0, 8000.0
    for _ in range(60):
        z = np.sqrt(near * far)
        shift = np.array([0, 0, z]) - rot @ np.array([w_mm / 2, h_mm / 2, 0])
        view = lens @ np.column_stack([rot[:, :2], shift])
        p = np.column_stack([box, np.ones(4)]) @ view.T
        p = p[:, :2] / p[:, 2:]
        fits = (np.abs(p - lens[:2, 2]) < np.array(size_px) / 2 * fill).all()
        near, far = (near, z) if fits else (z, far)
    truth = Truth(**truth_board, lens=lens, bend=bend, view=view, size_px=size_px)
    step = 8
    gx, gy = np.meshgrid(np.arange(-step, width + 2 * step, step), np.arange(-step, height + 2 * step, step))
    mm = truth.to_plane(np.column_stack([gx.ravel() * 1.0, gy.ravel() * 1.0])).reshape(*gx.shape, 2)
    big = cv2.resize(mm.astype(np.float32), None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
    # resize keeps corners of pixels; our grid stands on their centres.
    at = step + step // 2
    frac = cv2.warpAffine(big, np.float32([[1, 0, -(at - 0.5)], [0, 1, -(at - 0.5)]]), (width, height), flags=cv2.INTER_LINEAR)
    px = frac * FINE - 0.5
    per_mm = np.linalg.norm(truth.to_image([[w_mm / 2 + 1, h_mm / 2]]) - truth.to_image([[w_mm / 2, h_mm / 2]]))
    ratio = FINE / per_mm
    paint = world.paint if ratio < 1 else cv2.GaussianBlur(world.paint, (0, 0), 0.45 * np.sqrt(max(ratio ** 2 - 0.4, 0.01)))
    light = cv2.remap(paint, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT,
                      borderValue=world.paint[:40, :40].mean((0, 1)).tolist())
    # A lamp at a height, to one side; its strength falls with the square of distance and the cosine.
    if fall > 1:
        angle = rng.uniform(0, 2 * np.pi) if lamp is None else lamp
        way = np.array([np.cos(angle), np.sin(angle)])
        lo_h, hi_h = 0.2, 60.0
        span = np.hypot(w_mm, h_mm)
        spots = np.stack(np.meshgrid(np.linspace(0, w_mm, 9), np.linspace(0, h_mm, 9)), -1)
        shine = lambda mm, k: (1 + (((mm - (np.array([w_mm, h_mm]) / 2 + 0.6 * span * way)) / (k * span)) ** 2).sum(-1)) ** -1.5
        for _ in range(50):
            k = np.sqrt(lo_h * hi_h)
            s = shine(spots, k)
            lo_h, hi_h = (k, hi_h) if s.max() / s.min() > fall else (lo_h, k)
        s = shine(frac, k) / shine(spots, k).max()
        light = light * s[..., None].astype(np.float32)
    if glare is not None:
        (x, y), radius, strength = glare
        spot = np.exp(-0.5 * ((frac - np.array([x, y])) ** 2).sum(-1) / radius ** 2)
        light = light + strength * spot[..., None].astype(np.float32)
    cast = XYZ_TO_SRGB @ adaptation(D65, warm_white(kelvin)) @ SRGB_TO_XYZ
    grey = np.full((3, 3), 1 / 3)
    sat = saturation * np.eye(3) + (1 - saturation) * grey
    light = cv2.transform(light, (sat @ cast).astype(np.float32))
    yy, xx = np.mgrid[:height, :width].astype(np.float32)
    r2 = ((xx - lens[0, 2]) ** 2 + (yy - lens[1, 2]) ** 2) / (width ** 2 + height ** 2) * 4
    light = light * (1 - vignette * r2)[..., None]
    light = cv2.GaussianBlur(light, (0, 0), blur) if blur > 0 else light
    peak = np.percentile(light.max(2)[::4, ::4], 99.5)
    light = light * np.float32(exposure / peak)
    if noise:
        light = light + noise * rng.standard_normal(light.shape, np.float32) * np.sqrt(0.003 ** 2 + 2e-4 * np.maximum(light, 0))
    if not encode:
        return light, truth
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    if tone is not None:
        grid = np.linspace(0, 1, 4096)
        code = np.interp(code, grid, np.clip(tone(grid), 0, 1))
    rgb = np.rint(np.clip(code, 0, 1) * 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    return data.tobytes(), truth


def setup(rng, *, species="maple", size_mm=(420.0, 180.0), seed=1, grey=True, target=False, turn=None,
          bench=None, pieces="ABCD", paper=None, card=0.18, sheet_ratio=1.0):
    """A bench with a board, strips around it flush with its face, panel E with a grey card, a target."""
    w, h = size_mm
    right = max(PANEL[0], target_size()[0]) + 16 if (grey or target) else 40
    world_mm = (60 + w + right + 24, max(h + 110, PANEL[1] + (target_size()[1] + 12) * target + 40, 260))
    bench = bench if bench is not None else (rng.uniform(25, 45), rng.uniform(-3, 5), rng.uniform(-4, 8))
    world = World(world_mm, bench, rng)
    turn = rng.uniform(-2.5, 2.5) if turn is None else turn
    origin = np.array([56.0, 52.0])
    truth = wood(species, size_mm, seed)
    world.lay(truth, FINE, origin, turn)
    paper = np.array([0.86, 0.865, 0.875]) * rng.uniform(0.96, 1.03) if paper is None else np.array(paper)
    ink = np.array([0.045, 0.045, 0.047]) * rng.uniform(0.7, 1.4)
    sheet = reference_sheet()
    places = {}
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    put = lambda x, y: origin + np.array([[c, -s], [s, c]]) @ (x, y)
    jit = lambda: rng.uniform(-1.5, 1.5)
    for letter, (x, y, angle) in {"A": (0.02 * w, -STRIP_WIDTH - 4, 0), "B": (max(0.98 * w - 200, 0.1 * w), h + 4, 0),
                                  "C": (-9, 0.5 * h - min(100, h * .5), 90), "D": (0.02 * w, h + 4, 0)}.items():
        if letter in pieces:
            places[letter] = (*put(x + jit(), y + jit()), turn + angle + jit() * 0.6)
    if w < 430:  # no room for a second strip on that side
        places.pop("D", None)
    for piece in sheet.pieces:
        if piece.name[0] in places:
            if piece.name == "C2" and h < 150:
                continue
            x, y, angle = places[piece.name[0]]
            half = HALF if piece.name.endswith("2") else 0.0
            co, si = np.cos(np.radians(angle)), np.sin(np.radians(angle))
            world.lay(piece_picture(piece, sheet.dictionary, paper, ink), 16.0,
                      (x + co * half * sheet_ratio, y + si * half * sheet_ratio), angle)
    info = dict(reflectance=truth, size_mm=size_mm, origin=tuple(origin), turn=turn)
    marks = {}
    x_right = origin[0] + w + 14
    if grey:
        at, angle = np.array([x_right + 4, 28.0]), jit()
        panel = sheet.pieces[-1]
        world.lay(piece_picture(panel, sheet.dictionary, paper, ink), 16.0, at, angle)
        co, si = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        x0, y0, x1, y1 = GREY_BOX
        card_px = np.full((int((y1 - y0 - 4) * 8), int((x1 - x0 - 4) * 8), 3), card, np.float32)
        world.lay(card_px, 8.0, at + np.array([[co, -si], [si, co]]) @ (x0 + 2, y0 + 2), angle)
        marks["grey"] = at + np.array([[co, -si], [si, co]]) @ ((x0 + x1) / 2, (y0 + y1) / 2)
    if target:
        at = np.array([x_right, 28.0 + (PANEL[1] + 12) * grey])
        angle = jit() * 2
        world.lay(target_picture(rng=rng, error=0.01), 8.0, at, angle)
        tw, th = target_size()
        co, si = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        marks["target"] = at + np.array([[0, 0], [tw, 0], [tw, th], [0, th]]) @ np.array([[co, si], [-si, co]])
    return world, info, marks


def draw(number: int, kind: str, *, size_px=(2000, 1500)):
    """One of the random draws of the benchmark: JPEG bytes and truth. kind: "target" or "grey"."""
    rng = np.random.default_rng([2026, number])
    species = ("maple", "mahogany", "ash", "walnut")[number % 4]
    size = ((420.0, 180.0), (560.0, 210.0), (300.0, 130.0))[number % 3]
    world, info, marks = setup(rng, species=species, size_mm=size, seed=number % 2, target=kind == "target",
                               grey=kind == "grey" or number % 2 == 0)
    data, truth = photograph(
        world, info, rng=rng, size_px=size_px, tilt=rng.uniform(0, 35), fall=rng.uniform(1.1, 2.0),
        kelvin=rng.uniform(3800, 6000), tone=random_tone(rng), saturation=rng.uniform(0.97, 1.06),
        exposure=rng.uniform(0.7, 0.92), blur=rng.uniform(0.5, 1.2), noise=rng.uniform(0.5, 1.5),
        vignette=rng.uniform(0, 0.35), bend=(rng.uniform(-0.06, 0.04), rng.uniform(-0.02, 0.02),
                                             rng.normal() * 3e-4, rng.normal() * 3e-4),
        quality=int(rng.integers(85, 96)))
    if "grey" in marks:
        truth.grey_at = tuple(truth.to_image([marks["grey"]])[0])
    if "target" in marks:
        truth.target_at = truth.to_image(marks["target"])
    truth.notes = {"species": species, "size": size, "kind": kind}
    return data, truth
