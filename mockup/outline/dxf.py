"""Outlines out of DXF files: the closed curves on one layer, in mm.

y runs up in a DXF file and down in ours, so y changes its sign: what is drawn
at (10, 20) is at x 10, y -20. Curves are followed exactly (arcs, ellipses,
splines, bulges); blocks are opened; pieces that meet end to end are joined.
"""

from __future__ import annotations

import io
import math

import numpy as np

from mockup.errors import MockupError, nearest
from mockup.outline.flatten import TOLERANCE
from mockup.outline.rings import GAP, shape_from_curves
from mockup.outline.shape import Shape

__all__ = ["LARGEST_DXF", "UNITS", "dxf_layers", "outline_from_dxf"]

LARGEST_DXF = 16_000_000  # bytes
UNITS = {"mm": 1.0, "inch": 25.4}
# $INSUNITS of the DXF reference: 1 inches, 2 feet, 4 mm, 5 cm, 6 m, 14 decimetres.
_INSUNITS = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 14: 100.0}
_MOST_ENTITIES, _MOST_POINTS, _DEEPEST = 20_000, 200_000, 12
_FARTHEST = 20_000.0  # mm
_SAME = 1e-6  # mm within which a curve is another one drawn again
_AGAIN = "Save it again as DXF from the drawing program."

Curve = tuple[np.ndarray, bool]


def outline_from_dxf(data: bytes, layer: str, *, units: str | None = None) -> tuple[Shape, tuple[str, ...]]:
    """The region enclosed by the curves on a layer, and what was done to them, in words.

    units  "mm" or "inch", for a file that does not say; a file that does is believed.

    Curves inside curves are holes. Ends closer than ``rings.GAP`` are joined,
    and the notes say so. Raises MockupError for a file that is no DXF, a layer
    that is not there, one without curves, a curve left open, and a file
    without units when ``units`` is None.
    """
    document = _document(data)
    curves, scale, notes = _curves(document, layer), None, []
    declared = _INSUNITS.get(int(document.header.get("$INSUNITS", 0) or 0))
    if declared is None and units is None:
        odd = int(document.header.get("$INSUNITS", 0) or 0) != 0
        points = np.concatenate([c for c, _ in curves])
        w, h = np.ptp(points, axis=0).tolist()
        raise MockupError(
            f"The DXF file {'is in none of mm, cm, m, inches and feet' if odd else 'does not say its units'}: the outline is {w:.0f} x {h:.0f} mm if they are mm, "
            f"and {w * 25.4:.0f} x {h * 25.4:.0f} mm if they are inches.",
            fix='Add units = "mm" or units = "inch" under [scene].',
        )
    scale = declared if declared is not None else UNITS[units or "mm"]
    curves = [(points * (scale, -scale) + 0.0, closed) for points, closed in curves]  # no -0
    far = max(float(np.abs(points).max()) for points, _ in curves)
    if far > _FARTHEST:
        raise MockupError(f"The outline reaches {far / 1000:.4g} m from the drawing's origin.", fix="Check the units of the file.")
    once = _once(curves)
    if len(once) < len(curves):
        notes.append(f"curves drawn twice are taken once ({len(curves) - len(once)} left out)")
    joined, gap = _joined(once)
    if gap > 1e-4:
        notes.append(f"gaps of up to {gap:.2g} mm between its curves are closed")
    return shape_from_curves(joined, "evenodd"), tuple(notes)


def dxf_layers(data: bytes) -> tuple[str, ...]:
    """The layers of a DXF file that hold curves, in the order drawn."""
    found: dict[str, None] = {}
    for entity in _opened(_document(data)):
        found[entity.dxf.layer] = None
    return tuple(found)


def _document(data: bytes):
    """The file, read and mended where that can be done without guessing."""
    import logging
    import struct

    import ezdxf
    from ezdxf import recover
    from ezdxf.document import Drawing
    from ezdxf.lldxf.tagger import binary_tags_loader

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    if len(data) > LARGEST_DXF:
        raise MockupError(f"The DXF file has {len(data) / 1e6:.0f} MB.", fix=f"Keep only the outlines in it, at most {LARGEST_DXF / 1e6:.0f} MB.")
    if not data.strip():
        raise MockupError("The drawing is empty.", fix=_AGAIN)
    if b"SECTION" not in data:  # the reader below finds an empty drawing in any text
        raise MockupError("This is not a readable DXF file.", fix=_AGAIN)
    try:
        # The mending reader knows text only.
        document = Drawing.load(binary_tags_loader(data)) if b"Binary DXF" in data[:22] else recover.read(io.BytesIO(data))[0]
    except (ezdxf.DXFError, struct.error, OSError, ValueError, TypeError, KeyError, IndexError, AttributeError, ArithmeticError, RecursionError, MemoryError):
        # What ezdxf raises on a broken file is not one family.
        raise MockupError("This is not a readable DXF file.", fix=_AGAIN) from None
    return document


