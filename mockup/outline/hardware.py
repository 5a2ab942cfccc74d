"""Hardware as plain shapes of our own, in mm: what a maker sees of it from above.

Each function gives the pieces of one fitting, lowest first. Like pieces are
one shape of many rings, so that sixteen screws cost what one does.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mockup.outline.figures import circle, many, outline, plate, strip, strips
from mockup.outline.head import ROUND, Post
from mockup.outline.neck import Layout
from mockup.outline.shape import Shape

__all__ = ["Piece", "bridge", "button_width", "head_clamp", "jack", "knobs", "pickup", "pins", "plate_with_screws", "screws", "string_ends", "string_rods",
           "switch", "tuner_backs", "tuner_buttons", "tuners"]

Point = tuple[float, float]
Rod = tuple[float, float, float, float, float]  # x0, y0, x1, y1, radius

# How far behind its line a saddle stands, lowest string to highest: a set bridge, roughly.
SET_BACK = (3.4, 0.8)
LIP = 20.0  # mm from a saddle to the bent-up lip of its plate: adjusting screws and strings go through it
BETWEEN = 0.6  # mm of air between neighbours of a row
USUAL_BUTTON, BUTTON_LONG = 17.0, 1.48  # mm, and how often its width a button is long
BAR_TAIL = 27.0  # mm from a bar bridge to the block its strings end in
CLAMP = 14.0  # mm of a head clamp along the strings


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """Part of a fitting.

    kind    "main" or "second": which of the fitting's materials it is of; "ink" a dark line or hole.
    rise    mm of its top above what the fitting stands on.
    round   radius of its edge.
    rods    straight round bars, where the shape is made of them.
    spun    turned on a lathe: light runs across it in a bow.
    deep    mm that it reaches below its top, or below what it stands on.
    """

    shape: Shape
    kind: str = "main"
    rise: float = 1.0
    round: float = 0.4
    rods: tuple[Rod, ...] = ()
    spun: bool = False
    deep: float = 4.0


def screws(points: Sequence[Point], diameter: float = 4.6, rise: float = 1.2) -> list[Piece]:
    """Domed screw heads with a slot, each turned its own way."""
    heads = many([circle(p, diameter) for p in points])
    slots = []
    for n, p in enumerate(points):
        turn = math.radians(25 + 67 * n)
        for quarter in (0.0, math.pi / 2):
            run = np.array([math.cos(turn + quarter), math.sin(turn + quarter)]) * diameter * 0.27
            slots.append(([tuple(p - run), tuple(p + run)], diameter * 0.13))
    return [Piece(shape=heads, rise=rise, round=diameter * 0.42), Piece(shape=strips(slots), kind="ink", rise=rise, round=0)]


def plate_with_screws(centre: Point, size: tuple[float, float], corner: float, *, rise: float = 1.5, inset: float = 6.0,
                      screw: float = 4.6) -> list[Piece]:
    """A plate with a screw in each corner."""
    # Of a round corner the middle lies further in.
    away = min(max(inset, corner * (1 - math.sqrt(0.5)) + screw * 0.75), *(side / 2 for side in size))
    w, h = size[0] / 2 - away, size[1] / 2 - away
    at = [(centre[0] + sx * w, centre[1] + sy * h) for sx in (-1, 1) for sy in (-1, 1)]
    heads = [Piece(shape=p.shape, kind="second" if p.kind == "main" else p.kind, rise=rise + p.rise * 0.5, round=p.round)
             for p in screws(at, screw)]
    return [Piece(shape=plate(centre, size, corner), rise=rise, round=min(0.8, rise / 2)), *heads]


def _saddles(layout: Layout, kind: str) -> np.ndarray:
    """Where each string bends over its saddle, set back as for playing in tune, (strings, 2); one bar for all stands square."""
    _, ends = layout.ends()
    if kind == "bar":
        return ends + (0.0, SET_BACK[1])
    return ends + np.column_stack((np.zeros(len(ends)), np.linspace(*SET_BACK, len(ends)) if len(ends) > 1 else SET_BACK[:1]))


def _lip(saddles: np.ndarray, kind: str) -> np.ndarray:
    """y of the lip behind each saddle: one for all on a plate, unless they stand far apart."""
    y = saddles[:, 1] + LIP
    return np.full_like(y, y.mean()) if kind == "plate" and np.ptp(y) < 5 else y


def bridge(layout: Layout, kind: str) -> list[Piece]:
    """A bridge under the strings.

    kind  "plate": saddles on one plate; "single": one small bridge under each string or pair;
          "bar": a round bar on two posts; "tuning": one block a string with a tuning knob behind.
    """
    saddles = _saddles(layout, kind)
    pitch = (saddles[-1][0] - saddles[0][0]) / max(len(saddles) - 1, 1) if not layout.pair else \
        (saddles[-1][0] - saddles[0][0] - layout.pair) / max(len(saddles) // 2 - 1, 1)
    across = min(0.86 * pitch, 14.0) if pitch > 0 else 12.0
    apart = pitch - BETWEEN if pitch > 0 else across + 1.6  # the widest that what stands in a row may be
    groups = saddles if not layout.pair else saddles.reshape(-1, 2, 2).mean(axis=1)
    if kind == "bar":
        a, b = saddles[0] + (-9.0, 0.0), saddles[-1] + (9.0, 0.0)
        caps = [tuple(a + (1.5, 0)), tuple(b - (1.5, 0))]
        middle, wide = (a + b) / 2, b[0] - a[0]
        tail = plate((middle[0], middle[1] + BAR_TAIL), (wide - 4.0, 13.0), 3.0)
        return [Piece(shape=tail, rise=6.0, round=2.2),
                Piece(shape=many([circle((x, y + BAR_TAIL - 1.5), 3.2) for x, y in saddles]), kind="ink", rise=6.0, round=0),
                Piece(shape=many([circle(p, 11.0) for p in caps]), rise=4.0, round=1.2, spun=True),
                Piece(shape=strip([tuple(a), tuple(b)], 6.4, round_ends=True), rise=10.0, rods=((*a, *b, 3.2),)),
                *[Piece(shape=p.shape, kind="ink" if p.kind == "ink" else "main", rise=11.0, round=p.round) for p in screws(caps, 5.0)]]
    if kind == "plate":
        top, bottom = groups[:, 1].min() - 9.0, groups[:, 1].max() + 32.0
        left, right = groups[0][0] - across / 2 - 6.0, groups[-1][0] + across / 2 + 6.0
        base = plate(((left + right) / 2, (top + bottom) / 2), (right - left, bottom - top), 3.0)
        corners = [(x, y) for x in (left + 4.2, right - 4.2) for y in (top + 4.6, bottom - 4.6)]
        base_pieces = [Piece(shape=base, rise=2.4, round=0.9), *_raised(screws(corners, 4.4), 2.2)]
    elif kind == "single":
        bases = [plate((x, y + 11.5), (min(across + 1.6, apart), 41.0), 2.2) for x, y in groups]
        base_pieces = [Piece(shape=many(bases), rise=2.6, round=0.8),
                       *_raised(screws([(x, y + 28.0) for x, y in groups], 4.0), 2.4)]
    else:
        blocks = [plate((x, y + 17.0), (min(across + 1.2, apart), 46.0), 1.6) for x, y in groups]
        knobs_ = [([(x, y + 40.0), (x, y + 54.0)], min(across, 10.5)) for x, y in groups]
        rods = tuple((*a, *b, w / 2) for (a, b), w in knobs_)
        grooves = [([(p[0] - w / 2 + 0.4, y), (p[0] + w / 2 - 0.4, y)], 0.45) for (p, q), w in knobs_ for y in np.arange(p[1] + 2, q[1] - 1, 1.6)]
        base_pieces = [Piece(shape=many(blocks), rise=6.0, round=1.2), Piece(shape=strips(knobs_), rise=9.0, rods=rods),
                       Piece(shape=strips(grooves), kind="ink", rise=9.0, round=0)]
    blocks = [plate((x, y + 4.0), (across, 13.0), 1.2) for x, y in groups]
    lip = _lip(groups, kind)
    springs = [([(x, y + 9.0), (x, v)], 2.6) for (x, y), v in zip(groups, lip, strict=True)]
    rods = tuple((*a, *b, w / 2) for (a, b), w in springs)
    turns = [([(x - 1.1, v), (x + 1.1, v + 0.5)], 0.4) for (x, y), end in zip(groups, lip, strict=True)
             for v in np.arange(y + 11.6, end - 1.2, 1.15)]
    ends = [([(x, v + 1.6), (x, v + 3.4)], min(across * 0.5, 4.2)) for (x, _), v in zip(groups, lip, strict=True)]
    heights = [(x + s * across * 0.3, y + 3.2) for x, y in groups for s in (-1, 1)]
    parts = [*base_pieces]
    if kind != "tuning":
        parts += [Piece(shape=strips(springs), rise=5.0, rods=rods), Piece(shape=strips(turns), kind="ink", rise=5.0, round=0),
                  Piece(shape=strips(ends), rise=6.0, rods=tuple((*a, *b, w / 2) for (a, b), w in ends))]
        lips = [plate((x, v + 0.6), (min(across + 1.2, apart), 2.6), 0.6) for (x, _), v in zip(groups, lip, strict=True)] if np.ptp(lip) > 0 or kind == "single" \
            else [plate(((left + right) / 2, lip[0] + 0.6), (right - left - 2.0, 2.6), 0.6)]
        parts.append(Piece(shape=many(lips), rise=8.0, round=0.6))
    parts.append(Piece(shape=many(blocks), rise=9.0, round=2.6))
    parts.append(Piece(shape=many([circle(p, 2.2) for p in heights]), kind="ink", rise=9.0, round=0))
    holes = string_ends(layout, kind) + ((0.0, -1.0) if kind == "tuning" else (0.0, 0.0))
    parts.append(Piece(shape=many([circle((float(x), float(y)), 3.6 if kind == "tuning" else 1.9) for x, y in holes]), kind="ink",
                       rise=6.0 if kind == "tuning" else 8.0, round=0))
    return parts


def _raised(pieces: list[Piece], by: float) -> list[Piece]:
    return [Piece(shape=p.shape, kind=p.kind, rise=p.rise + by, round=p.round, spun=p.spun) for p in pieces]


def string_ends(layout: Layout, kind: str) -> np.ndarray:
    """Where each string goes into the bridge or the body, behind its saddle: (strings, 2)."""
    saddles = _saddles(layout, kind)
    if kind in ("plate", "single"):
        return np.column_stack((saddles[:, 0], _lip(saddles, kind) + 0.2))
    return saddles + (0.0, {"bar": BAR_TAIL - 1.5, "tuning": 37.0}[kind])


def string_rods(layout: Layout, gauges: Sequence[float], kind: str, posts: Sequence[Post], above: float) -> list[list[tuple[Point, Point]]]:
    """The straight runs of each string: post (or clamp) to nut, nut to saddle, saddle to its end."""
    nut, _ = layout.ends()
    saddles, ends = _saddles(layout, kind), string_ends(layout, kind)
    runs = []
    for n in range(layout.strings):
        over = nut[n] + (0.0, -4.0)
        if posts:
            post, side = np.array(posts[n].at), posts[n].side
            start = post + (-side * ROUND, 0.0)  # round the post on its inner side
        else:
            start = nut[n] + (0.0, CLAMP - 0.8 - above)  # into the face of the clamp
        points = [start, over, nut[n], saddles[n], ends[n]]
        runs.append([((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))) for a, b in zip(points, points[1:], strict=False)])
    return runs


def pickup(centre: Point, layout: Layout, kind: str, turn: float) -> list[Piece]:
    """A pickup under the strings, centred at a point.

    kind  "single": a narrow cover with a pole under each string or pair; "double": two rows in a ring;
          "bar": two blades in a plain case; "cased": a plain case.
    """
    nut, saddle = layout.ends()
    y = centre[1]
    t = (y - nut[:, 1]) / (saddle[:, 1] - nut[:, 1])
    under = nut[:, 0] + t * (saddle[:, 0] - nut[:, 0])
    lean, along = math.tan(math.radians(turn)), math.cos(math.radians(turn))
    span = (under[-1] - under[0]) / along  # along the pickup, which lies aslant
    if layout.pair:
        under = under.reshape(-1, 2).mean(axis=1)  # two strings share a pole
    rows = {"single": (0.0,), "double": (-9.0, 9.0), "bar": (), "cased": ()}[kind]
    deep = {"single": 17.5, "double": 38.0, "bar": 31.0, "cased": 31.0}[kind]
    wide = span + 17.0
    # Two rows stand side by side in their case, so on a slanted one they flank the strings.
    at = [(float(x - row * lean * along), float(y + row * along + (x - centre[0]) * lean)) for row in rows for x in under]
    pieces: list[Piece] = []
    if kind == "double":
        pieces.append(Piece(shape=plate(centre, (wide + 14, deep + 9), 5.0, turn), kind="second", rise=3.5, round=1.4))
        corner = np.array([[sx * (wide / 2 + 4), sy * (deep / 2 + 1.2)] for sx in (-1, 1) for sy in (-1, 1)])
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        turned = corner @ np.array([[c, s], [-s, c]]) + centre
        pieces += _raised(screws([tuple(p) for p in turned], 2.8, 0.8), 3.3)
    case = plate(centre, (wide, deep), {"single": 8.0, "double": 4.0, "bar": 3.5, "cased": 5.0}[kind], turn)
    pieces.append(Piece(shape=case, rise=7.0, round=1.6))
    if kind != "double":  # that hangs in its ring; the others are held by a screw at either end
        out = (wide / 2 - (4.6 if kind == "cased" else 3.4)) * np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        heads, slots = screws([tuple(centre - out), tuple(centre + out)], 3.2, 7.5)
        pieces += [replace(heads, kind="pole", round=0.9), slots]
    if kind == "bar":
        half = (span / 2 + 5.0) * np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        away = 6.5 * np.array([-math.sin(math.radians(turn)), math.cos(math.radians(turn))])
        blades = [([tuple(centre + k * away - half), tuple(centre + k * away + half)], 3.2) for k in (-1, 1)]
        pieces.append(Piece(shape=strips(blades), kind="pole", rise=7.6, round=0.5))
    elif at:
        pieces.append(Piece(shape=many([circle(p, 4.8) for p in at]), kind="pole", rise=7.8, round=1.0))
    return pieces


def knobs(points: Sequence[Point], diameter: float, pointer: float = -25.0) -> list[Piece]:
    """Round knobs with a soft edge, a turned cap and a line that says how far they are up."""
    skirt = many([circle(p, diameter) for p in points])
    cap = many([circle(p, diameter * 0.74) for p in points])
    lines = []
    for n, p in enumerate(points):
        turn = math.radians(pointer + 14 * n)
        run = np.array([math.sin(turn), -math.cos(turn)])
        lines.append(([tuple(p + run * diameter * 0.17), tuple(p + run * diameter * 0.34)], 1.0))
    return [Piece(shape=skirt, rise=12.0, round=diameter * 0.2), Piece(shape=cap, rise=15.0, round=1.2, spun=True),
            Piece(shape=strips(lines), kind="line", rise=15.0, round=0)]


def switch(at: Point, turn: float) -> list[Piece]:
    """A toggle switch: a turned nut and a lever with a round tip."""
    run = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
    tip = np.array(at) + run * 11.0
    lever = (*at, *(np.array(at) + run * 9.0), 1.7)
    return [Piece(shape=circle(at, 13.0), rise=2.0, round=1.2, spun=True),
            Piece(shape=circle(at, 7.6), rise=5.0, round=1.5),
            Piece(shape=strip([tuple(at), tuple(np.array(at) + run * 9.0)], 3.4), rise=11.0, rods=(lever,)),
            Piece(shape=circle(tuple(tip), 7.4), kind="second", rise=15.0, round=3.3)]


def tuners(posts: Sequence[Post], button: float) -> list[Piece]:
    """From the front: washers and posts on the face, shafts and buttons beside the head."""
    washers = many([circle(p.at, 10.0) for p in posts])
    nuts = many([circle(p.at, 7.8) for p in posts])
    pegs = many([circle(p.at, 5.8) for p in posts])
    slots = [([(p.at[0], p.at[1] - 2.9), (p.at[0], p.at[1] + 2.9)], 1.1) for p in posts]
    return [*tuner_buttons(posts, button), Piece(shape=washers, rise=1.0, round=0.6, spun=True), Piece(shape=nuts, rise=2.6, round=1.4),
            Piece(shape=pegs, rise=8.0, round=1.2, spun=True), Piece(shape=strips(slots), kind="ink", rise=8.0, round=0)]


def button_width(posts: Sequence[Post]) -> float:
    """A button's width, mm: the usual one, or as much smaller as leaves air between those of one side."""
    rows = [[p.at[1] for p in posts if p.side == side] for side in (-1, 1)]
    pitch = min((abs(b - a) for row in rows for a, b in itertools.pairwise(row)), default=math.inf)
    return min(USUAL_BUTTON, max((pitch - 1.5) / BUTTON_LONG, 6.0))


