"""A shop's file to begin with, for a scene that has none: its boards and parts, and its hardware as drawn."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from ..outline.shape import ring_area
from ..scene.values import Fitting, Scene

__all__ = ["shop_start"]

LEFT_OUT = ("strings", "frets", "markers", "scarf line", "strap pins", "screws")  # nothing is routed for them, or they go by another table
MOST = 24  # fittings
HEAD = """# What the shop knows of "{title}" and the picture does not need. Lengths are {units}.
#
# "mockup shop {name}" reads it. Until every bought part that touches wood is measured, it does not say "ready to cut".

units = "mm"                   # or "in": of every length in this file
# start = 2027-01-11           # the first day of work; left out, today
# rest = ["sunday"]            # days without work
# mail = "name@example.org"    # where a client's choice goes, from the page that "mockup share" writes
kerf = 2.5                     # what the saw takes
{bought}
[allowance]                    # what a blank has more than its part, in all
length = 25                    # along the grain
width = 12
thickness = 3

# Thickness of the boards at hand and of the finished parts.

"""
FILMS = """# Common practice of finishing, where yours differs:
# [films."oil varnish"]
# coats_per_day = 2            # also: method, recoat_hours, sand_every, sand_grit, cure_days, level_grits, full_cure_days,
# mix = {{ "oil varnish" = 2, "boiled linseed oil" = 1 }}    # spread, loss, thin, cautions

"""
BOUGHT = """# Bought parts. "listed" is as drawn: write what the part's maker lists. Then measure the part in your hand, and say it:
#   measured = {{ length = 31.2, width = 83.4, depth = 11.0 }}
# Listed dimensions change between batches. "clearance" is the air on each side of its pocket, "tolerance" what may differ
# without a word; part = "none" is for what touches no wood.

"""
NO_PARTS = 'bought = "none"                # no bought part touches wood; take this line out when you list some\n'
NONE = """# Bought parts: none are drawn. List those that touch wood:
# [fittings.bridge]
# part = "{part}"
# at = [0, 310]                # its middle in the drawing
# listed = {{ length = 42, width = 80, depth = 2 }}
# measured = {{ length = 42.3, width = 80.1, depth = 2 }}
"""


def shop_start(scene: Scene) -> str:
    """The text of a shop's file for a scene; it reads without a mistake and keeps the gate shut until parts are measured."""
    found = _fittings(scene)
    text = HEAD.format(title=scene.title, name=scene.name, units="mm", bought="" if found else NO_PARTS)
    boards = {p.board for p in scene.parts}
    for name in scene.boards:
        if name in boards:
            text += f"# [boards.{name}]\n# thickness = 50\n"
    for part in scene.parts:
        text += f"# [parts.{part.name}]\n# thickness = 44\n"
    text += "\n" + FILMS.format()
    if not found:
        return text + NONE.format(part=scene.parts[-1].name)
    text += BOUGHT.format()
    for name, value in found.items():
        text += f"[fittings.{name}]\ntitle = \"{value['title']}\"\npart = \"{value['part']}\"\nside = \"{value['side']}\"\n"
        text += f"at = [{value['at'][0]:.2f}, {value['at'][1]:.2f}]\n"
        text += f"turn = {value['turn']:g}\n" if value["turn"] else ""
        listed = ", ".join(f"{k} = {v:.1f}" for k, v in value["listed"].items())
        text += f"listed = {{ {listed} }}\n# measured = {{ {listed} }}\nlet_in = {'true' if value['let_in'] else 'false'}\n\n"
    return text


def _fittings(scene: Scene) -> Mapping[str, Mapping[str, Any]]:
    """The hardware of the scene: each piece that lies on wood, by its drawn outline."""
    pieces: dict[str, Fitting] = {}
    for fitting in scene.fittings:
        pieces.setdefault(fitting.part, fitting)  # the first piece is the one that lies on the wood
    made = scene.resolved.get("fittings", {})
    found: dict[str, dict[str, Any]] = {}
    for name, fitting in pieces.items():
        kind = made.get(name, {}).get("make", "") if isinstance(made, Mapping) else ""
        if any(word in (kind or fitting.title.lower()) for word in LEFT_OUT):
            continue
        rings = [r for r in fitting.shape.rings if ring_area(r) > 0]
        for k, ring in enumerate(rings, 1):
            if len(found) < MOST:
                own = name if len(rings) == 1 else f"{name[:56]}-{k}"
                found[own] = _plain(scene, fitting, ring, f" {k}" if len(rings) > 1 else "", kind)
    return found


def _plain(scene: Scene, fitting: Fitting, ring: np.ndarray, number: str, kind: str) -> dict[str, Any]:
    low, high = ring.min(axis=0), ring.max(axis=0)
    middle, (wide, long), turn = (low + high) / 2, high - low, 0.0
    round_ = abs(wide / long - 1) < 0.02 and abs(ring_area(ring) / (math.pi / 4 * wide * long) - 1) < 0.02
    if not round_:
        middle, wide, long, turn = _laid(ring)
    listed = {"diameter": wide} if round_ else {"length": long, "width": wide}
    side = "back" if fitting.side == "back" else "front"
    under = [p for p in scene.parts if p.side in (side, "both") and _holds(p.shape.rings, middle)]
    part = max(under, key=lambda p: p.height).name if under else "none"
    return {"title": f"{fitting.title}{number}".replace('"', "'"), "part": part, "side": side, "at": middle.tolist(), "turn": turn,
            "listed": listed, "let_in": kind == "pickup"}


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
