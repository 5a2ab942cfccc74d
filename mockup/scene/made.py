"""Parts that the program makes from a few measures: ``make = "bridge"`` and its like."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from ..outline import hardware as hw
from ..outline.cut import contains, edge_near, overlap, without
from ..outline.figures import circle, many, plate, strips
from ..outline.hardware import Piece
from ..outline.shape import Shape
from .material import GLUE, INK, MATERIALS, SHIELD, STRINGS, WOUND, read_material
from .neck import Neck
from .reader import Reader
from .values import Edge, Fitting, Form, Material, Part

__all__ = ["FITTINGS", "MAKES", "NEEDS_NECK", "WOODEN", "Bench", "bridge_kind", "heel_line", "made_shape", "read_fitting"]

FAR = 10_000.0
WOODEN = ("neck", "head piece", "heel", "fretboard", "head face")
FITTINGS = ("frets", "markers", "nut", "strings", "bridge", "pickup", "knobs", "switch", "tuners", "strap pins", "screws", "plate", "ferrules",
            "head clamp", "scarf line", "jack", "cavity", "neck pocket")
MAKES = (*WOODEN, *FITTINGS)
NEEDS_NECK = (*WOODEN, "frets", "markers", "nut", "strings", "bridge", "pickup", "tuners", "head clamp", "scarf line", "neck pocket")
BRIDGES = ("plate", "single", "bar", "tuning")
PICKUPS = ("single", "double", "bar", "cased")
DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24, 27, 29, 31, 33, 36)
WOUND_FROM = 0.62  # mm: thicker strings are wound
ON = 60.0  # mm that a board's edge goes on under the nut: more than any binding is wide
BALL = 4.2  # mm across the ball at the end of a string
NO_NECK = "Describe scale, strings and frets first, under [neck]."


@dataclass(frozen=True, eq=False)
class Bench:
    """What fittings are laid out on: the neck, the parts below, the kind of bridge."""

    neck: Neck | None
    below: tuple[Part, ...]
    bridge: str
    hand: str
    centre: float

    def edge(self, point: tuple[float, float]) -> tuple[tuple[float, float], float] | None:
        """The nearest point of the wood's edge and the way out of it there, degrees clockwise from x; None when far."""
        if self.hand == "left":
            point = (2 * self.centre - point[0], point[1])
        found = [edge_near(part.whole or part.shape, point) for part in self.below if part.side != "front" or len(self.below) == 1]
        if not found or min(f[2] for f in found) > 60.0:
            return None
        (x, y), (dx, dy), _ = min(found, key=lambda f: f[2])
        if self.hand == "left":
            x, dx = 2 * self.centre - x, -dx
        return (x, y), math.degrees(math.atan2(dy, dx))

    def right(self, shape: Shape) -> Shape:
        """A shape of the scene as it lies in the drawing, which is right-handed."""
        return shape if self.hand == "right" else shape.mirrored(self.centre)

    def beside(self, point: tuple[float, float]) -> str:
        """Where all the wood below lies, in words, for a point (the drawing's, right-handed) outside its box; "" for one within, and where there is no wood."""
        boxes = [self.right(p.whole or p.shape).bounds for p in self.below]
        if not boxes:
            return ""
        x0, y0, x1, y1 = *(min(b[k] for b in boxes) for k in (0, 1)), *(max(b[k] for b in boxes) for k in (2, 3))
        within = x0 <= point[0] <= x1 and y0 <= point[1] <= y1
        return "" if within else f"x {x0:.0f} to {x1:.0f}, y {y0:.0f} to {y1:.0f}"

    def thickness(self, point: tuple[float, float]) -> float | None:
        """mm of wood under a point (the drawing's, right-handed); None where there is none."""
        if self.hand == "left":
            point = (2 * self.centre - point[0], point[1])
        under = [p for p in self.below if not p.of_neck and contains(p.whole or p.shape, point)]
        return max(p.height for p in under) - min(p.below for p in under) if under else None

    def base(self, point: tuple[float, float], side: str) -> float:
        """The height of the wood under a point (the drawing's, right-handed); from the back its lower face."""
        if self.hand == "left":
            point = (2 * self.centre - point[0], point[1])
        under = [p for p in self.below if contains(p.whole or p.shape, point)]
        if side == "back":
            return min((p.below for p in under), default=20.0)
        return max((p.height for p in under if p.side != "back"), default=40.0)


