"""What lies where: the face in the photo, the paper on it, and the board's edges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from mockup.board.bundle import expected, fit_plane
from mockup.board.edges import Edges, Outline, find_outline, place_edges
from mockup.board.flatten import brightest, flatten
from mockup.board.markers import Markers, find_markers, find_more, grey_view
from mockup.board.plane import Plane, check_size, plane_from_corners, plane_from_scan
from mockup.board.sheet import Sheet
from mockup.board.target import Target
from mockup.errors import MockupError

__all__ = ["Survey", "View", "survey_bench", "survey_corners", "survey_scan", "survey_sheet", "within"]

Array = np.ndarray

_REACH = 750.0  # mm a board may reach beyond the strips
_VIEW = 1.6       # px/mm of the working view
_LONGEST = 1300   # px
_WIDE = 0.8       # px/mm of the view the board is first looked for in
_SURE = 0.1       # degrees
_MARGIN = 14.0    # mm around the board in the view its edges are placed in
_UNDER = 9.0      # mm a strip may reach over an edge that is not seen
_SIZE_OFF = 0.015  # share by which the sheet's and the maker's size may differ


@dataclass(frozen=True, slots=True)
class View:
    """A squared-up working view of the board and what lies around it.

    pixels     (H, W, 3) uint16, light as the photo's file says it.
    origin     mm on the board of the outer corner of the first pixel.
    """

    pixels: Array
    origin: tuple[float, float]
    px_per_mm: float

    def to_pixels(self, mm: Array) -> Array:
        """mm on the board to (column, row), pixel centres at whole numbers."""
        return (np.asarray(mm, np.float64) - self.origin) * self.px_per_mm - 0.5

    def board(self, size_mm: tuple[float, float]) -> tuple[slice, slice]:
        """Rows and columns that show the board."""
        x0, y0 = np.maximum(np.rint(self.to_pixels((0, 0)) + 0.5), 0).astype(int)
        x1, y1 = np.rint(self.to_pixels(size_mm) + 0.5).astype(int)
        return slice(y0, max(y1, y0 + 1)), slice(x0, max(x1, x0 + 1))


@dataclass(frozen=True, slots=True)
class Survey:
    """The board found.

    plane    board coordinates, mm from its top left corner, to pixels of the photo.
    size     (width, height) mm of the part that is kept; ``edges`` has the whole board.
    how      "sheet", "corners" or "scan".
    edges    what was seen of its edges, None when they were given.
    papers   piece name to its outline (4, 2), mm on the board.
    markers  as found, None without a sheet.
    scale_error  relative error of lengths (two standard deviations), None when not known.
    region   curves (N, 2), mm on the board, even-odd, that hold the wood; None for the whole rectangle.
    """

    plane: Plane
    size: tuple[float, float]
    how: str
    view: View
    edges: Edges | None = None
    papers: dict[str, Array] | None = None
    sheet: Sheet | None = None
    markers: Markers | None = None
    scale_error: float | None = None
    region: tuple[Array, ...] | None = None

    def hidden(self, grow: float = 1.0) -> Array:
        """Part of the view covered by paper or outside the photo or the region, (H, W) bool, widened by ``grow`` mm."""
        out = _outside(self.view)
        if self.region is not None:
            wood = np.zeros_like(out)
            cv2.fillPoly(wood, [np.rint(self.view.to_pixels(ring)).astype(np.int32) for ring in self.region], 1)
            out |= 1 - wood
        for outline in (self.papers or {}).values():
            cv2.fillPoly(out, [np.rint(self.view.to_pixels(outline)).astype(np.int32)], 1)
        k = 2 * int(np.ceil(grow * self.view.px_per_mm)) + 1
        return cv2.dilate(out, np.ones((k, k), np.uint8)).astype(bool)


def _outside(view: View) -> Array:
    return (brightest(view.pixels) == 0).astype(np.uint8)


def survey_sheet(pixels: Array, sheet: Sheet, *, size: tuple[float, float] | None = None,
                 target: Target | None = None) -> Survey:
    """Find the board by the marker sheet beside or on it.

    pixels  (H, W, 3) uint16 linear light.
    size    the board's (width, height) in mm if the maker gave it: then the edges
            must agree with it, and are looked for where it says.
    target  a colour target in the picture, so that it is not taken for the board.

    Raises MockupError when the markers do not suffice, or sheet and size disagree.
    """
    if size is not None:
        size = check_size(size)
    shape = (pixels.shape[1], pixels.shape[0])
    markers = find_markers(grey_view(pixels), sheet, pixels)
    plane = fit_plane(sheet, markers, shape)
    markers, plane = _all_markers(pixels, sheet, markers, plane)
    plane = plane.moved((0.0, 0.0), _level(plane))
    papers = _papers(plane, sheet)
    corners = np.concatenate(list(papers.values()))
    low, high = corners.min(0), corners.max(0)
    # A board may reach far beyond the strips, on any side.
    pad = np.full(2, _REACH if size is None else 30 + max(size))
    view = _view(pixels, plane, low - pad, high + pad, most=_WIDE)
    found = Survey(plane, (1.0, 1.0), "sheet", view, None, papers, sheet, markers)
    hidden = _shut(found, target)
    near = (*(low - view.origin), *(high - view.origin))
    lab = _lab(view.pixels)
    edges = _placed(pixels, found, find_outline(lab, hidden, view.px_per_mm, near=near), target)
    if size is not None:
        held = find_outline(lab, hidden, view.px_per_mm, near=near, size=size)
        edges = _agreed(edges, _placed(pixels, found, held, target), size)
    if edges is None:
        raise MockupError("The markers were found, but not the edges of the board.",
                          fix="Lay the board on a plain cloth or sheet that is clearly lighter or darker, or give its "
                              "four corners and its size.")
    return _settled(pixels, replace(found, edges=edges), edges)


def survey_bench(pixels: Array, sheet: Sheet) -> Survey:
    """All that the photo shows around the marker sheet, whatever lies there; no edges are looked for. Raises as ``survey_sheet``."""
    shape = (pixels.shape[1], pixels.shape[0])
    markers = find_markers(grey_view(pixels), sheet, pixels)
    plane = fit_plane(sheet, markers, shape)
    markers, plane = _all_markers(pixels, sheet, markers, plane)
    plane = plane.moved((0.0, 0.0), _level(plane))
    corners = np.concatenate(list(_papers(plane, sheet).values()))
    view = _view(pixels, plane, corners.min(0) - _REACH, corners.max(0) + _REACH, most=_WIDE)
    size = np.array(view.pixels.shape[1::-1]) / view.px_per_mm
    plane = plane.moved(view.origin, 0.0)
    found = Survey(plane, (float(size[0]), float(size[1])), "sheet", replace(view, origin=(0.0, 0.0)), None, _papers(plane, sheet), sheet, markers)
    ends = np.array([[[0, 0], [size[0], 0]], [[0, 0], [0, size[1]]]])
    return replace(found, scale_error=plane.length_error(ends))


def within(pixels: Array, found: Survey, region: tuple[Array, ...], turn: float = 0.0) -> Survey:
    """A survey of the wood within curves (N, 2) in mm: of the box around them, turned ``turn`` degrees clockwise."""
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    spin = np.array([[c, -s], [s, c]])
    upright = [ring @ spin for ring in region]
    points = np.concatenate(upright)
    low, high = points.min(0), points.max(0)
    corner = spin @ low
    plane = found.plane.moved((float(corner[0]), float(corner[1])), turn)
    papers = _papers(plane, found.sheet) if found.sheet is not None else found.papers
    everything = np.concatenate([*(papers or {}).values(), [[0, 0], high - low]])
    view = _view(pixels, plane, everything.min(0) - 6, everything.max(0) + 6)
    return replace(found, plane=plane, size=(float(high[0] - low[0]), float(high[1] - low[1])), view=view, papers=papers, edges=None,
                   region=tuple(ring - low for ring in upright))


def _placed(pixels: Array, found: Survey, outline: Outline | None, target: Target | None) -> Edges | None:
    """The edges exactly, from a finer view turned as the board is; in the coordinates of ``found``."""
    if outline is None:
        return None
    edges = _placed_once(pixels, found, outline, target)
    if abs(edges.turn - outline.turn) > _SURE or len(edges.missing):
        # The lines were looked for a little off their way; look again along it.
        origin = np.array(edges.origin) - found.view.origin
        again = _placed_once(pixels, found, Outline(tuple(origin), edges.turn, edges.size), target)
        edges = again if sum(again.support.values()) >= sum(edges.support.values()) else edges
    return edges


def _placed_once(pixels: Array, found: Survey, outline: Outline, target: Target | None) -> Edges:
    c, s = np.cos(np.radians(outline.turn)), np.sin(np.radians(outline.turn))
    turn = np.array([[c, -s], [s, c]])
    corner = np.array(outline.origin) + found.view.origin - turn @ (_MARGIN, _MARGIN)
    plane = found.plane.moved(tuple(corner), outline.turn)
    size = np.array(outline.size) + 2 * _MARGIN
    scale = min(_VIEW, _LONGEST / size.max())
    view = View(flatten(pixels, plane, tuple(size), scale, smooth=False), (0.0, 0.0), float(scale))
    close = replace(found, plane=plane, papers=_papers(plane, found.sheet), view=view)
    edges = place_edges(_lab(view.pixels), _shut(close, target), scale, outline.size, _MARGIN)
    origin = corner + turn @ edges.origin
    return replace(edges, origin=(float(origin[0]), float(origin[1])), turn=outline.turn + edges.turn)


def _both_seen(edges: Edges, axis: int) -> bool:
    return not set(edges.missing) & set(("left", "right") if axis == 0 else ("top", "bottom"))


def _shut(found: Survey, target: Target | None) -> Array:
    """Where no edge is looked for: paper, target, outside the photo."""
    hidden = found.hidden(0.7)
    if target is not None:
        outline = found.plane.to_face(target.centres[[0, 5, 23, 18]])
        outline = outline.mean(0) + 1.35 * (outline - outline.mean(0))
        mask = np.zeros(hidden.shape, np.uint8)
        cv2.fillPoly(mask, [np.rint(found.view.to_pixels(outline)).astype(np.int32)], 1)
        hidden |= mask.astype(bool)
    return hidden


def _all_markers(pixels: Array, sheet: Sheet, markers: Markers, plane: Plane) -> tuple[Markers, Plane]:
    """Also those markers that were too small or soft to be found without knowing where to look."""
    more = find_more(pixels, sheet, *expected(sheet, plane, markers.numbers))
    if not len(more.numbers):
        return markers, plane
    order = np.argsort(np.concatenate([markers.numbers, more.numbers]))
    every = Markers(*(np.concatenate([getattr(markers, k), getattr(more, k)])[order] for k in ("numbers", "corners", "spread")))
    return every, fit_plane(sheet, every, (pixels.shape[1], pixels.shape[0]))


def _agreed(free: Edges | None, held: Edges | None, size: tuple[float, float]) -> Edges | None:
    """The edges that fit the maker's size; MockupError when those plainly seen say otherwise."""
    for edges in (free, held):
        seen = [k for k in range(2) if edges is not None and _both_seen(edges, k)]
        if seen and max(abs(edges.size[k] / size[k] - 1) for k in seen) > _SIZE_OFF:
            raise _other_size(edges, size, seen)
    if held is None and free is not None:
        raise _other_size(free, size, [0, 1])
    return held


