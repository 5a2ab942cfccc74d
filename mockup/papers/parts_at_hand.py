"""Bought parts as listed and as measured: what a difference does to the pockets, and whether wood may be cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..render.layers import seen_parts
from ..render.picture import scene_box
from ..scene.values import Scene
from .blanks import Blank, board_problems
from .drawn_hardware import at_measured_size, drawn_hardware, drawn_outlines
from .face import SEMIBOLD
from .hardware_lines import CENTRE, hardware_lines
from .lengths import INCH, length_words
from .page import INK, QUIET, WHITE, Box, Item, Path, Text
from .shop_values import FLAT, Fitting, Shop, fitting_curve
from .strokes import simpler

__all__ = ["Detail", "Dimension", "Gate", "dimensions", "effect_words", "fitting_details", "fitting_marks", "gate", "instrument_marks", "plain_dimensions", "pocket_words"]

GREY, GREEN = (120, 120, 120), (16, 110, 70)
SAME = 0.15  # mm within which a drawn part is of the size that the shop's file says
MORE = {"length": ("longer", "shorter"), "width": ("wider", "narrower"), "diameter": ("wider", "narrower"), "depth": ("deeper", "shallower")}


@dataclass(frozen=True, kw_only=True, slots=True)
class Dimension:
    """One dimension of a bought part, mm.

    measured  None when it was not.
    pocket    of the pocket as it is drawn; None for a part without one.
    needed    of the pocket that the measured part takes, its clearance included.
    """

    fitting: Fitting
    name: str
    listed: float
    measured: float | None
    pocket: float | None
    needed: float | None

    @property
    def deviation(self) -> float | None:
        """Measured less listed."""
        return None if self.measured is None else self.measured - self.listed

    @property
    def off(self) -> bool:
        """Whether it differs by more than the tolerance."""
        return self.deviation is not None and abs(self.deviation) > self.fitting.tolerance + 1e-9

    @property
    def change(self) -> float | None:
        """What the pocket must grow by."""
        return None if self.pocket is None or self.needed is None else self.needed - self.pocket

    @property
    def shut(self) -> bool:
        """Whether the part does not go into a pocket that was drawn for it."""
        return self.name in self.fitting.route and self.measured is not None and self.measured > self.fitting.route[self.name] + 1e-9


@dataclass(frozen=True, slots=True)
class Gate:
    """Whether the wood may be cut, and what stands against it, one sentence each."""

    ready: bool
    against: tuple[str, ...]


def dimensions(shop: Shop) -> tuple[Dimension, ...]:
    """Every dimension of every bought part, in the order of the file."""
    found = []
    for f in shop.fittings:
        for name, listed in f.listed.items():
            air = 2 * f.clearance if name in FLAT else 0.0
            measured = f.measured.get(name)
            pocket = f.route.get(name, listed + air) if f.let_in else None
            found.append(Dimension(fitting=f, name=name, listed=listed, measured=measured, pocket=pocket,
                                   needed=None if pocket is None or measured is None else measured + air))
    return tuple(found)


def pocket_words(scene: Scene, d: Dimension, units: str) -> str:
    """What a dimension does to its pocket: "" when it does nothing."""
    if d.pocket is None or d.needed is None or not (d.off or d.shut):
        return ""
    part = next((p.title.lower() for p in scene.parts if p.name == d.fitting.part), "wood")
    change = d.change or 0.0
    if abs(change) < 0.05:
        return f"Pocket in the {part} stays."
    return (f"Pocket in the {part} {length_words(abs(change), units)} {MORE[d.name][change < 0]}: "
            f"{length_words(d.needed, units)} instead of {length_words(d.pocket, units)}.")


def effect_words(scene: Scene, d: Dimension, units: str) -> str:
    """What a measured dimension does: to its pocket, or where the part stands; "" for one that was not measured or touches no wood."""
    if words := pocket_words(scene, d, units):
        return words
    if d.deviation is None or not d.fitting.part:
        return ""
    if not d.off:
        return "Fits." if d.pocket is not None else ""
    part = next((p.title.lower() for p in scene.parts if p.name == d.fitting.part), "wood")
    more = MORE[d.name][d.deviation < 0]
    return f"No pocket: where it stands on the {part} it is {length_words(abs(d.deviation), units)} {more}; check its screw holes."


def gate(scene: Scene, shop: Shop, found: Sequence[Blank]) -> Gate:
    """Whether everything that touches wood is measured and goes in, and the boards are large enough."""
    against: list[str] = []
    titles = {p.name: p.title.lower() for p in scene.parts}
    touching = [f for f in shop.fittings if f.part]
    alike: dict[tuple[str, ...], list[str]] = {}
    for f in touching:
        if f.missing:
            word, _, number = f.title.rpartition(" ")
            several = word if number.isdigit() else f.title
            alike.setdefault((several, titles[f.part], " and ".join(f.missing)), []).append(f.title)
    for (several, wood, missing), named in alike.items():
        # Pieces of one kind are numbered: "Tuners 1 to 4".
        numbers = [int(t.rpartition(" ")[2]) for t in named] if len(named) > 1 and all(t != several for t in named) else []
        run = bool(numbers) and numbers == list(range(numbers[0], numbers[0] + len(numbers)))
        for title in [f"{several} {numbers[0]} {'and' if len(numbers) == 2 else 'to'} {numbers[-1]}"] if run else named:
            against.append(f"{title}, on the {wood}: {missing} not measured.")
    for d in dimensions(shop):
        if d.fitting.part and d.shut:
            against.append(f"{d.fitting.title}: measured {d.name} {length_words(d.measured or 0, shop.units)} does not go into its pocket of "
                           f"{length_words(d.pocket or 0, shop.units)}.")
    if not shop.fittings and shop.bought:
        against.append('No bought parts are listed. List them in shop.toml under [fittings.NAME], or write bought = "none" there.')
    against += board_problems(tuple(found))
    return Gate(not against, tuple(against))


def fitting_marks(scene: Scene, shop: Shop, side: str, *, pen: float = 1.0, pictured: bool = False, named: bool = False) -> list[Item]:
    """Bought parts over the drawing at their measured size, in drawing mm, as seen from a side.

    A full line is the part as measured, or as listed where it was not (then
    dashed); grey dashes are its listed size where it differs; green the
    pocket that the part takes. Beside it stands its number in the file, or
    its name when ``named``.
    """
    items: list[Item] = []
    off = {d.fitting.name for d in dimensions(shop) if d.off}
    now = _curves(scene, shop)
    before = _curves(scene, replace(shop, fittings=tuple(replace(f, measured={}) for f in shop.fittings)))

    def seen(curves: Sequence[np.ndarray]) -> tuple[np.ndarray, ...]:
        return tuple(c * (-1, 1) + (2 * scene.centre, 0) if side == "back" else c for c in map(np.asarray, curves))

    for number, f in enumerate(shop.fittings, 1):
        if f.side != side or not f.part:
            continue
        own = seen(now[f.name])
        items += [Path(own, 0.7 * pen, WHITE, closed=True)] if pictured else []
        items.append(Path(own, 0.25 * pen, INK, closed=True, dash=(1.5 * pen, 1.0 * pen) if f.missing else ()))
        if f.name in off:
            items.append(Path(seen(before[f.name]), 0.2 * pen, GREY, closed=True, dash=(2 * pen, 1.4 * pen)))
        if f.let_in:
            items.append(Path(seen(_pocket(f, now[f.name])), 0.15 * pen, GREEN, closed=True))
        items += _label(np.concatenate(own), f.title if named else str(number), pen)
    return items


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """A bought part by itself: the size of its drawing in mm, its marks around (0, 0), and what to write below it."""

    title: str
    size: tuple[float, float]
    marks: tuple[Item, ...]
    words: str


def fitting_details(scene: Scene, shop: Shop) -> list[Detail]:
    """Drawings at true size of the parts that have a pocket, or that differ from their listed size: what is cut, and by what measure."""
    off = {d.fitting.name for d in dimensions(shop) if d.off}
    now, before = _curves(scene, shop), _curves(scene, replace(shop, fittings=tuple(replace(f, measured={}) for f in shop.fittings)))
    found = []
    told: dict[tuple, int] = {}
    for number, f in enumerate(shop.fittings, 1):
        if not f.part or not (f.let_in or f.name in off):
            continue
        kind = f.name.rstrip("0123456789"), *(tuple(sorted(m.items())) for m in (f.listed, f.measured, f.route)), f.clearance, f.let_in
        if kind in told:  # one drawing for all that are alike
            k = told[kind]
            found[k] = replace(found[k], title=f"{found[k].title.split(' to ')[0].split('. ')[0]} to {number}. {f.title.rstrip(' 0123456789')}")
            continue
        told[kind] = len(found)
        turn = math.radians(-f.turn)
        spin = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])

        def upright(curves: Sequence[np.ndarray], f=f, spin=spin) -> tuple[np.ndarray, ...]:
            return tuple((np.asarray(c) - f.at) @ spin.T for c in curves)

        pocket = upright(_pocket(f, now[f.name])) if f.let_in else ()
        marks = [Path(upright(before[f.name]), 0.2, GREY, closed=True, dash=(2.0, 1.4))] if f.name in off else []
        marks += [Path(pocket, 0.25, GREEN, closed=True)] if pocket else []
        marks.append(Path(upright(now[f.name]), 0.25, INK, closed=True, dash=(1.5, 1.0) if f.missing else ()))
        every = np.concatenate([line for m in marks for line in m.lines])
        half = np.abs(every).max(axis=0)
        said = []
        if f.let_in:
            wide, long = np.ptp(np.concatenate(pocket), axis=0)
            across = f"{length_words(wide, shop.units)} across" if "diameter" in f.listed else \
                f"{length_words(wide, shop.units)} wide, {length_words(long, shop.units)} long"
            depth = next((d.needed or d.pocket for d in dimensions(shop) if d.fitting is f and d.name == "depth"), None)
            said.append(f"{'Hole' if 'diameter' in f.listed else 'Pocket'} {across}" + (f", {length_words(depth, shop.units)} deep" if depth else ""))
        if f.missing:
            said.append(f"{' and '.join(f.missing)} not measured")
        found.append(Detail(f"{number}. {f.title}", (2 * float(half[0]), 2 * float(half[1])), tuple(marks), "; ".join(said) + "." if said else ""))
    return found


def _curves(scene: Scene, shop: Shop) -> dict[str, tuple[np.ndarray, ...]]:
    """The outline of each bought part: as drawn, brought to its size, or a plain figure where the scene draws none of that size."""
    sized = at_measured_size(scene, shop)
    drawn, outlines = drawn_hardware(sized), drawn_outlines(sized)
    found = {}
    for f in shop.fittings:
        part = drawn.get(f.name)
        same = part is not None and set(part.sizes) <= set(f.sizes) and all(abs(f.sizes[k] - mm) < SAME for k, mm in part.sizes.items()) and \
            np.hypot(*(np.array(part.at) - f.at)) < SAME
        found[f.name] = outlines[f.name] if same and outlines[f.name] else (fitting_curve(f, f.sizes),)
    return found


def _pocket(f: Fitting, own: Sequence[np.ndarray]) -> list[np.ndarray]:
    """The pocket to cut: the one that is given where the part goes into it, else what the part and its air take."""
    if f.route and all(f.sizes[k] <= f.route[k] + 1e-9 for k in f.route if k in f.sizes) and set(FLAT) & set(f.route):
        return [fitting_curve(f, {**f.sizes, **f.route})]
    import shapely

    grown = shapely.union_all([shapely.Polygon(r).buffer(f.clearance, join_style="mitre") for r in own])
    return [np.asarray(g.exterior.coords)[:-1] for g in getattr(grown, "geoms", [grown])]


def _label(own: np.ndarray, words: str, pen: float) -> list[Item]:
    """The part's number or name, beside it on a white bed."""
    text = Text(float(own[:, 0].max()) + 2 * pen, float(own[:, 1].min() + own[:, 1].max()) / 2 + 0.9 * pen, words, 8.0 * pen, SEMIBOLD, INK)
    x0, y0, x1, y1 = text.bounds
    return [Box(x0 - 0.8 * pen, y0 - 0.8 * pen, x1 - x0 + 1.6 * pen, y1 - y0 + 0.9 * pen, WHITE), text]