def bridge_kind(tables) -> str:
    """The kind of the first bridge in the tables of ``[parts]``."""
    for read in tables.values():
        if read.data.get("make") == "bridge" and read.data.get("kind") in BRIDGES:
            return read.data["kind"]
    return "plate"


def made_shape(read: Reader, make: str, neck: Neck | None, bench: Bench) -> tuple[Shape | None, Shape | None]:
    """The shape of a wooden part that is made, and the one whose edge it has, where it goes on under another part."""
    if neck is None:
        read.note("make", f"There is no neck for a {make}.", NO_NECK)
        return None, None
    layout = neck.layout
    if make == "head piece":
        return overlap(neck.shape(), layout.above_scarf(read.number("scarf", -60, 160, 30, unit="mm"))), None
    if make == "heel":
        length = read.number("length", 10, 120, 34, unit="mm")
        at = heel_line(neck, bench)
        if at is None:
            read.note("make", f"The neck ends at y = {neck.heel:.0f} and reaches no body below.",
                      "List the heel after the body, and let heel under [neck] say how far down the neck goes.")
            return None, None
        # Only what stands before the body, which covers the rest.
        nose = layout.nose(at - length, neck.heel)
        return without(nose, [bench.right(p.whole or p.shape) for p in _bodies(bench)]), nose
    if make == "fretboard":
        return layout.fretboard(), layout.fretboard(ON)
    if make == "head face":
        return neck.face(), many([neck.head, layout.shaft(0.0, layout.on_centre(0) + ON)])
    return neck.shape(), None


def _bodies(bench: Bench) -> list[Part]:
    """What lies below and is neither a top nor of the neck."""
    return [p for p in bench.below if p.side != "front" and not p.of_neck]


def heel_line(neck: Neck | None, bench: Bench) -> float | None:
    """The least y at which a body below covers the neck: where its heel ends; None where none does."""
    found = [cut.bounds[1] for p in _bodies(bench) if neck is not None and
             (cut := overlap(neck.layout.shaft(0.0, neck.heel), bench.right(p.whole or p.shape))) is not None]
    return min(found, default=None)