def tuner_buttons(posts: Sequence[Post], button: float) -> list[Piece]:
    """Shafts and buttons, which stand out beside the head and are seen from either side; their rise is below its face."""
    shafts, buttons = [], []
    for p in posts:
        out = p.edge + p.side * 9.0
        shafts.append(([(p.edge - p.side * 6.0, p.at[1]), (out, p.at[1])], 4.0))
        buttons.append(_button((out + p.side * (button / 2 - 2.0), p.at[1]), button, p.side))
    rods = tuple((*a, *b, w / 2) for (a, b), w in shafts)
    return [Piece(shape=strips(shafts), rise=-6.0, rods=rods), Piece(shape=many(buttons), kind="second", rise=-3.0, round=2.6, deep=10.0)]


def _button(centre: Point, width: float, side: int) -> Shape:
    """A button seen from above: an oval with a flat waist toward the head."""
    t = np.linspace(0, 2 * math.pi, 120, endpoint=False)
    x, y = np.cos(t), np.sin(t)
    # Fuller at the outer end, and a little squarer than an ellipse.
    r = (np.abs(x) ** 2.6 + np.abs(y) ** 2.6) ** (-1 / 2.6)
    full = 1 + 0.12 * x
    return outline(np.column_stack((centre[0] + side * width / 2 * r * x, centre[1] + width * 0.72 * r * y * full)))


