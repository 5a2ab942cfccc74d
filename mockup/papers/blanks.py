"""What wood a scene takes: blanks, volumes, and whether the boards at hand are large enough."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..outline.cut import without
from ..outline.shape import Shape
from ..render.placement import Leaf, leaves
from ..scene.values import Part, Scene
from .describe import cut_words, listed
from .lengths import INCH, board_feet
from .shop_values import Shop

__all__ = ["Blank", "board_problems", "blanks", "leaf_shapes", "plain_blanks"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Blank:
    """The wood of one part.

    pieces      1, or 2 for a matched pair.
    finished    mm of each piece: along the grain, across it, thickness (None when the shop did not say it).
    rough       the same with the allowance added.
    corners     (4, 2) of the rough blank on the board, mm.
    resawn      thickness of the board that both leaves of a pair are resawn from, None for a single piece.
    board       its name; ``board_size`` width, height and thickness (None when not said), mm.
    missing     mm of board that the rough blank lacks, by side: "left", "top", "right", "bottom", "thickness"; "length" and "width"
                of a board that the scene has no photo of.
    actual      whether the board's picture is of the very board.
    known       whether the board's length and width are known: by its photo, or by the shop's file.
    """

    part: str
    title: str
    wood: str
    cut: str
    pieces: int
    finished: tuple[float, float, float | None]
    rough: tuple[float, float, float | None]
    corners: np.ndarray
    resawn: float | None
    board: str
    board_size: tuple[float, float, float | None]
    missing: dict[str, float]
    actual: bool = True
    known: bool = True

    @property
    def volume(self) -> float | None:
        """mm³ of all its rough pieces; None while the thickness is not known."""
        return None if self.rough[2] is None else self.pieces * self.rough[0] * self.rough[1] * self.rough[2]

    @property
    def large_enough(self) -> bool | None:
        """Whether the board holds it; None while a thickness is not known and nothing else is missing."""
        if self.missing:
            return False
        return None if self.rough[2] is None or self.board_size[2] is None or not self.known else True


def leaf_shapes(part: Part) -> list[tuple[Leaf, Shape]]:
    """Each piece of a part and its outline in board mm, the piece as drawn first."""
    found = []
    x0, y0, x1, y1 = part.shape.bounds
    for leaf in leaves(part):
        low, high = leaf.span
        shape: Shape | None = part.shape
        off = [_box(x0 - 9, y0 - 9, low, y1 + 9)] if low > x0 else []
        off += [_box(high, y0 - 9, x1 + 9, y1 + 9)] if high < x1 else []
        if off:
            shape = without(part.shape, off)
        if shape is None:
            continue
        turned = np.linalg.det(leaf.matrix) < 0
        found.append((leaf, Shape(tuple(leaf.to_board(r)[::-1] if turned else leaf.to_board(r) for r in shape.rings))))
    return found


def _box(x0: float, y0: float, x1: float, y1: float) -> Shape:
    return Shape((np.array([[x0, y0], [x0, y1], [x1, y1], [x1, y0]]),))


def blanks(scene: Scene, shop: Shop) -> tuple[Blank, ...]:
    """The blank of each part of wood, in the scene's order."""
    return tuple(_blank(scene, part, shop) for part in scene.parts)


def _blank(scene: Scene, part: Part, shop: Shop) -> Blank:
    board = scene.boards[part.board]
    shapes = [shape for _, shape in leaf_shapes(part)]
    angle = math.radians(board.grain)
    # Rows are the way of the grain and the way across it.
    axes = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    boxes = []
    for shape in shapes:
        along = np.concatenate(shape.rings) @ axes.T
        boxes.append((along.min(axis=0), along.max(axis=0)))
    # On the board the leaves of a pair lie over each other, one slipped: the blank holds both.
    low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
    piece = np.max([b[1] - b[0] for b in boxes], axis=0)
    spare = np.array([shop.allowance.length, shop.allowance.width])
    rough_low, rough_high = low - spare / 2, high + spare / 2
    corners = np.array([[rough_low[0], rough_low[1]], [rough_high[0], rough_low[1]], rough_high, [rough_low[0], rough_high[1]]]) @ axes
    thick = shop.parts.get(part.name)
    rough = None if thick is None else thick + shop.allowance.thickness
    resawn = None if len(shapes) == 1 or rough is None else 2 * rough + shop.kerf
    size = (*board.size_mm, shop.boards.get(part.board))
    matched = part.placement.cut != "single"
    extent = float(rough_high[0] - rough_low[0]), float(rough_high[1] - rough_low[1])
    given = shop.board_sizes.get(part.board)
    thick_needed = resawn if matched else rough
    missing = _missing(corners, size, thick_needed) if board.actual else _short(extent, given, size[2], thick_needed)
    return Blank(part=part.name, title=part.title, wood=board.wood, cut=cut_words(part), pieces=len(shapes),
                 finished=(float(piece[0]), float(piece[1]), thick),
                 rough=(*extent, rough), corners=corners, resawn=resawn, board=part.board, board_size=size, missing=missing,
                 actual=board.actual, known=board.actual or given is not None)