def _pieces(read: Reader, make: str, bench: Bench) -> list[tuple[Piece, str]]:
    """What is made, each piece with the side it is seen from ("" for the part's own)."""
    neck = bench.neck
    layout = neck.layout if neck else None
    single: Callable[[list[Piece]], list[tuple[Piece, str]]] = lambda pieces: [(p, "") for p in pieces]  # noqa: E731
    if make in NEEDS_NECK and layout is None:
        read.skip()
        read.note("make", f"There is no neck for {make}.", NO_NECK)
        return []
    if make == "frets":
        if neck.fretless:  # lines let into the board, from edge to edge
            return single([Piece(shape=strips([(layout.fret(k, 0.0), 0.6) for k in range(1, layout.frets + 1)]), rise=0.02, round=0)])
        lines = [(layout.fret(k), 2.4) for k in range(1, layout.frets + 1)]
        return single([Piece(shape=strips(lines, round_ends=True), rise=1.1, rods=tuple((*a, *b, 1.2) for (a, b), _ in lines))])
    if make == "markers":
        at = read.numbers("at", 1, 36, (1, 24), unit="", whole=True) or tuple(k for k in DOTS if k <= layout.frets)
        for n, fret in enumerate(at, 1):
            if fret > layout.frets:
                read.note("at", f"Fret {int(fret)} is beyond the last, which is {layout.frets}.", "Take it out, or add frets under [neck].", n)
        size = read.number("diameter", 1, 20, 6, unit="mm")
        aside = read.number("aside", -60, 60, 0, unit="mm")
        # Between frets; without frets where the finger stops the string, unless there are lines to stand between.
        stop = not read.flag("between", not neck.fretless)
        away = layout.between_strings(layout.marker(12, stop=stop)[1])
        dots = []
        for fret in at:
            x, y = layout.marker(int(fret), aside, stop=stop)
            dots += [circle(layout.marker(int(fret), s * away, stop=stop), size) for s in (-1, 1)] if int(fret) % 12 == 0 and not aside else \
                [circle((x, y + s * 0.9 * size), size) for s in (-1, 1)] if int(fret) % 12 == 0 else [circle((x, y), size)]
        return single([Piece(shape=many(dots), rise=0.02, round=0)])
    if make == "nut":
        return single([Piece(shape=layout.nut(neck.nut), rise=1.6, round=1.2)])
    if make == "strings":
        runs = hw.string_rods(layout, neck.gauges, bench.bridge, neck.posts, neck.clamp)
        made = []
        for gauge, run in zip(neck.gauges, runs, strict=True):
            line = [run[0][0], *(b for _, b in run)]
            made.append(Piece(shape=strips([(line, gauge)]), rise=2.6, rods=tuple((*a, *b, gauge / 2) for a, b in run)))
        coils = []
        for post, gauge in zip(neck.posts, neck.gauges, strict=False):
            coils.append(without(circle(post.at, 6.2 + gauge * 1.6), [circle(post.at, 5.6)]))  # the post stands out of it
        thick = [p for p, g in zip(made, neck.gauges, strict=True) if g > WOUND_FROM]
        plain = [p for p, g in zip(made, neck.gauges, strict=True) if g <= WOUND_FROM]
        joined = [Piece(shape=many([p.shape for p in some]), kind=kind, rise=2.6, rods=tuple(r for p in some for r in p.rods))
                  for some, kind in ((thick, "wound"), (plain, "main")) if some]
        balls = many([circle(run[-1][1], max(BALL, 1.25 * g)) for run, g in zip(runs, neck.gauges, strict=True)]) if bench.bridge == "tuning" else None
        return single([*([Piece(shape=many(coils), rise=-5.0, round=1.6, spun=True)] if coils else []), *joined,
                       *([Piece(shape=balls, rise=3.2, round=0.9, spun=True)] if balls else [])])
    if make == "bridge":
        return single(hw.bridge(layout, read.choice("kind", BRIDGES, "plate")))
    if make == "pickup":
        kind = read.choice("kind", PICKUPS, "single")
        if not read.has("at"):
            read.missing("at", "Say how far down its middle lies, as at = its y in mm.")
        at = read.number("at", -FAR, FAR, 0, unit="mm")
        turn = read.number("turn", -45, 45, 0, unit="degrees")
        if read.has("at") and (spans := bench.beside((bench.centre, at))):
            read.note("at", f"At y = {at:g} no wood is under it: that spans {spans}.", "Move it onto the body.")
        return single(hw.pickup((bench.centre, at), layout, kind, turn))
    if make == "tuners" and not neck.posts:
        read.skip()
        read.note("make", "The neck has no head for tuners.", "Give it one under [neck], as head = { length = 150, width = 68 }, or take the tuners out.")
        return []
    if make == "tuners":
        button = read.number("button", 6, 40, hw.button_width(neck.posts), unit="mm")
        front, both = hw.tuners(neck.posts, button), hw.tuner_buttons(neck.posts, button)
        shared = len(both)
        return [*((p, "both") for p in front[:shared]), *((p, "front") for p in front[shared:]), *((p, "back") for p in hw.tuner_backs(neck.posts))]
    if make == "head clamp":
        return single(hw.head_clamp(layout, neck.clamp))
    if make == "scarf line":
        y = layout.on_centre(0)
        beyond = read.number("at", -60, 160, 30, unit="mm")
        line = overlap(layout.scarf(beyond, layout.half_width(y + beyond) + 3.0), neck.shape())  # from side to side, however wide it is there
        return single([Piece(shape=line, rise=0.0, round=0)]) if line is not None else []
    if make == "neck pocket":
        gap = read.number("gap", 0, 5, 0.2, unit="mm")
        depth = read.number("depth", 1, 80, 16, unit="mm")
        found = [cut for part in bench.below if not part.of_neck and
                 (cut := overlap(neck.shape().inset(-gap), bench.right(part.whole or part.shape))) is not None]
        if not found:
            read.note("make", f"The neck ends at y = {neck.heel:.0f} and reaches no body below.",
                      "List the pocket after the body it is cut in, and let heel under [neck] say how far down the neck goes.")
            return []
        x0, y0, x1, y1 = found[0].bounds
        _refuse_through(read, depth, bench, [((x0 + x1) / 2, (y0 + y1) / 2)])
        return single([Piece(shape=many(found), kind="floor", rise=-depth, round=0)])
    if make in ("strap pins", "jack"):
        at = read.points("at", FAR, 20)
        if not read.has("at"):
            read.missing("at", f"Say where on the edge, as at = [[x, y]]; the {'jack' if make == 'jack' else 'pin'} goes to the nearest edge.")
        found = [bench.edge((p[0], p[1])) for p in at or ()]
        for n, edge in enumerate(found, 1):
            if edge is None:
                read.note("at", "No wood is within 60 mm.", "Move the point to the edge of the body.", n)
        if not found or None in found:
            return []
        return single((hw.jack if make == "jack" else hw.pins)([p for p, _ in found], [a for _, a in found]))
    return single(_placed(read, make, bench))