_CURVES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE")


def _opened(document) -> list:
    """Every curve of the drawing itself, blocks opened."""
    import ezdxf

    found: list = []

    def walk(entities, depth: int, layer: str | None) -> None:
        for entity in entities:
            kind = entity.dxftype()
            if kind == "INSERT":
                if depth >= _DEEPEST:
                    raise MockupError(f"The drawing nests blocks more than {_DEEPEST} deep.", fix="Explode the blocks in the drawing program.")
                # What a block has on layer 0 lies on the layer the block is placed on.
                walk(entity.virtual_entities(), depth + 1, entity.dxf.layer if entity.dxf.layer != "0" else layer)
            elif kind in _CURVES:
                if layer is not None and entity.dxf.layer == "0":
                    entity.dxf.layer = layer
                found.append(entity)
                if len(found) > _MOST_ENTITIES:
                    raise MockupError(f"The drawing has more than {_MOST_ENTITIES} curves.", fix="Keep only the outlines in it.")

    try:
        walk(document.modelspace(), 0, None)
    except (ezdxf.DXFError, ValueError, TypeError, ArithmeticError, AttributeError, RecursionError):
        raise MockupError("The drawing has a block that cannot be opened.", fix="Explode the blocks in the drawing program.") from None
    return found


def _curves(document, layer: str) -> list[Curve]:
    """The curves on a layer, in the units of the file."""
    import ezdxf

    entities = _opened(document)
    layers = dict.fromkeys(e.dxf.layer for e in entities)
    wanted = [e for e in entities if e.dxf.layer.lower() == layer.lower()]  # DXF layer names know no capitals
    if not wanted:
        raise MockupError(f'There is no layer "{layer[:60]}" with curves in the drawing.',
                          fix=nearest(layer, layers) or "Draw the outline there.")
    curves: list[Curve] = []
    count = 0
    try:
        for entity in wanted:
            flat = _flat(entity)
            curves += flat
            count += sum(len(p) for p, _ in flat)
            if count > _MOST_POINTS:
                raise MockupError(f"The outline needs more than {_MOST_POINTS} points.", fix="Simplify the curves.")
    except (ezdxf.DXFError, ValueError, TypeError, ArithmeticError, AttributeError, IndexError):
        raise MockupError("The drawing has a curve that cannot be read.", fix=_AGAIN) from None
    curves = [(points, closed) for points, closed in curves if _length(points) > 1e-9]  # a segment of no length is nothing
    if not curves:
        raise MockupError("The outline is empty.", fix="Draw a closed curve there.")
    if not all(np.isfinite(points).all() for points, _ in curves):
        raise MockupError("The outline has a coordinate that is not a number.", fix="Draw that curve again.")
    return curves


def _flat(entity) -> list[Curve]:
    """One entity as chords within the tolerance of ``flatten`` (taken in the file's units, which are never finer than mm)."""
    kind = entity.dxftype()
    if kind in ("LWPOLYLINE", "POLYLINE"):
        if kind == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
            return []  # a mesh
        pieces = [p for part in entity.virtual_entities() for p in _flat(part)]
        points = [p for p, _ in pieces if _length(p) > 1e-12]
        if not points:
            return []
        chain = [points[0], *(p[1:] for p in points[1:])]
        return [(np.concatenate(chain), bool(entity.is_closed))]
    if kind == "LINE":
        return [(_plane([entity.dxf.start, entity.dxf.end]), False)]
    # Inches are 25 times coarser than mm: what is asked of them is as much finer.
    fine = TOLERANCE / 25.4
    if kind == "CIRCLE":
        return [(_plane(entity.flattening(_sagitta(entity.dxf.radius, fine))), True)]
    if kind == "ARC":
        return [(_plane(entity.flattening(_sagitta(entity.dxf.radius, fine))), False)]
    if kind == "ELLIPSE":
        points = _plane(entity.flattening(fine, segments=64))
        sweep = abs(entity.dxf.end_param - entity.dxf.start_param)
        return [(points, math.isclose(sweep % (2 * math.pi), 0.0, abs_tol=1e-9) and sweep > 1)]
    return [(_plane(entity.flattening(fine, segments=8)), bool(entity.closed))]


