"""Where to cut: the best places for a part on a board.

For each turn the board is turned instead of the part, so that the part keeps
one mask; sums over the mask at every offset are then correlations, and the
symmetry about every centre line is one product and one sum.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from mockup.board.maps import WoodMaps
from mockup.errors import MockupError, nearest

__all__ = ["AIMS", "CUTS", "Pattern", "Place", "Resawn", "best_places", "part_pattern", "resaw"]

Array = np.ndarray

AIMS = ("symmetric", "figure", "plain")
CUTS = ("single", "bookmatch", "slipmatch")
_APART = 0.3    # of the part's shorter side, by which two places differ; less when there is no room for that
_LEAST = 12.0   # mm


@dataclass(frozen=True, slots=True)
class Pattern:
    """What a part needs of a board, upright as in its drawing.

    mask    (h, w) float32, 0..1, at ``px_per_mm``; of a matched pair the wood both leaves need together.
    anchor  mm from the mask's top left corner: the point a scene's ``at`` places.
    centre  x of the centre line, mm from the mask's left edge.
    cut     one of ``CUTS``.
    """

    mask: Array
    px_per_mm: float
    anchor: tuple[float, float]
    centre: float
    cut: str


@dataclass(frozen=True, slots=True)
class Place:
    """One place, as a scene writes it, and why it is good.

    at, turn   mm on the board and degrees clockwise.
    score      0..1 for the aim, the grain included.
    symmetry   -1..1, likeness of the two halves (1 for a bookmatch).
    figure     strength over the board's own mean: 1 is average.
    off_grain  degrees between grain and centre line.
    words      one line.
    """

    at: tuple[float, float]
    turn: float
    score: float
    symmetry: float
    figure: float
    off_grain: float
    words: str


def part_pattern(coverage: Array, px_per_mm: float, *, cut: str = "single", joint: float | None = None,
                 to_px_per_mm: float = 0.5) -> Pattern:
    """A part's pattern from its coverage (h, w) 0..1, whose array is the box of the outline.

    joint  x of the joint line, mm from the box's left; None is the middle. For a
           bookmatch the left leaf is folded over it, for a slipmatch slid by its width.
    """
    if cut not in CUTS:
        raise MockupError(f'There is no cut "{cut}".', fix=nearest(cut, CUTS), where="cut")
    high, wide = coverage.shape[0] / px_per_mm, coverage.shape[1] / px_per_mm
    joint = wide / 2 if joint is None else float(joint)
    if not 0 < joint < wide:
        raise MockupError(f"The joint at {joint:g} mm is not within the part, {wide:g} mm wide.",
                          fix="Give its distance from the part's left edge.", where="joint")
    s = to_px_per_mm
    rows, cols = max(2, round(high * s)), max(2, round(wide * s))
    small = cv2.resize(np.asarray(coverage, np.float32), (cols, rows), interpolation=cv2.INTER_AREA)
    if cut == "single":
        return Pattern(small, s, (wide / 2, high / 2), joint, cut)
    k = int(np.clip(round(joint * s), 1, cols - 1))
    right, left = small[:, k:], small[:, :k]
    left = left[:, ::-1] if cut == "bookmatch" else left
    mask = np.zeros((rows, max(right.shape[1], left.shape[1])), np.float32)
    mask[:, :right.shape[1]] = right
    mask[:, :left.shape[1]] = np.maximum(mask[:, :left.shape[1]], left)
    return Pattern(mask, s, (0.0, high / 2), 0.0, cut)


def best_places(wood: WoodMaps, part: Pattern, *, aim: str = "symmetric", margin: float = 4.0, straight: float = 3.0,
                centre_line: float = 90.0, turns: Sequence[float] | None = None, count: int = 5,
                report: Callable[[float], None] | None = None) -> tuple[Place, ...]:
    """The best places of a part on a board, best first, each clearly different from the others.

    aim          "symmetric" (halves alike), "figure" (strongest) or "plain" (quietest).
    margin       mm kept to the board's edges and to knots: kerf, and wood to true up.
    straight     degrees the grain may lean from the centre line.
    centre_line  its direction in the drawing, degrees (90 = upright).
    turns        degrees to try; None tries those that keep the grain straight, both ways round.
    report       called with the share done.

    Raises MockupError when the part fits nowhere.
    """
    if aim not in AIMS:
        raise MockupError(f'There is no aim "{aim}".', fix=nearest(aim, AIMS), where="aim")
    if not 0 <= margin <= 200 or not 0 < straight <= 90 or not 1 <= count <= 50:
        raise MockupError(f"A margin of {margin:g} mm, grain within {straight:g} degrees, or {count} places cannot be.",
                          fix="Give a margin of 0 to 200 mm, an angle of up to 90 degrees and up to 50 places.")
    if abs(part.px_per_mm / wood.px_per_mm - 1) > 1e-6:
        raise ValueError("part and board need the same px_per_mm")
    if turns is None:
        first = wood.along - centre_line
        step = max(min(straight, 8.0) / 2, 0.5)
        lean = np.arange(-2, 3) * step
        turns = [float(t) for base in (first, first + 180) for t in base + lean]
    found: list[tuple[float, Place]] = []
    room = 0.0
    for n, turn in enumerate(turns):
        places, most = _at_turn(wood, part, float(turn), aim, margin, straight, centre_line, count)
        found += places
        room = max(room, most)
        if report is not None:
            report((n + 1) / len(turns))
    if not found:
        raise _no_room(wood, part, room, straight)
    found.sort(key=lambda f: (-f[0], f[1].turn, f[1].at))
    apart = max(_APART * min(part.mask.shape) / part.px_per_mm, _LEAST)
    while True:
        chosen = _apart([place for _, place in found], part, apart, count)
        if len(chosen) == count or apart <= _LEAST:
            return tuple(chosen)
        apart = max(apart / 1.6, _LEAST)


def _apart(places: list[Place], part: Pattern, apart: float, count: int) -> list[Place]:
    """The best places whose middles lie ``apart`` mm from each other: the same wood turned round is no other place."""
    middle = np.array(part.mask.shape[::-1]) / 2 / part.px_per_mm - part.anchor
    chosen: list[tuple[Place, Array]] = []
    for place in places:
        c, s = np.cos(np.radians(place.turn)), np.sin(np.radians(place.turn))
        spot = np.array(place.at) + np.array([[c, -s], [s, c]]) @ middle
        if len(chosen) < count and all(np.linalg.norm(spot - other) > apart for _, other in chosen):
            chosen.append((place, spot))
    return [place for place, _ in chosen]


def _no_room(wood: WoodMaps, part: Pattern, room: float, straight: float) -> MockupError:
    high, wide = part.mask.shape[0] / part.px_per_mm, part.mask.shape[1] / part.px_per_mm
    if room >= 1:
        return MockupError(f"Wherever the part fits, the grain leans more than {straight:g} degrees from its centre line.",
                           fix="Allow a larger angle, or turn the part.", where="straight")
    pair = "" if part.cut == "single" else " for one leaf"
    pieces = "cut it from two pieces" if part.cut == "single" else "cut it from more pieces"
    dark = f", {len(wood.knots)} dark spot{'s' * (len(wood.knots) > 1)} that may be knots among them" if wood.knots else ""
    return MockupError(f"The part needs {wide:.0f} x {high:.0f} mm{pair} and fits nowhere on this board of "
                       f"{wood.size_mm[0]:.0f} x {wood.size_mm[1]:.0f} mm, clear of edges, knots and paper{dark}.",
                       fix=f"Allow a smaller margin, {pieces}, or take a larger board.")


def _at_turn(wood: WoodMaps, part: Pattern, turn: float, aim: str, margin: float, straight: float, centre_line: float,
             count: int) -> tuple[list[tuple[float, Place]], float]:
    """Best places at one turn, and 1 if the part fits at all (else 0)."""
    s = wood.px_per_mm
    h, w = wood.lightness.shape
    c, sn = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    back = np.array([[c, sn], [-sn, c]])  # board to upright
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]]) @ back.T
    low = corners.min(0) - 1
    size = np.ceil(corners.max(0) - low + 1).astype(int)
    motion = np.column_stack([back, back @ (0.5, 0.5) - low - 0.5])
    up = lambda a, fill: cv2.warpAffine(np.ascontiguousarray(a, np.float32), motion, tuple(int(v) for v in size),
                                        flags=cv2.INTER_LINEAR, borderValue=fill)
    reach = max(margin * s, 0.5)
    closed = up(wood.shut, 1.0) > 0.2
    far = cv2.distanceTransform((~np.pad(closed, 1, constant_values=True)).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    free = far > reach
    solid = (part.mask > 0.05).astype(np.float32)
    if free.shape[0] < solid.shape[0] or free.shape[1] < solid.shape[1]:
        return [], 0.0
    blocked = _over(~free, solid)
    fits = blocked < 0.5
    if not fits.any():
        return [], 0.0
    area = float(part.mask.sum())
    mean = lambda a: _over(a, part.mask) / area
    strength = mean(up(wood.strength, 0.0)) / max(float(wood.strength[~wood.shut].mean()), 1e-6)
    vector = np.stack([mean(up(wood.grain[..., k], 0.0)) for k in range(2)], -1)
    grain = 0.5 * np.degrees(np.arctan2(vector[..., 1], vector[..., 0]))
    off = np.abs((grain - (turn + centre_line) + 90) % 180 - 90)
    fits &= off <= straight
    if not fits.any():
        return [], 1.0
    if part.cut == "single":
        alike = _symmetry(up(wood.lightness, 50.0), up(wood.strength, 0.0), part, fits)
    else:
        alike = np.ones(fits.shape, np.float32)
    true = 1 - 0.5 * off / straight
    if aim == "figure" or (aim == "symmetric" and part.cut == "bookmatch"):
        score = np.tanh(0.6 * strength) * true
    elif aim == "plain":
        score = np.exp(-0.7 * strength) * true
    else:
        score = (0.5 + 0.5 * alike) * true
    score = np.where(fits, score, -1.0)
    return _peaks(score, alike, strength, off, part, turn, low, c, sn, s, count), 1.0


def _over(values: Array, mask: Array) -> Array:
    """Sum of values under the mask at every offset where all of it lies inside, (H-h+1, W-w+1) float64."""
    from scipy.fft import irfft2, next_fast_len, rfft2

    h, w = mask.shape
    shape = [next_fast_len(n, real=True) for n in values.shape]
    spectrum = rfft2(np.asarray(values, np.float64), shape) * np.conj(rfft2(mask.astype(np.float64), shape))
    return irfft2(spectrum, shape)[:values.shape[0] - h + 1, :values.shape[1] - w + 1]


def _down(stack: Array, weight: Array) -> Array:
    """Sums under ``weight`` (h, w) of each of (n, H, w) at every row, (n, H-h+1)."""
    from scipy.fft import irfft, next_fast_len, rfft

    rows = stack.shape[1]
    length = next_fast_len(rows, real=True)
    spectrum = (rfft(stack, length, axis=1) * np.conj(rfft(weight, length, axis=0))[None]).sum(2)
    return irfft(spectrum, length, axis=1)[:, :rows - weight.shape[0] + 1]


def _symmetry(lightness: Array, strength: Array, part: Pattern, fits: Array) -> Array:
    """Correlation of the halves about the centre line at every offset: of lightness and of figure together."""
    rows, cols = part.mask.shape
    axis = part.centre * part.px_per_mm
    half = int(min(axis, cols - axis))
    first = int(round(2 * axis - half * 2)) // 2  # the columns that have a partner
    left = slice(max(first, 0), max(first, 0) + half)
    mirror = np.arange(int(round(2 * axis)) - 1 - left.start, int(round(2 * axis)) - 1 - left.stop, -1)
    weight = np.minimum(part.mask[:, left], part.mask[:, mirror])
    total = max(float(weight.sum()), 1e-9)
    out = np.full(fits.shape, -1.0, np.float64)
    fields = []
    for values, share in ((lightness, 0.5), (strength, 0.5)):
        soft = cv2.GaussianBlur(values, (0, 0), 1.0)
        fields.append((soft.astype(np.float64), share))
    for x in np.flatnonzero(fits.any(0)):
        both = np.zeros(fits.shape[0])
        for soft, share in fields:
            a, b = soft[:, x + left.start:x + left.stop], soft[:, x + mirror]
            ma, mb, aa, bb, ab = _down(np.stack([a, b, a * a, b * b, a * b]), weight) / total
            va, vb, cov = aa - ma * ma, bb - mb * mb, ab - ma * mb
            # Halves of different mean are not alike, even if their patterns are.
            gap = 0.25 * (ma - mb) ** 2
            both += share * (cov - gap) / np.maximum(0.5 * (va + vb) + gap, 1e-9)
        out[:, x] = both
    return np.clip(out, -1, 1)


def _peaks(score: Array, alike: Array, strength: Array, off: Array, part: Pattern, turn: float, low, c: float, sn: float,
           s: float, count: int) -> list[tuple[float, Place]]:
    out = []
    left = score.copy()
    gap = max(int(round(_LEAST * s)), 1)
    for _ in range(4 * count):
        y, x = np.unravel_index(int(left.argmax()), left.shape)
        if left[y, x] < 0:
            break
        upright = np.array([x, y]) + low + np.array(part.anchor) * s
        at = np.array([[c, -sn], [sn, c]]) @ upright / s
        value = float(score[y, x])
        like = "" if part.cut != "single" else f", halves {max(float(alike[y, x]), 0) * 100:.0f} % alike"
        words = f"figure {strength[y, x]:.1f} x the board's mean{like}, grain {off[y, x]:.1f} degrees off the centre line"
        out.append((value, Place((round(float(at[0]), 1), round(float(at[1]), 1)), round((turn + 180) % 360 - 180, 2),
                                 value, float(alike[y, x]), float(strength[y, x]), float(off[y, x]), words)))
        left[max(y - gap, 0):y + gap + 1, max(x - gap, 0):x + gap + 1] = -1
    return out


@dataclass(frozen=True, slots=True)
class Resawn:
    """A board cut into two leaves that open like a book.

    leaf    thickness of each, mm, planed; ``lost`` mm that become dust and shavings.
    below   mm between the face in the photo and the faces that open.
    apart   mm of wood missing between the two faces that open.
    slip    mm the figure of one leaf is shifted along the grain against the other, for wood whose fibres dip by ``dip``.
    words   which face shows, in a sentence.
    """

    leaf: float
    lost: float
    below: float
    apart: float
    slip: float
    words: str


def resaw(thickness: float, *, kerf: float = 2.0, planed: float = 1.0, least: float = 3.0, dip: float = 8.0) -> Resawn:
    """What a bookmatch costs, and how far the opened faces lie from the one in the photo.

    thickness  of the board, mm; kerf of the saw; planed off each sawn face.
    least      leaf that can still be used; dip of the fibres, degrees, where figure is strong.

    Raises MockupError when no usable leaf is left.
    """
    if not (thickness > 0 and kerf >= 0 and planed >= 0):
        raise MockupError(f"A board of {thickness:g} mm cannot be sawn with a kerf of {kerf:g} mm.",
                          fix="Give its thickness, the kerf and what is planed off, in mm.", where="thickness")
    lost = kerf + 2 * planed
    leaf = (thickness - lost) / 2
    if leaf < least:
        raise MockupError(f"A board of {thickness:g} mm leaves two leaves of {max(leaf, 0):.1f} mm, after {lost:g} mm of "
                          "kerf and planing.", fix=f"Take one at least {2 * least + lost:g} mm thick.", where="thickness")
    slip = lost * np.tan(np.radians(dip))
    words = (f"The two sawn faces open, {leaf:.1f} mm below the face in the photo: streaks run through, but curl will not "
             f"match the photo exactly, and the leaves differ by about {slip:.1f} mm along the grain.")
    return Resawn(float(leaf), float(lost), float(leaf), float(lost), float(slip), words)
