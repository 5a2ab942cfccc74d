"""Words and values that sheet and approval share."""

from __future__ import annotations

import datetime
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import encode_srgb, lab_to_linear
from ..errors import MockupError, listed
from ..finish.sheen import sheen_words
from ..finish.steps import Paint
from ..finish.words import finish_words
from ..outline.coverage import coverage
from ..render.canvas import Canvas
from ..render.colours import PartColour
from ..render.layers import seen_parts
from ..render.picture import scene_box
from ..scene.values import Part, Scene

__all__ = ["ALIKE", "AS_SHOWN", "Group", "Option", "alike_sentences", "assumed_bare", "basis_sentence", "binding_words", "capital", "cut_words", "date_words", "edition_words",
           "finish_sentence", "groups", "lab_words", "largest_seen", "listed", "sheen_sentence", "swatch", "unbroken", "unbroken_units", "wood_sentence",
           "wood_words"]

Lab = tuple[float, float, float]

# CIEDE2000 below which two options of wood may be taken for each other. A
# judgement: just under the differences seen side by side on one even surface
# are called small, and wood is not even.
ALIKE = 2.0

# Colours that bindings are called by, Lab; from memory.
BINDINGS = {"white": (94.0, 0.0, 3.0), "cream": (86.0, 1.5, 13.0), "ivory-coloured": (88.0, 1.0, 20.0), "amber": (62.0, 18.0, 48.0),
            "brown": (34.0, 14.0, 18.0), "black": (14.0, 0.0, 0.0), "grey": (55.0, 0.0, 0.0), "red": (36.0, 48.0, 28.0)}

SHEENS_APART = 15.0  # GU; nearer ones are hard to tell in a picture

NBSP = "\u00a0"


def unbroken(text: str) -> str:
    """The text with spaces at which no line may end."""
    return text.replace(" ", NBSP)


def cut_words(part: Part) -> str:
    """How a part is cut: "one piece", "bookmatched pair" or "slipmatched pair"."""
    return {"single": "one piece", "bookmatch": "bookmatched pair", "slipmatch": "slipmatched pair"}[part.placement.cut]


def capital(text: str) -> str:
    """The first letter as a capital, the rest as it was."""
    return text[:1].upper() + text[1:]


def date_words(date: str) -> str:
    """An ISO 8601 date as a person writes it: "25 November 2026"."""
    try:
        day = datetime.date.fromisoformat(date)
    except ValueError:
        raise MockupError(f'"{date[:40]}" is not a date.', fix="Write it as year-month-day, 2026-11-25.") from None
    month = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
             "December")[day.month - 1]
    return f"{day.day}{NBSP}{month}{NBSP}{day.year}"


def edition_words(scene: Scene, today: str) -> str:
    """Revision and date: "Revision A · 25 November 2026"."""
    date = date_words(scene.date or today)
    return f"Revision{NBSP}{scene.revision} · {date}" if scene.revision else date


def lab_words(lab: Lab) -> str:
    """ "L 52.3  a 18.1  b −3.0", CIE Lab D65."""
    return (NBSP * 2).join(f"{axis}{NBSP}{value:.1f}".replace("-", "−") for axis, value in zip("Lab", _tenths(lab), strict=True))


def _tenths(lab: Lab) -> list[float]:
    return [round(v, 1) + 0.0 for v in lab]  # + 0.0 turns -0.0 into 0.0


def swatch(lab: Lab) -> tuple[int, int, int]:
    """The 8-bit sRGB code of a colour; what the screen cannot show is shown as near as it can."""
    code = np.rint(encode_srgb(lab_to_linear(np.array(lab, np.float64))) * 255).astype(int)
    return tuple(code.tolist())


def sheen_sentence(sheen: float) -> str:
    """ "satin, 28 GU": the word and the gloss units at 60 degrees."""
    return f"{sheen_words(sheen)}, {sheen:g}{NBSP}GU"


def finish_sentence(part: Part) -> str:
    """A finish in one line, its numbers kept with their units."""
    return unbroken_units(finish_words(part.finish))


