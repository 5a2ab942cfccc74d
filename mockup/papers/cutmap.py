"""Where a part is cut from its board: the photo with outline, kerf, blank, grain and measures from two edges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from ..colour.spaces import encode_srgb
from ..outline.coverage import coverage
from ..render.boards import load_board
from ..render.kept import Kept
from ..scene.values import Part, Scene
from .blanks import Blank, leaf_shapes
from .booklet import SMALL, Booklet
from .face import PT, SEMIBOLD, text_width
from .furniture import Words, true_size_pages
from .lengths import INCH, length_words, size_words, volume_words
from .page import INK, WHITE, Box, Image, Item, Page, Path, Text
from .placed import placed
from .plan import Plan, outlined
from .shop_values import Shop
from .strokes import simpler
from .tiles import tiling, whole_sheet

__all__ = ["CutPoint", "cut_pages", "cut_plan", "cut_points", "full_size_cut"]

RED, BLUE, GREEN = (176, 32, 24), (20, 70, 190), (16, 110, 70)
AROUND = 9.0     # mm of paper around the board, for its measures
NICE = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 15, 20)
PALER = 0.45     # share of white over wood that is not cut out


@dataclass(frozen=True, slots=True)
class CutPoint:
    """A place on the board: mm from the left edge (A) and from the top edge (B) of its picture."""

    name: str
    x: float
    y: float


def cut_points(part: Part) -> tuple[CutPoint, ...]:
    """What a maker marks on the board: the four sides of the piece, and the ends of the joint of a pair."""
    shapes = leaf_shapes(part)
    rings = np.concatenate([r for _, shape in shapes for r in shape.rings])
    found = [CutPoint(name, *map(float, rings[index])) for name, index in (
        ("Furthest left", rings[:, 0].argmin()), ("Furthest right", rings[:, 0].argmax()),
        ("Furthest up", rings[:, 1].argmin()), ("Furthest down", rings[:, 1].argmax()))]
    if part.placement.cut != "single":
        leaf, shape = shapes[0]
        joint = part.placement.joint
        ends = [r for r in part.shape.rings if r[:, 0].min() < joint < r[:, 0].max()]
        ys = [y for ring in ends for y in _crossings(ring, joint)]
        for name, y in (("Joint, one end", min(ys)), ("Joint, other end", max(ys))):
            found.append(CutPoint(name, *map(float, leaf.to_board(np.array([joint, y])))))
    return tuple(found)


def _crossings(ring: np.ndarray, x: float) -> list[float]:
    a, b = ring, np.roll(ring, -1, axis=0)
    over = (a[:, 0] - x) * (b[:, 0] - x) <= 0
    over &= a[:, 0] != b[:, 0]
    share = (x - a[over, 0]) / (b[over, 0] - a[over, 0])
    return (a[over, 1] + share * (b[over, 1] - a[over, 1])).tolist()


def cut_plan(scene: Scene, blank: Blank, shop: Shop, *, density: float, pen: float = 1.0, kept: Kept | None = None) -> Plan:
    """The board of one part in board mm.

    density  pixels per mm of board.
    pen      mm of board that a line of the usual width takes: 1 at true size, 4 where the map is printed at 1 : 4.
    """
    part = next(p for p in scene.parts if p.name == blank.part)
    board = load_board(scene.boards[part.board], kept or Kept())
    width, height = board.size_mm
    size = (max(1, round(width * density)), max(1, round(height * density)))
    wood = cv2.resize(board.pixels, size, interpolation=cv2.INTER_AREA if density * board.mm_per_pixel < 1 else cv2.INTER_CUBIC)
    codes = encode_srgb(wood.astype(np.float32) / 65535) * 255
    shapes = leaf_shapes(part)
    inside = np.zeros(codes.shape[:2], np.float32)
    for _, shape in shapes:
        inside = np.maximum(inside, coverage(shape, origin=(0.0, 0.0), px_per_mm=density, size=size))
    codes += (255 - codes) * (PALER * (1 - inside))[..., None]
    items: list[Item] = [Image(0, 0, size[0] / density, size[1] / density, np.rint(codes).astype(np.uint8))]
    items.append(Path((_box(0, 0, width, height),), 0.25 * pen, INK, closed=True))
    items += _blank_lines(blank, pen)
    for leaf, shape in reversed(shapes):
        kerf = shape.inset(-shop.kerf) if shop.kerf > 0 else None
        curves = [simpler(r, closed=True) for r in shape.rings]
        if leaf.second:
            items += [Path(tuple(curves), 0.7 * pen, WHITE, closed=True), Path(tuple(curves), 0.25 * pen, BLUE, closed=True, dash=(4 * pen, 1.5 * pen))]
            continue
        if kerf is not None:
            items.append(Path(tuple(simpler(r, closed=True) for r in kerf.rings), 0.2 * pen, RED, closed=True, dash=(1.2 * pen, 1.2 * pen)))
        items += [replace(i, width=i.width * pen) for i in outlined(curves, pictured=True)]
    if part.placement.cut != "single":
        ends = [(p.x, p.y) for p in cut_points(part) if p.name.startswith("Joint")]
        items += [Path((np.array(ends),), 0.7 * pen, WHITE), Path((np.array(ends),), 0.3 * pen, RED, dash=(9 * pen, 2 * pen, 1.5 * pen, 2 * pen))]
    items += _grain(scene.boards[part.board].grain, (width, height), pen)
    items += _measures(shapes[0][1].bounds, pen)
    items += _edges(width, height, pen)
    reach = np.array([blank.corners.min(axis=0), blank.corners.max(axis=0)])
    around = AROUND * pen
    box = (min(-around, reach[0, 0] - 2), min(-around, reach[0, 1] - 2), max(width + around / 2, reach[1, 0] + 2), max(height + around / 2, reach[1, 1] + 2))
    return Plan(box, tuple(items), density, (0.0, 0.0), tuple(r for _, shape in shapes for r in shape.rings))


def _box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float64)


def _blank_lines(blank: Blank, pen: float) -> list[Item]:
    return [Path((blank.corners,), 0.6 * pen, WHITE, closed=True), Path((blank.corners,), 0.25 * pen, GREEN, closed=True, dash=(5 * pen, 2 * pen))]


def _grain(grain: float, size: tuple[float, float], pen: float) -> list[Item]:
    """A double arrow along the grain in the corner of the board that is furthest from its reference edges."""
    c, s = math.cos(math.radians(grain)), math.sin(math.radians(grain))
    half = min(22 * pen, min(size) * 0.3)
    middle = np.array([size[0] - abs(c) * half - 6 * pen, size[1] - abs(s) * half - 6 * pen])
    along, across = np.array([c, s]), np.array([-s, c])
    lines = [np.array([middle - half * along, middle + half * along])]
    for end, way in ((middle + half * along, -1), (middle - half * along, 1)):
        tip = 3 * pen
        lines.append(np.array([end + way * tip * along + 0.45 * tip * across, end, end + way * tip * along - 0.45 * tip * across]))
    size_pt = 7.0 * pen
    words = Text(float(middle[0] - (2.4 * pen if abs(s) > 0.7 else 0)), float(middle[1] - 1.6 * pen), "grain", size_pt, SEMIBOLD, INK,
                 "right" if abs(s) > 0.7 else "middle")
    bed = Box(words.bounds[0] - 0.6 * pen, words.bounds[1] - 0.6 * pen, words.bounds[2] - words.bounds[0] + 1.2 * pen,
              words.bounds[3] - words.bounds[1] + 0.8 * pen, WHITE)
    return [Path(tuple(lines), 0.9 * pen, WHITE), Path(tuple(lines), 0.35 * pen, INK), bed, words]


def _measures(bounds: tuple[float, float, float, float], pen: float) -> list[Item]:
    """Distances of the four sides of the piece from the two edges, in mm, each on a line of its own."""
    x0, y0, x1, y1 = bounds
    found: list[Item] = []
    # On a small part far enough from each other that both numbers can be read.
    off, down = max(0.08 * (x1 - x0), 1.0 * pen), max(0.08 * (y1 - y0), 1.8 * pen)
    across, middle = (x0 + x1) / 2, (y0 + y1) / 2
    for k, (x, y) in enumerate(((x0, middle - down), (x1, middle + down))):
        found += _measure(np.array([[0.0, y], [x, y]]), x, pen, k)
    for k, (y, x) in enumerate(((y0, across - off), (y1, across + off))):
        found += _measure(np.array([[x, 0.0], [x, y]]), y, pen, k)
    return found


def _measure(run: np.ndarray, mm: float, pen: float, k: int) -> list[Item]:
    upright = run[0, 0] == run[1, 0]
    across = np.array([1.2, 0.0]) * pen if upright else np.array([0.0, 1.2]) * pen
    ticks = tuple(np.array([p - across, p + across]) for p in run)
    # The word near the edge that it is measured from, where no outline is in its way.
    size = 7.0 * pen
    text = f"{mm:.1f}"
    wide, high = text_width(text, SEMIBOLD, size), 0.72 * size * PT
    at = np.array([run[0, 0], run[0, 1]]) + (np.array([0.0, (7.0 + 5.0 * k) * pen]) if upright else np.array([2.0 * pen, 0.0]))
    x = at[0] - wide / 2 if upright else at[0]
    bed = Box(x - 0.7 * pen, at[1] - high / 2 - 0.7 * pen, wide + 1.4 * pen, high + 1.4 * pen, WHITE)
    return [Path((run, *ticks), 0.6 * pen, WHITE), Path((run, *ticks), 0.15 * pen, INK), bed,
            Text(x, at[1] + high / 2, text, size, SEMIBOLD)]


def _edges(width: float, height: float, pen: float) -> list[Item]:
    """Names of the two reference edges, outside the board."""
    size = 8.0 * pen
    bold = [np.array([[0.0, 0.0], [0.0, height]]), np.array([[0.0, 0.0], [width, 0.0]])]
    return [Path(tuple(bold), 0.8 * pen, INK),
            Text(-2.2 * pen, height / 2, "A", size, SEMIBOLD, INK, "right"),
            Text(width / 2, -2.2 * pen, "B", size, SEMIBOLD, INK, "middle")]


def cut_pages(book: Booklet, scene: Scene, found: Sequence[Blank], shop: Shop, *, kept: Kept | None = None) -> None:
    """A page for each part: its map at a round scale, and what to mark in numbers."""
    for blank in found:
        book.page(f"Cut map: {blank.title.lower()}")
        part = next(p for p in scene.parts if p.name == blank.part)
        points = cut_points(part)
        rows = [(p.name, *(length_words(v, shop.units) for v in (p.x, p.y))) for p in points]
        low = 7.2 * (len(rows) + 1) + 26
        scale, plan = _scaled(scene, blank, shop, book, book.room - low, kept)
        x0, y0, x1, y1 = plan.box
        left, top = book.column.x + (book.inner - (x1 - x0) / scale) / 2, book.column.y
        book.put([placed(i, scale, left - x0 / scale, top - y0 / scale) for i in plan.items], (y1 - y0) / scale + 3)
        pair = blank.pieces > 1
        other = "mirrored" if part.placement.cut == "bookmatch" else "slid across"
        book.text(f"Scale 1 : {scale:g}. Black: the {'right leaf' if pair else 'part'}. Red dots: the saw, {length_words(shop.kerf, shop.units)}. "
                  "Green dashes: the rough blank. "
                  + (f"Red line: the joint. Blue: the left leaf, {other}, out of the next leaf of the board. " if pair else "") + "Numbers are mm from edge A (left) and edge B (top) of the photo.",
                  SMALL, after=3)
        head = ("Mark on the board", "From edge A", "From edge B")
        book.table(head, rows, (1.2, 1, 1), after=4)
        if not blank.actual:
            book.text("The picture is of wood of this kind, not of the board at hand: the marks hold for the picture, the sizes for any board.", after=1.6)
        book.text(_fits_words(blank, shop), after=0)


def _fits_words(blank: Blank, shop: Shop) -> str:
    said = {True: "The board at hand is large enough.", False: "The board at hand is not large enough: see the first page.",
            None: "Whether the board at hand is large enough is not known: see the first page."}[blank.large_enough]
    rough = size_words(tuple(v for v in blank.rough if v is not None), shop.units).replace("\n", ", ")
    return f"Rough blank {rough}, {blank.cut}{', ' + volume_words(blank.volume, shop.units).replace(chr(10), ', ') if blank.volume else ''}. {said}"


def _scaled(scene: Scene, blank: Blank, shop: Shop, book: Booklet, room: float, kept: Kept | None) -> tuple[float, Plan]:
    wide, high = blank.board_size[:2]
    reach = np.array([blank.corners.min(axis=0), blank.corners.max(axis=0)])
    size = (max(wide, reach[1, 0]) - min(0, reach[0, 0]), max(high, reach[1, 1]) - min(0, reach[0, 1]))
    for scale in (*NICE, 40, 80):
        if all((v + 2 * AROUND * scale) / scale <= most for v, most in zip(size, (book.inner, room), strict=True)):
            break
    return scale, cut_plan(scene, blank, shop, density=book.px_per_mm / scale, pen=scale, kept=kept)


def full_size_cut(scene: Scene, blank: Blank, shop: Shop, paper: tuple[float, float] | None, *, detail: str, kept: Kept | None = None) -> list[Page]:
    """The cut map of one part at true size, on one sheet (paper None) or several."""
    plan = cut_plan(scene, blank, shop, density=6.0, kept=kept)
    grid = (*plan.origin, plan.px_per_mm)
    tiles = whole_sheet(plan.box, grid) if paper is None else tiling(plan.box, paper, wanted=(_box(*_board_box(blank)),), grid=grid)
    wide, high = blank.board_size[:2]
    title = f"{scene.title}: {blank.title.lower()} on its board"
    return true_size_pages(plan, tiles, Words(title, f"Board {wide:.0f} × {high:.0f} mm, {wide / INCH:.1f} × {high / INCH:.1f} in".replace(" ", "\u00a0"),
                                               detail.replace(" ", "\u00a0")))


def _board_box(blank: Blank) -> tuple[float, float, float, float]:
    low, high = blank.corners.min(axis=0), blank.corners.max(axis=0)
    return min(low[0], 0.0), min(low[1], 0.0), max(high[0], blank.board_size[0]), max(high[1], blank.board_size[1])