def _other_size(edges: Edges, size: tuple[float, float], seen: list[int]) -> MockupError:
    ratio = [size[k] / edges.size[k] for k in seen]
    if max(abs(r - 1) for r in ratio) > 0.15:
        fix = "Check the size: width first, as the board lies in the photo, in mm."
    else:
        fix = (f"Measure the sheet's 100 mm ruler; if it reads about {100 * np.median(ratio):.0f} mm, the sheet was printed "
               "at the wrong scale: enter what you measured.")
    return MockupError(f"By the sheet the board is {edges.size[0]:.0f} x {edges.size[1]:.0f} mm, but {size[0]:g} x "
                       f"{size[1]:g} mm was given.", fix=fix, where="size")


def _settled(pixels: Array, found: Survey, edges: Edges) -> Survey:
    """The survey with the board's top left corner as origin, and a view that shows board and paper."""
    trim = _trim(found, edges)
    c, s = np.cos(np.radians(edges.turn)), np.sin(np.radians(edges.turn))
    origin = np.array(edges.origin) + np.array([[c, -s], [s, c]]) @ (trim["left"], trim["top"])
    plane = found.plane.moved(tuple(origin), edges.turn)
    papers = _papers(plane, found.sheet)
    w = edges.size[0] - trim["left"] - trim["right"]
    h = edges.size[1] - trim["top"] - trim["bottom"]
    ends = np.array([[[0, 0], [w, 0]], [[0, h], [w, h]], [[0, 0], [0, h]], [[w, 0], [w, h]], [[0, 0], [w, h]]])
    everything = np.concatenate([*papers.values(), [[0, 0], [w, h]]])
    view = _view(pixels, plane, everything.min(0) - 6, everything.max(0) + 6)
    return replace(found, plane=plane, papers=papers, size=(w, h), view=view, scale_error=plane.length_error(ends))