def tuner_backs(posts: Sequence[Post]) -> list[Piece]:
    """From the back: a housing with a screw on each post."""
    cases = many([plate((p.at[0] + p.side * 1.5, p.at[1]), (17.0, 15.0), 4.5) for p in posts])
    rods = tuple((p.at[0], p.at[1], p.edge, p.at[1], 2.0) for p in posts)
    shafts = Piece(shape=strips([(((r[0], r[1]), (r[2], r[3])), 4.0) for r in rods]), rise=4.0, rods=rods)
    heads = screws([(p.at[0] - p.side * 2.5, p.at[1]) for p in posts], 3.6, 0.8)
    return [shafts, Piece(shape=cases, rise=6.0, round=3.2), *_raised(heads, 5.8)]


def head_clamp(layout: Layout, above: float) -> list[Piece]:
    """Where strings end on a neck without a head: a block with a screw on each."""
    (a, b) = layout.fret_line(0, -above)
    nut, _ = layout.ends()
    lift = (a[1] + b[1]) / 2 - (nut[0][1] + nut[-1][1]) / 2
    block = outline([a, b, *(layout.fret_line(0, -above + CLAMP)[::-1])])
    grub = [(float(x), float(y + lift + 7.0)) for x, y in nut]
    soft = block.inset(1.5)
    return [Piece(shape=block if soft is None else soft.inset(-1.5), rise=5.0, round=1.5), *_raised(screws(grub, 3.8, 1.0), 4.6)]