def unbroken_units(words: str) -> str:
    """Numbers kept with their units."""
    return re.sub(r"(\d) (%|mm)", f"\\1{NBSP}\\2", words)


def wood_words(scene: Scene, part: Part) -> str:
    """ "flame maple (actual board)" or "flame maple (indicative)"."""
    board = scene.boards[part.board]
    return f"{board.wood} ({'actual board' if board.actual else 'indicative'})"


AS_SHOWN = "as the camera showed it, not measured"


def wood_sentence(scene: Scene) -> str:
    """Whether the pictures show the very wood, and in its measured colour, in one sentence or two."""
    used = {p.board for p in scene.parts}
    boards = [b for name, b in scene.boards.items() if name in used]
    actual = list(dict.fromkeys(b.wood for b in boards if b.actual))
    stand_in = list(dict.fromkeys(b.wood for b in boards if not b.actual))
    # Whoever signs for a colour should know that the board's own was never measured.
    camera = f" Its colour is {AS_SHOWN}." if any(b.actual and b.unmeasured for b in boards) else ""
    if not stand_in:
        return f"The wood shown is the actual {'wood' if len(actual) > 1 else 'board'}.{camera}"
    if not actual:
        return "The wood shown is indicative: it stands for its kind, and the instrument's own will differ in figure and colour."
    return (f"The {listed(actual)} shown is the actual wood{f'; its colour is {AS_SHOWN}' if camera else ''}; "
            f"the {listed(stand_in)} is indicative: it stands for its kind, and the instrument's own will differ in figure and colour.")


def assumed_bare(scene: Scene, name: str) -> bool:
    """Whether a part's expected range holds for a bare colour that nobody measured: of wood that stands for its kind, or as a camera showed it.

    Under paint that covers, the wood's own colour no longer matters.
    """
    part = next(p for p in scene.parts if p.name == name)
    board = scene.boards[part.board]
    covered = any(isinstance(step, Paint) and step.cover >= 1 for step in part.finish.steps)
    return bool(part.finish.steps) and not covered and (not board.actual or board.unmeasured)


def basis_sentence(colours: Iterable[PartColour], assumed: Collection[PartColour]) -> str:
    """What the colours rest on, and how far off the finished wood may be; ``assumed`` are those of which ``assumed_bare`` is true."""
    found = [c for c in colours if c.basis != "bare wood"]
    if not found:
        return "Nothing is finished: the colours are those of the boards' own pictures."
    least, most = min(c.error for c in found), max(c.error for c in found)
    if all(c.basis.startswith("fitted") for c in found):
        rests = "Colours are fitted to test boards"
    elif all(c.basis == "library estimate" for c in found):
        rests = "Colours are library estimates, not tried on a test board"
    else:
        rests = "Some colours are fitted to test boards, the others are library estimates"
    within = f"{unbroken(f'ΔE00 {most:.1f}')} of the colour given" if f"{least:.1f}" == f"{most:.1f}" else \
        f"the range given with each colour, {unbroken(f'ΔE00 {least:.1f}')} to {unbroken(f'{most:.1f}')}"
    # The range is of the finish alone: how far other wood lies from the colour assumed, no one knows before it is measured.
    titles = list(dict.fromkeys(c.title.lower() for c in found if c in assumed))
    only = "" if not titles else ", if the bare wood has exactly the colour shown; the instrument's own was not measured" \
        if all(c in assumed for c in found) else f", on the {listed(titles)} only if its bare wood has exactly the colour shown, which was not measured"
    return f"{rests}: {unbroken('95 of 100')} finished parts should come out within {within}{only}."