def _short(extent: tuple[float, float], given: tuple[float, float] | None, thickness: float | None, needed: float | None) -> dict[str, float]:
    """What a board lacks that is known by its measures only."""
    over = {} if given is None else {"length": extent[0] - given[0], "width": extent[1] - given[1]}
    if needed is not None and thickness is not None:
        over["thickness"] = needed - thickness
    return {side: float(mm) for side, mm in over.items() if mm > 0.05}


def _missing(corners: np.ndarray, size: tuple[float, float, float | None], thick: float | None) -> dict[str, float]:
    low, high = corners.min(axis=0), corners.max(axis=0)
    over = {"left": -low[0], "top": -low[1], "right": high[0] - size[0], "bottom": high[1] - size[1]}
    if thick is not None and size[2] is not None:
        over["thickness"] = thick - size[2]
    return {side: float(mm) for side, mm in over.items() if mm > 0.05}


def board_problems(found: tuple[Blank, ...]) -> tuple[str, ...]:
    """What the boards at hand lack, and what of them is not known, one sentence a part or a board."""
    told = _over_each_other(found)
    for blank in found:
        over = {k: v for k, v in blank.missing.items() if k != "thickness"}
        if over:
            sides = " and ".join(f"{mm:.1f} mm ({mm / INCH:.2f} in) {'of ' if side in ('length', 'width') else 'at the '}{side}"
                                 for side, mm in over.items())
            told.append(f'{blank.title}: the board "{blank.board}" lacks {sides} for the rough blank.')
        if "thickness" in blank.missing:
            how = f"both leaves and the saw cut take {blank.resawn:.1f} mm" if blank.resawn is not None else f"the rough blank is {blank.rough[2]:.1f} mm"
            told.append(f'{blank.title}: the board "{blank.board}" is {blank.board_size[2]:.1f} mm thick, and {how}.')
        if blank.large_enough is None:
            lacking = [words for words, there in ((f"the thickness of the {blank.title.lower()}", blank.rough[2]),
                                                  ("that of the board" if blank.rough[2] is None else f'the thickness of the board "{blank.board}"',
                                                   blank.board_size[2])) if there is None]
            if lacking:
                told.append(f"{blank.title}: {' and '.join(lacking)} {'is' if len(lacking) == 1 else 'are'} not in the shop's file.")
    unknown: dict[str, list[str]] = {}
    for blank in found:
        if blank.large_enough is None and not blank.known:
            titles = unknown.setdefault(blank.board, [])
            titles.append(blank.title.lower() if titles else blank.title)
    told += [f'{listed(titles)}: the scene shows wood of the kind of "{board}", not the board at hand; photograph that, or write its length and width '
             f"under [boards.{board}]." for board, titles in unknown.items()]
    return tuple(told)


def _over_each_other(found: tuple[Blank, ...]) -> list[str]:
    """Blanks that want the same wood of a board, where it is not thick enough to be sawn for both."""
    import shapely

    told = []
    for k, a in enumerate(found):
        for b in found[k + 1:]:
            if a.board != b.board or not a.actual or shapely.Polygon(a.corners).intersection(shapely.Polygon(b.corners)).area < 1.0:
                continue
            need = [x.resawn if x.resawn is not None else x.rough[2] for x in (a, b)]
            thick = a.board_size[2]
            if thick is not None and None not in need and sum(v for v in need if v is not None) <= thick:
                continue
            told.append(f'{a.title} and {b.title.lower()}: their blanks lie over each other on the board "{a.board}"; move one, or take another board.')
    return told


def plain_blanks(found: tuple[Blank, ...]) -> list[dict]:
    """One JSON-ready row a part, every length in mm and in inches."""
    rows = []
    for b in found:
        row: dict = {"part": b.part, "title": b.title, "wood": b.wood, "cut": b.cut, "pieces": b.pieces, "board": b.board}
        for name, sizes in (("finished", b.finished), ("rough", b.rough)):
            for axis, mm in zip(("length", "width", "thickness"), sizes, strict=True):
                row[f"{name}_{axis}_mm"] = None if mm is None else round(mm, 2)
                row[f"{name}_{axis}_in"] = None if mm is None else round(mm / INCH, 4)
        row["resawn_from_mm"] = None if b.resawn is None else round(b.resawn, 2)
        row["resawn_from_in"] = None if b.resawn is None else round(b.resawn / INCH, 4)
        row["volume_m3"] = None if b.volume is None else round(b.volume / 1e9, 7)
        row["board_feet"] = None if b.volume is None else round(board_feet(b.volume), 3)
        row["board_large_enough"] = b.large_enough
        row["board_is_actual"] = b.actual
        row["missing_mm"] = {k: round(v, 2) for k, v in b.missing.items()}
        row["missing_in"] = {k: round(v / INCH, 4) for k, v in b.missing.items()}
        rows.append(row)
    return rows