def _trim(found: Survey, edges: Edges) -> dict[str, float]:
    """mm to leave off each side, so that neither bench nor paper is taken for wood."""
    papers = _papers(found.plane.moved(edges.origin, edges.turn), found.sheet)
    out = {}
    for side in edges.support:
        out[side] = 0.4 + 2 * edges.rough[side]
        if side not in edges.missing:
            continue
        out[side] = 1.5
        axis, end = (0 if side in ("left", "right") else 1), side in ("right", "bottom")
        for outline in papers.values():
            along, across = outline[:, 1 - axis], outline[:, axis]
            inner = edges.size[axis] - across.min() if end else across.max()
            beside = along.max() > 0 and along.min() < edges.size[1 - axis]
            if beside and 0 < inner < _UNDER + 1.5:  # the strip hides the edge: it lies against it
                out[side] = max(out[side], inner + 0.7)
    return out


def _level(plane: Plane) -> float:
    """Turn of the axes, degrees, that makes x run along the photo's own width."""
    middle = plane.to_face(np.array(plane.centre))
    along = plane.to_face(np.array(plane.centre) + (plane.half * 0.1, 0)) - middle
    return float(np.degrees(np.arctan2(along[1], along[0])))


def _papers(plane: Plane, sheet: Sheet) -> dict[str, Array]:
    out = {}
    for piece in sheet.pieces:
        if plane.placed and piece.name in plane.placed:
            w, h = piece.size
            motion = plane.placed[piece.name]
            out[piece.name] = np.array([[0, 0], [w, 0], [w, h], [0, h]]) @ motion[:, :2].T + motion[:, 2]
    return out


