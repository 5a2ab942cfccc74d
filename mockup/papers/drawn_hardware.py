"""The hardware of a scene as it is drawn: each piece that lies on wood, its size, and all of it brought to another size."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from ..outline.shape import Shape, ring_area
from ..scene.values import Fitting, Scene
from .shop_values import Shop

__all__ = ["DrawnPart", "at_measured_size", "drawn_hardware", "drawn_outlines", "is_kind", "is_round", "kind_of"]

LEFT_OUT = ("strings", "frets", "markers", "scarf line", "strap pins", "screws", "cavity", "neck pocket")  # not bought, or nothing is routed for them
LET_IN = ("pickup", "tuners")
MOST = 24       # parts
APART = 0.25    # share by which a listed size may differ from the drawn one and still be the same thing


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DrawnPart:
    """One part as drawn.

    source  the table of the scene's ``[parts]`` it comes from, ``number`` which of its pieces (from 0) where it draws several alike.
    wood    name of the part of wood under it, "none" where it touches none.
    at, turn, sizes  of the smallest rectangle around it, or its diameter; drawing mm, degrees at most 45.
    """

    source: str
    number: int
    title: str
    kind: str
    wood: str
    side: str
    at: tuple[float, float]
    turn: float
    sizes: Mapping[str, float]

    @property
    def let_in(self) -> bool:
        """Whether such a part usually has a pocket or a hole."""
        return self.kind in LET_IN


def kind_of(scene: Scene, source: str) -> str:
    """The word after ``make`` in the scene's table of a part; "" for a drawing of the maker's own."""
    made = scene.resolved.get("fittings", {})
    return str(made.get(source, {}).get("make", "")) if isinstance(made, Mapping) else ""


def is_kind(scene: Scene, fitting: Fitting, *kinds: str) -> bool:
    """Whether a fitting is one of some kinds, by its ``make`` or, of the maker's own, by its title."""
    return any(word in (kind_of(scene, fitting.part) or fitting.title.lower()) for word in kinds)


def drawn_hardware(scene: Scene) -> dict[str, DrawnPart]:
    """The parts by the name that a shop's file gives them: that of the scene, with a number where there are several."""
    groups: dict[str, list[Fitting]] = {}
    for fitting in scene.fittings:
        groups.setdefault(fitting.part, []).append(fitting)
    found: dict[str, DrawnPart] = {}
    for name, pieces in groups.items():
        if is_kind(scene, pieces[0], *LEFT_OUT):
            continue
        first = _on_wood(scene, pieces)
        rings = _outer(first.shape)
        for k, ring in enumerate(rings):
            part = _part(scene, first, ring, k if len(rings) > 1 else 0, len(rings) > 1)
            # Of a jack in the edge neither its size nor its hole is seen from the face.
            if len(found) < MOST and (part.wood != "none" or not is_kind(scene, first, "jack")):
                found[name if len(rings) == 1 else f"{name[:56]}-{k + 1}"] = part
    return found


def is_round(ring: np.ndarray) -> bool:
    """Whether a closed curve (N, 2) is a circle, to 2 % of its size."""
    wide, long = np.ptp(ring, axis=0)
    return bool(abs(wide / long - 1) < 0.02 and abs(abs(ring_area(ring)) / (math.pi / 4 * wide * long) - 1) < 0.02)


def _outer(shape: Shape) -> list[np.ndarray]:
    return [r for r in shape.rings if ring_area(r) > 0]


def _on_wood(scene: Scene, pieces: list[Fitting]) -> Fitting:
    """The lowest piece that lies on wood, as a tuner's bush and not its button; the first where none does."""
    for piece in pieces:
        if all(_under(scene, piece, r.mean(axis=0)) for r in _outer(piece.shape)):
            return piece
    return pieces[0]


def _under(scene: Scene, fitting: Fitting, at: np.ndarray) -> str:
    """The part of wood that is seen at a point of the fitting's own side; "" for none."""
    side = "back" if fitting.side == "back" else "front"
    under = [p for p in scene.parts if p.side in (side, "both") and _holds(p.shape.rings, at)]
    if not under:
        return ""
    if side == "front":
        return max(under, key=lambda p: p.height).name
    # From behind, what is seen from there only lies on the rest, and of that the hindmost comes first.
    own = [p for p in under if p.side == "back"]
    return (own[-1] if own else under[0]).name


def _part(scene: Scene, fitting: Fitting, ring: np.ndarray, number: int, several: bool) -> DrawnPart:
    low, high = ring.min(axis=0), ring.max(axis=0)
    middle, (wide, long), turn = (low + high) / 2, high - low, 0.0
    round_ = is_round(ring)
    if not round_:
        middle, wide, long, turn = _laid(ring)
    sizes = {"diameter": float(wide)} if round_ else {"length": float(long), "width": float(wide)}
    return DrawnPart(source=fitting.part, number=number, title=f"{fitting.title}{f' {number + 1}' if several else ''}", kind=kind_of(scene, fitting.part),
                     wood=_under(scene, fitting, middle) or "none", side="back" if fitting.side == "back" else "front",
                     at=(float(middle[0]), float(middle[1])), turn=turn, sizes=MappingProxyType(sizes))