def _placed(read: Reader, make: str, bench: Bench) -> list[Piece]:
    """Fittings that stand where the maker says."""
    turned = make in ("switch", "plate", "cavity")
    at = read.points("at", FAR, 60, turned=turned) or []
    if not read.has("at"):
        read.missing("at", f"Say where, as at = [[x, y{', degrees' if turned else ''}]].")
    points = [(float(p[0]), float(p[1])) for p in at]
    for n, point in enumerate(points, 1):
        if spans := bench.beside(point):
            read.note("at", f"At x = {point[0]:g}, y = {point[1]:g} no wood is under it: that spans {spans}.", "Move it onto the wood, and list it after what it lies on.", n)
    if make == "knobs":
        size = read.number("diameter", 5, 60, 20, unit="mm")
        return hw.knobs(points, size) if points else []
    if make == "screws":
        size = read.number("diameter", 1.5, 20, 4.6, unit="mm")
        return hw.screws(points, size) if points else []
    if make == "ferrules":
        size = read.number("diameter", 3, 20, 8, unit="mm")
        return [Piece(shape=many([circle(p, size) for p in points]), rise=0.6, round=0.6, spun=True),
                Piece(shape=many([circle(p, size * 0.4) for p in points]), kind="ink", rise=0.6, round=0)] if points else []
    if make == "switch":
        return [piece for p in at for piece in hw.switch((p[0], p[1]), p[2])]
    size = read.numbers("size", 3, 500, (2, 2))
    if not read.has("size"):
        read.missing("size", "Add size = [width, height] in mm.")
    corner = read.number("corner", 0, 60, 8 if make == "cavity" else 4, unit="mm")
    depth = read.number("depth", 1, 80, 30, unit="mm") if make == "cavity" else 0.0
    if size is None:
        return []
    if make == "cavity":
        _refuse_through(read, depth, bench, points)
        holes = [plate((x, y), (size[0], size[1]), corner, turn) for x, y, turn in at]
        return [Piece(shape=many(holes), kind="floor", rise=-depth, round=0)] if holes else []
    made: list[Piece] = []
    for x, y, turn in at:
        for p in hw.plate_with_screws((x, y), (size[0], size[1]), corner):
            made.append(Piece(shape=p.shape.turned(turn, (x, y)), kind=p.kind, rise=p.rise, round=p.round, spun=p.spun))
    return made


def _refuse_through(read: Reader, depth: float, bench: Bench, points: list[tuple[float, float]]) -> None:
    """Note a hollow that is deeper than the wood it is cut in."""
    for point in points:
        thick = bench.thickness(point)
        if thick is not None and depth >= thick:
            read.note("depth", f"The hollow is {depth:g} mm deep, and the wood there {thick:g} mm thick.", "Make it shallower.")
            return