def instrument_marks(scene: Scene, side: str, *, pen: float, strings: bool = False) -> tuple[tuple[float, float, float, float], list[Item]]:
    """The box of one side in drawing mm, and its outlines, hardware and centre line."""
    box = scene_box(scene, side)
    curves = tuple(simpler(r, closed=True) for p in seen_parts(scene, side) for r in p.shape.rings)
    middle = np.array([[scene.centre, box[1] - 4 * pen], [scene.centre, box[3] + 4 * pen]])
    return box, [*hardware_lines(scene, side, pen=pen, colour=GREY, strings=strings, crosses=False), Path(curves, 0.25 * pen, QUIET, closed=True),
                 Path((middle,), 0.15 * pen, CENTRE, dash=(6 * pen, 1.5 * pen, pen, 1.5 * pen))]


def plain_dimensions(scene: Scene, shop: Shop) -> list[dict]:
    """JSON-ready rows, one a dimension, every length in mm and in inches."""
    rows = []
    for d in dimensions(shop):
        row: dict = {"fitting": d.fitting.name, "title": d.fitting.title, "part": d.fitting.part, "side": d.fitting.side, "dimension": d.name}
        for key, mm in (("listed", d.listed), ("measured", d.measured), ("deviation", d.deviation), ("tolerance", d.fitting.tolerance),
                        ("pocket", d.pocket), ("pocket_needed", d.needed), ("pocket_change", d.change)):
            row[f"{key}_mm"] = None if mm is None else round(mm, 3)
            row[f"{key}_in"] = None if mm is None else round(mm / INCH, 4)
        row["within_tolerance"] = None if d.measured is None else not d.off
        row["goes_in"] = not d.shut if d.measured is not None else None
        row["effect"] = effect_words(scene, d, "mm").replace("\u00a0", " ")
        rows.append(row)
    return rows