def _view(pixels: Array, plane: Plane, low: Array, high: Array, *, most: float = _VIEW) -> View:
    """The part of a box on the face that the photo shows."""
    height, width = pixels.shape[:2]
    rim = np.concatenate([np.stack(np.broadcast_arrays(*p), -1).reshape(-1, 2) for p in (
        (np.linspace(0, width - 1, 12), 0.0), (np.linspace(0, width - 1, 12), height - 1.0),
        (0.0, np.linspace(0, height - 1, 12)), (width - 1.0, np.linspace(0, height - 1, 12)))])
    seen = plane.to_face(rim)
    # Beyond the horizon points come back on the wrong side; only what maps to itself is kept.
    back = plane.to_image(seen)
    good = np.isfinite(back).all(1) & (np.linalg.norm(np.nan_to_num(back, nan=1e9) - rim, axis=1) < 2)
    if good.all():
        low, high = np.maximum(low, seen.min(0)), np.minimum(high, seen.max(0))
    size = np.maximum(high - low, 10)
    scale = min(most, _LONGEST / size.max())
    view = plane.moved((float(low[0]), float(low[1])), 0.0)
    return View(flatten(pixels, view, tuple(size), scale, smooth=False), (float(low[0]), float(low[1])), float(scale))


def _lab(pixels: Array) -> Array:
    """CIE Lab (H, W, 3) float32, with the light's colour roughly taken off and noise smoothed."""
    light = pixels.astype(np.float32) / 65535
    shown = light[::3, ::3][brightest(pixels[::3, ::3]) > 0]
    white = np.percentile(shown, 98, axis=0) if len(shown) else np.ones(3)
    light = np.minimum(light / np.maximum(white, 0.01).astype(np.float32), 1)
    return cv2.cvtColor(cv2.medianBlur(light, 3), cv2.COLOR_LRGB2Lab)


def survey_corners(pixels: Array, corners: Array, size: tuple[float, float]) -> Survey:
    """The board by its four corners in the photo (4, 2) px and its size in mm; raises as ``plane_from_corners``."""
    plane = plane_from_corners(corners, size, (pixels.shape[1], pixels.shape[0]))
    w, h = check_size(size)
    margin = 0.05 * max(w, h)
    return Survey(plane, (w, h), "corners", _view(pixels, plane, np.array([-margin] * 2), np.array([w + margin, h + margin])))


def survey_scan(pixels: Array, dpi: float) -> Survey:
    """A flat scan, all of it board, at ``dpi``; MockupError for a resolution no scanner has."""
    plane = plane_from_scan(dpi, (pixels.shape[1], pixels.shape[0]))
    w, h = pixels.shape[1] / dpi * 25.4, pixels.shape[0] / dpi * 25.4
    check_size((w, h))
    return Survey(plane, (w, h), "scan", _view(pixels, plane, np.zeros(2), np.array([w, h])))
