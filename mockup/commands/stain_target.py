"""A colour wanted on a board: the stains that come nearest."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import MockupError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..finish.axes import WoodAxes
    from ..finish.reach import Lab, Reached
    from ..finish.steps import Coat, Film, Stain

__all__ = ["nearest_dye", "nearest_stains", "wanted_colour"]


def wanted_colour(target: tuple[float, ...] | None, swatch: Path | None) -> Lab:
    """The target as given, or the colour of a photographed swatch; Lab D65."""
    if target is not None:
        if not 0 <= target[0] <= 100 or max(abs(target[1]), abs(target[2])) > 128:
            raise MockupError(f"There is no colour L {target[0]:g}, a {target[1]:g}, b {target[2]:g}.",
                              fix="Use 0 to 100 for L, and -128 to 128 for a and b.", where="target")
        return target[0], target[1], target[2]
    from ..files.photo import read_photo
    from ..finish.reach import swatch_lab

    assert swatch is not None
    try:
        return swatch_lab(read_photo(swatch).pixels / 65535)
    except MockupError as error:
        if any(swatch.name in str(p) for p in error.problems):
            raise
        raise error.within(swatch.name, joint=": ") from None


def nearest_stains(stains: Sequence[Stain], board: str, target: Lab, film: Film | None, coats: int) -> list[Reached]:
    """Each stain at the strength that brings a board nearest to ``target`` (Lab D65), the nearest first.

    Of several stains those that only lead away from it are left out.
    """
    from ..finish.reach import reach
    from ..finish.steps import Finish, StainStep

    axes = _axes(board)
    found = [reach(Finish(steps=(StainStep(stain=s), *_over(film, coats))), 0, axes, target) for s in stains]
    return sorted((r for r in found if len(found) == 1 or r.strength > 0), key=lambda r: r.off)


def nearest_dye(board: str, target: Lab, film: Film | None, coats: int, name: str) -> Reached:
    """The dye, mixed at will, that brings a board nearest to ``target`` (Lab D65)."""
    from ..finish.reach import dye_for

    return dye_for(_axes(board), target, _over(film, coats), name=name)


def _over(film: Film | None, coats: int) -> tuple[Coat, ...]:
    from ..finish.steps import Coat

    return () if film is None else (Coat(film=film, coats=coats),)


def _axes(board: str) -> WoodAxes:
    """Colour axes of a board of the library, or of a picture with its TOML beside it."""
    from ..files.photo import read_photo
    from ..render.boards import prepare_board
    from ..scene.library import find, texture, textures

    path = Path(board)
    if path.suffix and path.suffix.lower() != ".toml":
        wood = texture(path.with_suffix(".toml"))
        return prepare_board(read_photo(path).pixels, wood.mm_per_pixel, key=board).axes
    wood = texture(find(board, textures(), "board"))
    return prepare_board(read_photo(wood.picture).pixels, wood.mm_per_pixel, key=board).axes