def binding_words(part: Part) -> str:
    """A binding in words, its colour by the nearest plain name; '' without one."""
    b = part.binding
    if b is None or b.width <= 0:
        return ""
    name, *lines = (min(BINDINGS, key=lambda n: float(ciede2000(np.array(BINDINGS[n]), np.array(lab)))) for lab in (b.lab, *(c for _, c in b.purfling)))
    line = f", dark line {b.line:g} mm inside it" if b.line > 0 else ""
    if lines:
        line = f", purfling {'/'.join(lines)} inside it, {'/'.join(f'{w:g}' for w, _ in b.purfling)} mm"
    return f"{name} binding, {b.width:g} mm{line}"


@dataclass(frozen=True, eq=False)
class Group:
    """Parts of one wood and one finish: their names and titles, and one of them to describe."""

    names: tuple[str, ...]
    titles: tuple[str, ...]
    part: Part


def groups(scene: Scene, side: str = "front") -> tuple[Group, ...]:
    """The parts of a scene by wood and finish, the one that most is seen of first."""
    seen = _seen_areas(scene, side)
    found: dict[tuple, list[Part]] = {}
    for part in sorted(scene.parts, key=lambda p: -seen.get(p.name, 0.0)):
        found.setdefault((part.board, part.finish), []).append(part)
    return tuple(Group(tuple(p.name for p in parts), tuple(p.title for p in parts), parts[0]) for parts in found.values())


def largest_seen(scene: Scene, side: str = "front") -> str:
    """The name of the part that most is seen of: a top, not the larger body under it."""
    areas = _seen_areas(scene, side)
    if not areas:
        raise MockupError(f"No part is seen from the {side}.", fix=f'Give a part side = "{side}" or "both".', where=scene.file.name)
    return max(areas, key=lambda name: areas[name])


def _seen_areas(scene: Scene, side: str) -> dict[str, float]:
    """mm² seen of each part, its binding included, to about a square millimetre per cm of edge."""
    parts = seen_parts(scene, side)
    if not parts:
        return {}
    canvas = Canvas.around(scene_box(scene, side), 1.0, 1.0)
    free = np.ones((canvas.height, canvas.width), np.float32)
    areas: dict[str, float] = {}
    for part in reversed(parts):
        cover = coverage(part.shape, origin=canvas.origin, px_per_mm=1.0, size=canvas.size)
        areas[part.name] = float((cover * free).sum(dtype=np.float64))
        free *= 1 - cover
    return areas


@dataclass(frozen=True, slots=True)
class Option:
    """What decides whether a variant looks like another: its largest part's title, finished Lab and sheen (GU)."""

    title: str
    part: str
    lab: Lab
    sheen: float


def alike_sentences(options: Sequence[Option]) -> list[str]:
    """What to say of options that may look alike.

    Every pair below ``ALIKE`` is in one sentence at least, and no other pair
    is: options share a sentence only where each is like each.
    """
    labs = np.array([o.lab for o in options], np.float64)
    apart = ciede2000(labs[:, None], labs[None, :])
    like = {(i, j) for i in range(len(options)) for j in range(i + 1, len(options)) if apart[i, j] < ALIKE}
    said: list[str] = []
    left = set(like)
    while left:
        together = list(min(left))
        for k in range(len(options)):
            if k not in together and all((min(k, m), max(k, m)) in like for m in together):
                together.append(k)
        together.sort()
        pairs = {(a, b) for n, a in enumerate(together) for b in together[n + 1:]}
        left -= pairs
        said.append(_alike_sentence([options[k] for k in together], max(apart[pair] for pair in pairs)))
    return said


def _alike_sentence(options: Sequence[Option], most: float) -> str:
    parts = list(dict.fromkeys(o.part for o in options))
    where = parts[0].lower() if len(parts) == 1 else "largest part"
    by = "less than" if most < 0.1 else "up to" if len(options) > 2 else "only"
    # Never rounded up to the limit itself.
    amount = unbroken(f"ΔE00 {max(min(most, ALIKE - 0.05), 0.1):.1f}")
    sheens = [o.sheen for o in options]
    differ = "; their sheen differs" if max(sheens) - min(sheens) >= SHEENS_APART else ""
    return f"{listed([o.title for o in options])} may look alike: the mean colour of the {where} differs by {by} {amount}{differ}."