def _sagitta(radius: float, fine: float) -> float:
    if not math.isfinite(radius) or radius <= 0 or radius > 1e7:
        raise ValueError("radius")
    return min(fine if radius < 20 else fine * 25.4, radius / 10)


def _plane(points) -> np.ndarray:
    return np.array([(p[0], p[1]) for p in points], np.float64).reshape(-1, 2)


def _length(points: np.ndarray) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0


def _once(curves: list[Curve]) -> list[Curve]:
    """The curves without those that lie on another one from end to end, in either direction."""
    seen: set[bytes] = set()
    kept = []
    for points, closed in curves:
        rounded = np.round(points / _SAME).astype(np.int64)
        if closed:  # from its first corner on, wherever it was begun
            rounded = rounded[:-1] if len(rounded) > 1 and (rounded[0] == rounded[-1]).all() else rounded
            rounded = np.roll(rounded, -int(np.lexsort(rounded.T)[0]), axis=0)
        ways = {rounded.tobytes(), (np.roll(rounded[::-1], 1, axis=0) if closed else rounded[::-1]).tobytes()}
        if not ways & seen:
            seen |= ways
            kept.append((points, closed))
    return kept


def _joined(curves: list[Curve]) -> tuple[list[Curve], float]:
    """Open curves joined end to end where their ends lie within ``GAP``; and the widest gap so closed, mm.

    Raises MockupError for a chain left open, with the gap to the nearest other end: what is
    missing is there, and not between the two ends of the chain.
    """
    done = [c for c in curves if c[1]]
    open_ = [points for points, closed in curves if not closed]
    if not open_:
        return done, 0.0
    from scipy.spatial import cKDTree

    ends = np.array([p[k] for p in open_ for k in (0, -1)])  # of curve n the ends 2n and 2n + 1
    near = cKDTree(ends)
    free = np.ones(len(open_), bool)
    widest, left = 0.0, []

    def nearest_free(point: np.ndarray) -> tuple[int, float]:
        """The nearest end of a curve not yet taken, within ``GAP``; -1 where there is none."""
        found = [k for k in near.query_ball_point(point, GAP * (1 + 1e-9)) if free[k // 2]]
        away = np.hypot(*(ends[found] - point).T)
        return (found[int(np.argmin(away))], float(away.min())) if found else (-1, math.inf)

    for first in range(len(open_)):
        if not free[first]:
            continue
        free[first] = False
        # Two runs from the curve that begins the chain: on from its end, and, where that does not lead back, on from its start.
        runs, whole = [[open_[first]], []], False
        for way, run in enumerate(runs):
            at = open_[first][-1] if way == 0 else open_[first][0]
            start = open_[first][0]
            while not whole:
                end, away = nearest_free(at)
                # A chain that already ends where it began is whole.
                if way == 0 and math.dist(start, at) <= min(away, GAP) and (len(run) > 1 or len(run[0]) > 2):
                    whole = True
                elif end < 0:
                    break
                else:
                    widest = max(widest, away)
                    n = end // 2
                    free[n] = False
                    run.append(open_[n] if end % 2 == 0 else open_[n][::-1])
                    at = run[-1][-1]
        chain = np.concatenate([*(piece[::-1] for piece in runs[1][::-1]), *runs[0]])
        gap = math.dist(chain[0], chain[-1])
        if gap <= GAP:
            widest = max(widest, gap)
        else:
            left.append(chain)
        done.append((chain, False))
    if len(left) > 1:
        _refuse_apart(left)
    return done, widest


def _refuse_apart(chains: list[np.ndarray]) -> None:
    """Say where several open chains come nearest to each other, when that is nearer than the ends of one chain."""
    ends = np.array([c[k] for c in chains for k in (0, -1)])
    away = np.hypot(*np.moveaxis(ends[:, None] - ends[None], -1, 0))
    np.fill_diagonal(away, math.inf)
    # The narrowest gap is told: that one is surely meant to be closed.
    a, b = np.unravel_index(int(np.argmin(away)), away.shape)
    (x0, y0), (x1, y1) = ends[a], ends[b]
    if a // 2 != b // 2:
        raise MockupError(f"The outline is open: {away[a, b]:.2f} mm are missing from x {x0:.2f}, y {y0:.2f} to x {x1:.2f}, y {y1:.2f} mm.",
                          fix="Join the curves there, and wherever else they end without meeting.")