def jack(points: Sequence[Point], toward: Sequence[float]) -> list[Piece]:
    """Output jacks in the edge, seen from the side: a washer and the threaded end; ``toward`` as for ``pins``."""
    washers, ends = [], []
    for (x, y), angle in zip(points, toward, strict=True):
        run = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
        at = np.array([x, y])
        for bars, a, b, radius in ((washers, -3.0, 1.1, 7.5), (ends, 1.1, 5.0, 4.7)):
            bars.append((*(at + a * run), *(at + b * run), radius))
    return [Piece(shape=strips([([r[:2], r[2:4]], 2 * r[4]) for r in rods]), rise=rise, rods=tuple(rods))
            for rods, rise in ((washers, 3.0), (ends, 4.0))]


def pins(points: Sequence[Point], toward: Sequence[float], diameter: float = 13.0) -> list[Piece]:
    """Strap pins on the edge, seen from the side: a waist and a flange; ``toward`` is the way each points, degrees clockwise from x."""
    waists, flanges = [], []
    for (x, y), angle in zip(points, toward, strict=True):
        run = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
        base, neck, end = np.array([x, y]) - run * 3, np.array([x, y]) + run * 8, np.array([x, y]) + run * 11
        waists.append((*base, *neck, diameter * 0.22))
        flanges.append((*neck, *end, diameter / 2))
    return [Piece(shape=strips([([r[:2], r[2:4]], 2 * r[4]) for r in rods]), rise=rise, rods=tuple(rods))
            for rods, rise in ((waists, 3.0), (flanges, 4.0))]