def read_fitting(read: Reader, name: str, make: str | None, drawn: Shape | None, bench: Bench) -> tuple[Fitting, ...]:
    """A table of ``[parts]`` that is not of wood: its pieces, lowest first; () when it cannot be used.

    make   what the program makes; None for the outline ``drawn``.
    """
    before = len(read.problems)
    title = read.text("title", name.replace("-", " ").replace("_", " ").capitalize())
    usual = {"nut": "bone", "markers": "pearl", "pickup": "black", "screws": "nickel", "strings": None, "scarf line": None, "cavity": None, "neck pocket": None}.get(make or "", "nickel")
    main = read_material(read, "material", "colour", usual if make else None) or {"strings": STRINGS, "scarf line": GLUE}.get(make or "", INK)
    second = read_material(read, "second", "second_colour", None) or (MATERIALS["bone"] if make == "tuners" and main.name == "brass" else main)
    pole = read_material(read, "poles", "poles_colour", None) or MATERIALS["nickel"]
    side = read.choice("side", ("front", "back", "both"), "back" if make in ("scarf line", "cavity") else "both" if make in ("strap pins", "jack") else "front")
    sunk = read.number("depth", 0.2, 80, None, unit="mm") if make is None and read.has("depth") else 0.0
    rise = read.number("rise", 0, 80, 2.5, unit="mm") if make is None and not sunk else -sunk
    if make is None:
        edge = Edge(roundover=read.number("roundover", 0, 50, 0 if sunk else 0.6, unit="mm"), bevel=read.number("bevel", 0, 20, 0, unit="mm"))
        pieces = [(Piece(shape=drawn, rise=rise, round=edge.roundover), "")] if drawn is not None else []
    else:
        edge, pieces = None, _pieces(read, make, bench)
    given = read.number("height", 0, 500, 0, unit="mm") if read.has("height") else None
    read.close()
    if len(read.problems) > before:
        return ()
    line = main if main.kind == "metal" else MATERIALS["bone"]
    kinds: dict[str, Material] = {"main": main, "second": second, "ink": INK, "pole": pole,
                                  "wound": WOUND if main is STRINGS else main,
                                  "floor": SHIELD if main is INK else main,
                                  "line": INK if main.kind == "metal" or main.lab[0] > 50 else line}
    found = []
    for n, (piece, own) in enumerate(pieces):
        seen = own or side
        x0, y0, x1, y1 = piece.shape.bounds
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        if make in ("strings", "frets", "nut", "markers") and bench.neck is not None:
            middle = (bench.centre, bench.neck.layout.marker(1)[1])
        if make in ("tuners", "head clamp") or (make == "strings" and piece.rise < 0):
            head = bench.neck.head.bounds
            middle = (bench.centre, (head[1] + head[3]) / 2)
        base = given if given is not None else bench.base(middle, seen)
        back = seen == "back"
        height, below = (base, base - piece.rise) if back else (base + piece.rise, base + min(piece.rise, 0.0) - piece.deep)
        shape: Shape | None = piece.shape
        rods = piece.rods
        if make in ("tuners", "strap pins", "jack") and seen == "both":
            # They stand out from beside the wood, below its face.
            shape = without(shape, [bench.neck.head] if make == "tuners" else
                            [bench.right(o.shape) for o in bench.below])
            if shape is None:
                continue
        if bench.hand == "left":
            shape = shape.mirrored(bench.centre)
            rods = tuple((2 * bench.centre - a, b, 2 * bench.centre - c, d, r) for a, b, c, d, r in rods)
        form = Form()
        if make in ("frets", "markers") and bench.neck is not None:
            form = Form(radius=bench.neck.radius, axis=bench.centre)
        found.append(Fitting(name=name if n == 0 else f"{name}.{n + 1}", part=name, title=title, shape=shape, material=kinds[piece.kind],
                             edge=edge or Edge(roundover=piece.round), height=height, below=below, side=seen, rods=rods, spun=piece.spun,
                             form=form))
    return tuple(found)
