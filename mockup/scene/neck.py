"""The table ``[neck]``: scale, frets, strings and head, to a layout in mm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from ..outline.cut import without
from ..outline.figures import many
from ..outline.head import Post, crowding, plain_head, posts, stub
from ..outline.neck import Layout, fret_distance
from ..outline.shape import Shape
from .reader import Reader

__all__ = ["Neck", "read_neck"]

CLOSEST = 5.0       # mm between strings or pairs at the nut: nearer, fingers touch two
JOIN = 16.0         # mm above the nut that a drawn head is joined over
CLOSEST_PAIR = 1.4  # mm between the two strings of a pair
MOST_STRINGS, MOST_FRETS = 24, 36


@dataclass(frozen=True, kw_only=True, eq=False)
class Neck:
    """A layout and what goes with it, right-handed.

    head      shape of the head, from the fretboard's end outward; of the bare end where there is none.
    headed    whether strings go to posts on the head.
    nut       thickness of the nut.
    heel      y of the neck's lower end.
    radius    of the fretboard's face, 0 for a flat one.
    gauges    diameter of each string, lowest first.
    """

    layout: Layout
    head: Shape
    headed: bool
    posts: tuple[Post, ...]
    nut: float
    heel: float
    radius: float
    gauges: tuple[float, ...]
    fretless: bool
    clamp: float

    @lru_cache(maxsize=64)  # noqa: B019 - frozen, and of no use to anyone for long
    def shape(self) -> Shape:
        """The whole neck, head and all."""
        return many([self.head, self.layout.shaft(0.0, self.heel)])

    @lru_cache(maxsize=64)  # noqa: B019
    def face(self) -> Shape:
        """The face of the head, from the nut on."""
        left = without(self.head, [self.layout.nut(self.nut)])
        return self.head if left is None else left


def read_neck(read: Reader, centre: float, outline: Callable[[Reader, str], Shape | None]) -> Neck | None:
    """The table ``[neck]``; None when it cannot be used, with the reasons noted.

    outline  reads a drawing named under a key of a table.
    """
    before = len(read.problems)
    if not read.has("bridge"):
        read.missing("bridge", "Say where the scale ends on the centre line, as bridge = its y in mm.")
    bridge = read.number("bridge", -10_000, 10_000, 0, unit="mm")
    scales = read.numbers("scale", 200, 1200, (1, 2)) or ()
    if not read.has("scale"):
        read.missing("scale", "Add scale = the length in mm, or [lowest, highest] for slanted frets.")
    square = read.number("square", 0, MOST_FRETS, 7)
    strings = int(read.number("strings", 1, MOST_STRINGS, None, whole=True))
    pair = read.number("pairs", 0, 8, 0, unit="mm", ends=("single strings", ""))
    if read.has("frets") and read.raw("frets") == 0:
        read.note("frets", "Frets is 0.", "For a board without frets set fretless = true, and let frets say how many would fit: that is its length.")
    frets = int(read.number("frets", 0, MOST_FRETS, None, whole=True)) or 1
    fretless = read.flag("fretless", False)
    nut_width = read.number("nut_width", 15, 150, None, unit="mm")
    heel_width = read.number("heel_width", 15, 200, None, unit="mm")
    spread = read.number("spread", 0, 200, None, unit="mm")
    nut_spread = read.number("nut_spread", 0, 150, max(nut_width - 7.0, 0), unit="mm")
    overhang = read.number("overhang", 0, 60, 8, unit="mm")
    nut = read.number("nut", 1, 20, 4.5, unit="mm")
    radius = read.number("radius", 0, 1000, 305, unit="mm", ends=("flat", ""))
    clamp = read.number("clamp", 8, 60, 22, unit="mm")
    heel = read.number("heel", -10_000, 10_000, 0, unit="mm")
    gauges = read.numbers("gauges", 0.1, 6, (strings, strings))
    if len(read.problems) > before:
        read.raw("head"), read.raw("tuners")
        read.close()
        return None
    if pair and strings % 2:
        read.note("strings", f"There are {strings} strings in pairs.", "Use an even number, or take pairs out.")
    courses = strings // 2 if pair else strings
    step = (nut_spread - pair) / (courses - 1) if courses > 1 else CLOSEST
    if nut_spread >= nut_width:
        read.note("nut_spread", f"The outer strings are {nut_spread:g} mm apart on a nut {nut_width:g} mm wide.", "Widen the nut, or bring them closer.")
    elif step < CLOSEST or (pair and pair < CLOSEST_PAIR):
        read.note("strings", f"{strings} strings on a nut {nut_width:g} mm wide stand {min(step, pair or step):.1f} mm apart.",
                  f"Widen nut_width to {nut_width + (CLOSEST - step) * (courses - 1):.0f} or more, or take fewer strings." if step < CLOSEST
                  else f"Give pairs {CLOSEST_PAIR:g} mm or more.")
    across = (spread - pair) / (courses - 1) if courses > 1 else CLOSEST
    if across < CLOSEST and len(read.problems) == before:
        read.note("spread", f"{strings} strings stand {across:.1f} mm apart at the bridge.",
                  f"Widen spread to {spread + (CLOSEST - across) * (courses - 1):.0f} or more, or take fewer strings.")
    wide = max(nut_width, heel_width)
    if 0 < radius < wide / 2:
        read.note("radius", f"An arc of radius {radius:g} mm does not reach over a board {wide:g} mm wide.", f"Use 0 (flat), or {wide / 2:.0f} mm or more.")
    if heel_width < nut_width - 20 or spread > heel_width + 60:
        read.note("heel_width", f"The fretboard narrows from {nut_width:g} to {heel_width:g} mm, and the strings reach {spread:g} mm at the bridge.",
                  "Check the three widths.")
    if len(read.problems) > before:
        read.raw("head"), read.raw("tuners")
        read.close()
        return None
    layout = Layout(centre=centre, bridge=bridge, scales=(scales[0], scales[-1]), square=square, strings=strings, pair=pair,
                    nut_spread=nut_spread, spread=spread, nut_width=nut_width, heel_width=heel_width, frets=frets, overhang=overhang)
    end = min(y for _, y in layout.fret_line(frets, overhang))
    _over_the_board(read, layout)
    top = max(y for _, y in layout.fret_line(0))
    if read.has("heel") and heel <= top:
        read.note("heel", f"The neck would end at y = {heel:g}, above its nut at y = {top:.0f}.", "Heel is the y of the neck's lower end: make it larger.")
    head, headed, found = _head(read, layout, nut, clamp, outline)
    read.close()
    if head is None or len(read.problems) > before:
        return None
    low, high = 0.25 + 0.0011 * max(scales), 0.25
    usual = [low + (high - low) * n / max(strings - 1, 1) for n in range(strings)]
    return Neck(layout=layout, head=head, headed=headed, posts=found, nut=nut, heel=heel if read.has("heel") else end, radius=radius,
                gauges=gauges or tuple(usual), fretless=fretless, clamp=clamp)


def _over_the_board(read: Reader, layout: Layout) -> None:
    """Note where the outer strings leave the fretboard before its last fret."""
    nut, saddle = layout.ends()
    share = fret_distance(1.0, layout.frets)
    places = [nut[k] + share * (saddle[k] - nut[k]) for k in (0, -1)]
    if any(abs(x - layout.centre) > layout.half_width(y) for x, y in places):
        apart, wide = places[1][0] - places[0][0], 2 * min(layout.half_width(y) for _, y in places)
        read.note("heel_width", f"At fret {layout.frets} the outer strings are {apart:.1f} mm apart, on a board {wide:.1f} mm wide.",
                  "Widen heel_width, or make spread smaller.")


def _head(read: Reader, layout: Layout, nut: float, clamp: float, outline: Callable[[Reader, str], Shape | None]):
    """The head's shape, whether there is one, and its posts."""
    given = read.raw("head", "none")
    if given == "none":
        read.raw("tuners")
        return stub(layout, clamp + 6.0), False, ()
    if isinstance(given, dict):
        table = read.table("head")
        length, width = table.number("length", 60, 320, 150, unit="mm"), table.number("width", 30, 160, 68, unit="mm")
        shape = plain_head(layout, length, width, table.number("end", 20, 160, 0.8 * width, unit="mm"), nut)
        table.close()
    else:
        drawn = outline(read, "head")
        if drawn is None:
            return None, False, ()
        shape = many([drawn, layout.nut(JOIN)])
    table = read.table("tuners")
    half = layout.strings // 2
    left = int(table.number("left", 0, 12, layout.strings - half, whole=True))
    right = int(table.number("right", 0, 12, layout.strings - left, whole=True))
    first, pitch = table.number("first", 10, 200, 42, unit="mm"), table.number("pitch", 10, 80, 30, unit="mm")
    inset = table.number("inset", 5, 40, 13, unit="mm")
    table.close()
    if left + right != layout.strings:
        table.note("", f"There are {left} tuners on the left and {right} on the right for {layout.strings} strings.",
                   "Let them add up to the number of strings.")
        return shape, True, ()
    found = posts(shape, layout, left, right, first=first, pitch=pitch, inset=inset)
    if not found:
        table.note("", "The head ends before its last tuner.", "Lengthen the head, or make first or pitch smaller.")
    elif crowded := crowding(found, layout):
        table.note("", crowded, "Widen the head, or make first, pitch or inset such that the strings have room.")
    return shape, True, found

