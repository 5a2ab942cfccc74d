"""Pages of stained wood: one stain on every wood, or all stains on all."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from ..finish.steps import Film, Stain
    from ..papers.page import Page
    from ..render.samples import Sample

__all__ = ["grid_page", "strips_page"]

MARGIN, DENSITY = 12.0, 8.0        # mm, and pixels per mm of the page
SHOWN = 0.75                       # of its size, so that a pixel of the library's boards is one of the page


def strips_page(stain: Stain, film: Film | None, coats: int, strengths: Sequence[float], boards: Sequence[str] | None,
                report: Callable[[float], None]) -> Page:
    """One stain in steps of strength on a strip of each board named, or of each kind of wood for None; pale woods first."""
    from ..papers.flow import Column, Style
    from ..papers.page import QUIET, Image, Page, Text
    from ..render.samples import sample_picture

    width, label, high, gap = 210.0, 34.0, 13.0, 2.2
    long = width - 2 * MARGIN - label
    pieces = _samples((long / SHOWN, high / SHOWN), boards, lambda share: report(0.8 * share))
    head = Column(MARGIN, MARGIN, width - 2 * MARGIN)
    head.text(f"{stain.name.capitalize()}: {stain.words}", Style(15).bold())
    head.space(2.2)
    head.text(f"{_over(film, coats)} Colour {stain.basis}. Boards of the library, three quarters of their size.", Style(8.5).quiet())
    head.space(7)
    items, y = list(head.items), head.y
    for k, strength in enumerate(strengths):
        at = MARGIN + label + (k + 0.5) * long / len(strengths)
        items.append(Text(at, y - 2, "no stain" if strength == 0 else f"{strength * 100:.0f} %", 8, colour=QUIET, align="middle"))
    for n, piece in enumerate(pieces, 1):
        pixels = sample_picture(piece, stain, film=film, coats=coats, strengths=strengths)
        items.append(Image(MARGIN + label, y, long, high, pixels))
        name = Column(MARGIN, y + high / 2 - 1.2, label - 2)
        name.text(piece.wood.capitalize(), Style(8.5), most=2)
        items += name.items
        y += high + gap
        report(0.8 + 0.2 * n / len(pieces))
    return _page(Page, width, y - gap + MARGIN, items, f"{stain.name} on {len(pieces)} woods")


def grid_page(film: Film | None, coats: int, strengths: Sequence[float], boards: Sequence[str] | None,
              report: Callable[[float], None]) -> Page:
    """Every stain of the library, a column each, on the boards named or one of every kind, a row each, pale woods first."""
    from ..papers.flow import Column, Style
    from ..papers.page import Image, Page
    from ..render.samples import sample_picture
    from ..scene.library import stains

    columns = [e.value for e in stains().values()]
    # Without anything in it, a stain is the wood under its coats: the column to compare with comes first.
    columns.sort(key=lambda s: (any(s.absorb) or any(s.hide), s.name))
    label, wide, high, gap = 30.0, 24.0, 15.0, 1.6
    width = 2 * MARGIN + label + len(columns) * (wide + gap) - gap
    pieces = _samples((wide / SHOWN, high / SHOWN), boards, lambda share: report(0.6 * share))
    head = Column(MARGIN, MARGIN, width - 2 * MARGIN)
    head.text(f"{len(columns)} stains on {len(pieces)} woods", Style(17).bold())
    head.space(2.2)
    *first, last = (f"{s * 100:.0f}" for s in strengths)
    steps = f"{', '.join(first)} and {last}" if first else last
    head.text(f"From left to right in each piece: {steps} % of full strength. {_over(film, coats)} Estimates of the library: a test board tells.",
              Style(9).quiet())
    head.space(6)
    items, y = list(head.items), head.y
    for k, stain in enumerate(columns):
        name = Column(MARGIN + label + k * (wide + gap), y, wide)
        name.text(stain.name.capitalize(), Style(8.5).bold())
        items += name.items
    y += 5
    for n, piece in enumerate(pieces, 1):
        name = Column(MARGIN, y + high / 2 - 1.2, label - 2)
        name.text(piece.wood.capitalize(), Style(8.5), most=2)
        items += name.items
        for k, stain in enumerate(columns):
            coloured = any(stain.absorb) or any(stain.hide)
            pixels = sample_picture(piece, stain if coloured else None, film=film, coats=coats, strengths=strengths)
            items.append(Image(MARGIN + label + k * (wide + gap), y, wide, high, pixels))
        y += high + gap
        report(0.6 + 0.4 * n / len(pieces))
    return _page(Page, width, y - gap + MARGIN, items, f"{len(columns)} stains on {len(pieces)} woods")


def _samples(size_mm: tuple[float, float], names: Sequence[str] | None, report: Callable[[float], None]) -> list[Sample]:
    from ..render.samples import one_of_each, sample
    from ..scene.library import find, texture, textures

    boards = one_of_each() if names is None else [texture(find(name, textures(), "board")) for name in names]
    found = []
    for n, board in enumerate(boards, 1):
        found.append(sample(board, size_mm, DENSITY * SHOWN))
        report(n / len(boards))
    return sorted(found, key=lambda s: -s.axes.lightness)


def _over(film: Film | None, coats: int) -> str:
    if film is None:
        return "Dry, without a coat."
    return f"Under {coats} coat{'s' if coats > 1 else ''} of {film.words}."


def _page(kind: type[Page], width: float, height: float, items: list, title: str) -> Page:
    # A whole number of pixels, both ways.
    width, height = (round(v * DENSITY) / DENSITY for v in (width, height))
    return kind(width, height, tuple(items), DENSITY, title=title)
