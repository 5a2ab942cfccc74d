"""A scene as layers: what is seen of each part, and what fills it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..outline.cut import Cover, overlap, without
from ..outline.fewer import FINEST, thinned
from ..outline.shape import Shape
from ..scene.values import Fitting, Form, Part, Scene

__all__ = ["CHORD", "LONG", "Layer", "scene_layers", "seen_parts", "seen_pieces"]

CHORD, LONG = FINEST  # mm by which a cut may leave the drawing, a five-hundredth of a pixel at 12 px/mm, and points from which a ring is worth thinning
INK = (22.0, 2.0, 3.0)  # Lab of the dark line inside a binding


@dataclass(frozen=True, eq=False)
class Layer:
    """``region`` is what is seen; ``colour`` (Lab) fills it, or where that is None the part's wood and finish."""

    part: Part | Fitting
    region: Shape
    colour: tuple[float, float, float] | None = None


def seen_pieces(scene: Scene, side: str) -> tuple[Part | Fitting, ...]:
    """The parts and fittings of one side, back to front, laid out as seen from that side."""
    seen = [p for p in scene.order if p.side in (side, "both")]
    if side == "front":
        return tuple(replace(p, form=_facing(p.form, side)) for p in seen)
    # From behind the order turns round, left is right, and what lay lowest stands highest.
    # What is seen from the back only lies on the back, in its own order.
    top = max((p.height for p in seen if isinstance(p, Part)), default=0.0)
    turned = [*_turned([p for p in seen if p.side == "both"]), *(p for p in seen if p.side == "back")]
    return tuple(_behind(p, scene.centre, top) for p in turned)


def seen_parts(scene: Scene, side: str) -> tuple[Part, ...]:
    """Those of ``seen_pieces`` that are of wood."""
    return tuple(p for p in seen_pieces(scene, side) if isinstance(p, Part))


def _turned(pieces: list[Part | Fitting]) -> list[Part | Fitting]:
    """Pieces in the order seen from behind; strips stay on the whole they are let into, and a fitting's pieces in their own order, from either side."""
    groups: list[list[Part | Fitting]] = []
    for p in pieces:
        if isinstance(p, Fitting) and groups and isinstance(groups[-1][0], Fitting) and groups[-1][0].part == p.part:
            groups[-1].append(p)  # buttons hide their shafts, screws stand on their plate
            continue
        whole = p.whole if isinstance(p, Part) else None
        host = next((g for g in groups if whole is not None and isinstance(g[0], Part) and _same(g[0].whole or g[0].shape, whole)), None)
        if host is None:
            groups.append([p])
        else:
            host.append(p)
    return [p for group in reversed(groups) for p in group]


def _same(a: Shape, b: Shape) -> bool:
    return len(a.rings) == len(b.rings) and all(np.array_equal(x, y) for x, y in zip(a.rings, b.rings, strict=True))


def _facing(form: Form, side: str) -> Form:
    """What of a form is on the face seen."""
    contours = tuple(c for c in form.contours if c.side == side)
    if side == "front":
        return form if form.barrel is None and contours == form.contours else replace(form, barrel=None, contours=contours)
    return replace(form, dome=0.0, radius=0.0, contours=contours)


def _behind(p: Part | Fitting, centre: float, top: float) -> Part | Fitting:
    form = _facing(p.form, "back")
    form = replace(form, axis=2 * centre - form.axis, contours=tuple(replace(c, shape=c.shape.mirrored(centre)) for c in form.contours))
    seen = replace(p, shape=p.shape.mirrored(centre), form=form, height=top - p.below, below=top - p.height)
    if isinstance(p, Fitting):
        photo = p.photo
        if photo is not None:
            # What lies on the back was photographed from there; of what is seen from both sides there is only its front.
            photo = replace(photo, behind=centre) if p.side == "both" else replace(photo, at=(2 * centre - photo.at[0], photo.at[1]), turn=-photo.turn)
        return replace(seen, photo=photo, rods=tuple((2 * centre - a, b, 2 * centre - c, d, r) for a, b, c, d, r in p.rods))
    # The wood too: its other face is not in the photo, so its front is shown mirrored.
    whole, edged = (s.mirrored(centre) if s is not None else None for s in (p.whole, p.edged))
    return replace(seen, whole=whole, edged=edged, lines=tuple(2 * centre - x for x in p.lines),
                   placement=replace(p.placement, behind=centre))


def scene_layers(parts: tuple[Part | Fitting, ...]) -> tuple[Layer, ...]:
    """Layers of disjoint regions, back to front."""
    layers: list[Layer] = []
    above = Cover()
    for part in reversed(parts):
        # All cuts are of the same chords, so that neighbours still meet exactly.
        whole = thinned(part.shape, CHORD, LONG)
        pieces: list[tuple[Shape | None, tuple[float, float, float] | None]] = [(whole, None)]
        if isinstance(part, Fitting):
            pieces = [(whole, part.material.lab)]
        elif part.binding is not None and part.binding.width > 0:
            b = part.binding
            # Each band is what one offset of the edge leaves of the one before.
            pieces, outer, depth = [], thinned(part.edged, CHORD, LONG) if part.edged else whole, 0.0
            edge = outer
            for width, colour in ((b.width, b.lab), *(((b.line, INK),) if b.line > 0 else b.purfling)):
                depth += width
                inner = edge.inset(depth)
                pieces.append((without(outer, [inner]) if inner else outer, colour))
                outer = inner
                if outer is None:
                    break
            pieces.append((outer, None))
            if part.edged:  # an edge that goes on under another part is not seen there
                pieces = [(overlap(shape, whole) if shape is not None else None, colour) for shape, colour in pieces]
        for shape, colour in pieces:
            seen = above.left_of(shape) if shape is not None else None
            if seen is not None:
                # What nothing cuts keeps every chord of its drawing.
                layers.append(Layer(part, part.shape if seen is whole else seen, colour))
        above.add(whole)
    return tuple(reversed(layers))
