"""An approved scene laid on a photo of the finished work: which of its outlines lies where, and what of each part is plain wood."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from ..board.survey import Survey
from ..errors import MockupError
from ..finish.steps import Burst, RubbedEdge
from ..outline.cut import without
from ..outline.shape import Shape
from ..render.colours import region_lab
from ..render.layers import seen_pieces
from ..scene.load import load_scene
from ..scene.values import Part, Scene
from .changes import changes
from .outline_fit import Fit, fit_outline, lay
from .record import input_hashes, scene_path

__all__ = ["Laid", "approved_here", "approved_scene", "lay_scene", "on_photo", "plain_region"]

EDGE = 4.0    # mm left out along the edge of a part: its rounding, and what the fit may be off by
CLEAR = 3.0   # mm left out around what lies on a part: its shade, and its place by hand
FAMILY = 0.6  # share of a part that must lie over the largest one to belong to the body


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """Where the scene lies. ``names`` are the parts of the outline that was found."""

    fit: Fit
    names: tuple[str, ...]
    rings: tuple[np.ndarray, ...]


def approved_scene(record: Mapping[str, Any], folder: Path) -> Scene:
    """The scene of a record as it was approved. MockupError when it is not at hand, or its parts have changed since."""
    scene = load_scene(scene_path(dict(record), folder)).with_variant(record["variant"])
    now = json.loads(json.dumps(scene.resolved))
    moved = [c for c in changes(record["resolved"], now) if c.path not in ("scene.revision", "scene.date", "scene.client")]
    hashes = input_hashes(scene)
    drawn = [n for n in hashes if n.lower().endswith((".svg", ".dxf")) and record["inputs"].get(n) != hashes[n]]
    if moved or drawn:
        raise MockupError("The scene has changed since it was approved.", fix="Put it back as it was.")
    return scene


def lay_scene(scene: Scene, side: str, found: Survey, named: Sequence[str]) -> Laid | None:
    """The scene's outline found in a squared-up photo; None when none of its outlines lies there well.

    The whole instrument, its body without the neck, and the only part that
    is ``named`` are each tried; the one that lies best is taken.
    """
    parts = [p for p in seen_pieces(scene, side) if isinstance(p, Part)]
    tried: dict[tuple[str, ...], list[Part]] = {tuple(p.name for p in parts): parts}
    body = _family(parts)
    tried.setdefault(tuple(p.name for p in body), body)
    if len(named) == 1:
        tried.setdefault(tuple(named), [p for p in parts if p.name in named])
    lab, hidden = _lab(found), found.hidden(1.0)
    laid = []
    for names, group in tried.items():
        rings = _outline(group)
        fit = fit_outline(lab, hidden, found.view.px_per_mm, rings) if rings else None
        if fit is not None and fit.good and (not named or set(named) & set(names)):
            laid.append(Laid(fit, names, rings))
    # A body alone lies well on a whole instrument, too: more of it is better.
    return max(laid, key=lambda found: (found.fit.on * found.fit.clear > 0.6, len(found.names), found.fit.on), default=None)


def _family(parts: Sequence[Part]) -> list[Part]:
    import shapely

    areas = {p.name: _area(p) for p in parts}
    largest = max(parts, key=lambda p: areas[p.name].area)
    return [p for p in parts if shapely.intersection(areas[p.name], areas[largest.name]).area > FAMILY * areas[p.name].area]


def _area(part: Part):
    import shapely

    return shapely.union_all([shapely.Polygon(r).buffer(0) for r in part.shape.rings])


def _outline(parts: Sequence[Part]) -> tuple[np.ndarray, ...]:
    """The outer curves of all parts together, drawing mm."""
    import shapely

    whole = shapely.union_all([_area(p) for p in parts])
    return tuple(np.asarray(g.exterior.coords)[:-1] for g in getattr(whole, "geoms", [whole]) if g.geom_type == "Polygon" and not g.is_empty)


def _lab(found: Survey) -> np.ndarray:
    """The view as Lab, the light's own colour roughly taken off."""
    light = found.view.pixels.astype(np.float32) / 65535
    shown = light[::3, ::3].reshape(-1, 3)
    shown = shown[shown.max(axis=1) > 0]
    white = np.percentile(shown, 98, axis=0) if len(shown) else np.ones(3)
    return cv2.cvtColor(np.minimum(cv2.medianBlur(light, 3) / np.maximum(white, 0.01).astype(np.float32), 1), cv2.COLOR_LRGB2Lab)


def plain_region(scene: Scene, side: str, name: str) -> Shape | None:
    """What is seen of a part and is its finished wood: no edge, no binding, no hardware, no strings; drawing mm. None when nothing is."""
    pieces = seen_pieces(scene, side)
    at = next((k for k, p in enumerate(pieces) if p.name == name and isinstance(p, Part)), None)
    if at is None:
        return None
    part = pieces[at]
    assert isinstance(part, Part)
    bound = part.binding.depth if part.binding is not None else 0.0
    inner = part.shape.inset(EDGE + max(part.edge.roundover, part.edge.bevel, bound))
    above = [grown for p in pieces[at + 1:] if (grown := p.shape.inset(-CLEAR)) is not None]
    return without(inner, above) if inner is not None and above else inner


def approved_here(scene: Scene, name: str, region: Shape, approved: Sequence[float]) -> tuple[float, float, float]:
    """The approved colour of the part of a face that is measured: of a burst it differs from that of the whole."""
    part = next(p for p in scene.parts if p.name == name)
    if not any(isinstance(step, (Burst, RubbedEdge)) for step in part.finish.steps):
        return tuple(float(v) for v in approved)  # type: ignore[return-value]
    here, whole = region_lab(scene, name, region), region_lab(scene, name, part.shape)
    return tuple(round(float(a) + h - w, 2) for a, h, w in zip(approved, here, whole, strict=True))  # type: ignore[return-value]


def on_photo(laid: Laid, region: Shape) -> tuple[np.ndarray, ...]:
    """The curves of a region in mm of the photo."""
    return tuple(lay(laid.fit.matrix, ring) for ring in region.rings)
