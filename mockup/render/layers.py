"""A scene as layers: what is seen of each part, and what fills it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..outline.cut import without
from ..outline.shape import Shape
from ..scene.values import Part, Scene

__all__ = ["Layer", "scene_layers", "seen_parts"]

INK = (22.0, 2.0, 3.0)  # Lab of the dark line inside a binding


@dataclass(frozen=True, eq=False)
class Layer:
    """``region`` is what is seen; ``colour`` (Lab) fills it, or where that is None the part's wood and finish."""

    part: Part
    region: Shape
    colour: tuple[float, float, float] | None = None


def seen_parts(scene: Scene, side: str) -> tuple[Part, ...]:
    """The parts of one side, back to front, laid out as seen from that side."""
    parts = [p for p in scene.parts if p.side in (side, "both")]
    if side == "front":
        return tuple(parts)
    # From behind the order turns round, and left is right: for the wood too,
    # whose other face is not in the photo, so its front is shown mirrored.
    return tuple(replace(p, shape=p.shape.mirrored(scene.centre)) for p in reversed(parts))


def scene_layers(parts: tuple[Part, ...]) -> tuple[Layer, ...]:
    """Layers of disjoint regions, back to front."""
    layers: list[Layer] = []
    above: list[Shape] = []
    for part in reversed(parts):
        pieces: list[tuple[Shape | None, tuple[float, float, float] | None]] = [(part.shape, None)]
        if part.binding is not None and part.binding.width > 0:
            b = part.binding
            lined = part.shape.inset(b.width)
            field = part.shape.inset(b.width + b.line) if b.line > 0 else lined
            pieces = [(without(part.shape, [lined]) if lined else part.shape, b.lab)]
            if b.line > 0 and lined is not None:
                pieces.append((without(lined, [field]) if field else lined, INK))
            pieces.append((field, None))
        for shape, colour in pieces:
            seen = without(shape, above) if shape is not None else None
            if seen is not None:
                layers.append(Layer(part, seen, colour))
        above.append(part.shape)
    return tuple(reversed(layers))