def _laid(ring: np.ndarray) -> tuple[np.ndarray, float, float, float]:
    """Middle, width, length and turn (degrees, at most 45) of the smallest rectangle around a ring."""
    import shapely

    corners = np.asarray(shapely.minimum_rotated_rectangle(shapely.Polygon(ring)).exterior.coords)
    edges = np.diff(corners, axis=0)[:2]
    # The edge nearer to level is the width.
    k = int(abs(edges[0, 1]) > abs(edges[0, 0]))
    wide, long = (float(np.hypot(*edges[n])) for n in (k, 1 - k))
    turn = math.degrees(math.atan2(edges[k, 1], edges[k, 0]))
    turn = (turn + 90) % 180 - 90
    return corners[:4].mean(axis=0), wide, long, round(turn, 2) + 0.0


def _holds(rings: tuple[np.ndarray, ...], point: np.ndarray) -> bool:
    import shapely

    return sum(shapely.Polygon(r).buffer(0).contains(shapely.Point(point)) for r in rings) % 2 == 1


def at_measured_size(scene: Scene, shop: Shop | None) -> Scene:
    """The scene with its hardware at the size, place and turn that the shop's file says, as measured where it was.

    A part of the file is that of the scene with its name, if its listed size
    is within a quarter of the drawn one; all its pieces grow together.
    """
    if shop is None or not shop.fittings:
        return scene
    drawn = drawn_hardware(scene)
    moves: dict[str, list[tuple[np.ndarray, np.ndarray]]] = {}
    for bought in shop.fittings:
        part = drawn.get(bought.name)
        if part is None or set(part.sizes) - set(bought.listed) or \
                any(abs(bought.listed[k] / mm - 1) > APART for k, mm in part.sizes.items()):
            continue
        moves.setdefault(part.source, []).append((np.array(part.at), _motion(part, bought.sizes, bought.at, bought.turn)))
    if not moves:
        return scene
    changed = {f.name: _moved(f, moves[f.part]) for f in scene.fittings if f.part in moves}
    order = tuple(changed.get(p.name, p) if isinstance(p, Fitting) else p for p in scene.order)
    return replace(scene, order=order)


def _motion(part: DrawnPart, sizes: Mapping[str, float], at: tuple[float, float], turn: float) -> np.ndarray:
    """(2, 3): from as drawn to as measured."""
    if "diameter" in part.sizes:
        grow = np.diag([sizes["diameter"] / part.sizes["diameter"]] * 2)
    else:
        grow = np.diag([sizes["width"] / part.sizes["width"], sizes["length"] / part.sizes["length"]])
    a, b = (np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]]) for t in (math.radians(part.turn), math.radians(turn)))
    # What the file repeats of the drawing to a tenth or a hundredth has not been moved.
    place = np.array(part.at) if np.hypot(*(np.array(at) - part.at)) < 0.02 else np.array(at)
    linear = (a if abs(turn - part.turn) < 0.02 else b) @ grow @ a.T
    return np.column_stack([linear, place - linear @ part.at])


def _moved(fitting: Fitting, moves: list[tuple[np.ndarray, np.ndarray]]) -> Fitting:
    """A piece with each of its curves moved as the part that lies nearest."""
    if fitting.photo is not None:
        return fitting

    def nearest(point: np.ndarray) -> np.ndarray:
        return min(moves, key=lambda m: float(np.hypot(*(m[0] - point))))[1]

    def run(points: np.ndarray, motion: np.ndarray) -> np.ndarray:
        return points @ motion[:, :2].T + motion[:, 2]

    def ring(points: np.ndarray) -> np.ndarray:
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        motion = nearest(middle)
        even = abs(np.linalg.norm(motion[:, 0]) - np.linalg.norm(motion[:, 1])) < 1e-9
        # A screw on a longer plate is elsewhere, and as large as before.
        return run(points, motion) if even or not is_round(points) else points + run(middle[None], motion)[0] - middle

    rings = tuple(ring(r) for r in fitting.shape.rings)
    rods = []
    for x0, y0, x1, y1, radius in fitting.rods:
        ends = run(np.array([[x0, y0], [x1, y1]]), nearest(np.array([(x0 + x1) / 2, (y0 + y1) / 2])))
        rods.append((*map(float, ends.ravel()), radius))
    return replace(fitting, shape=Shape(rings), rods=tuple(rods))


def drawn_outlines(scene: Scene) -> dict[str, tuple[np.ndarray, ...]]:
    """The outer curves (N, 2), drawing mm, of each part that a shop's file may name: of all its pieces together, where it lies on wood."""
    import shapely

    found: dict[str, tuple[np.ndarray, ...]] = {}
    whole: dict[str, list] = {}
    for name, part in drawn_hardware(scene).items():
        if part.source not in whole:
            pieces = [f for f in scene.fittings if f.part == part.source and f.side in (part.side, "both")]
            own = shapely.union_all([shapely.Polygon(r).buffer(0) for f in pieces for r in _outer(f.shape)])
            whole[part.source] = [g for g in getattr(own, "geoms", [own]) if g.geom_type == "Polygon"]
        at = shapely.Point(part.at)
        found[name] = tuple(np.asarray(g.exterior.coords)[:-1] for g in whole[part.source] if g.buffer(0.1).contains(at))
    return found
