"""Colour differences in a finisher's words, and what would move a colour back."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["advice_words", "contrast_words", "direction_words"]

SMALL = 1.2  # of L*, or of Lab in the plane of a and b; below it no eye tells two pieces of wood apart
LESS, MORE = 0.75, 1.33  # contrast of the figure, measured over approved


def _amount(value: float) -> str:
    return "a little " if abs(value) < 3 else "" if abs(value) < 7 else "much "


def direction_words(approved: Sequence[float], measured: Sequence[float]) -> tuple[str, ...]:
    """How a measured Lab differs from the approved one: "a little darker", "redder", "much less blue", the largest first.

    Both CIE Lab, D65. () when neither lightness nor colour differs by more
    than an eye tells on wood.
    """
    dl, da, db = (m - a for a, m in zip(approved, measured, strict=True))
    found = []
    if abs(dl) > SMALL:
        found.append((abs(dl), f"{_amount(dl)}{'lighter' if dl > 0 else 'darker'}"))
    for change, at, names in ((da, approved[1], ("red", "green")), (db, approved[2], ("yellow", "blue"))):
        if abs(change) > SMALL:
            # Toward grey is "less red" on something red, not "greener".
            toward, away = names if change > 0 else names[::-1]
            own = at if change > 0 else -at
            less = own < -3 and abs(change) < abs(at)
            word = f"less {away}" if less else {"red": "redder", "green": "greener", "yellow": "yellower", "blue": "bluer"}[toward]
            found.append((abs(change), f"{_amount(change)}{word}"))
    return tuple(words for _, words in sorted(found, key=lambda pair: -pair[0]))


def contrast_words(ratio: float | None) -> tuple[str, ...]:
    """What a ratio of figure contrast, measured over approved, looks like."""
    if ratio is None or LESS <= ratio <= MORE:
        return ()
    return ("less contrast in the figure",) if ratio < LESS else ("more contrast in the figure",)


# What a finisher does, by direction; after "on a test board" where wood is still bare of film, else over it.
TEST = {
    "lighter": "use more dye: a higher strength, or a second wetting before it dries",
    "darker": "use less dye, or sand it back further before the first coat",
    "red": "mix a trace of green or blue into the dye",
    "less red": "mix a little red or amber into the dye",
    "green": "mix a trace of red into the dye",
    "less green": "mix a trace of green into the dye",
    "yellow": "mix a trace of violet into the dye, or take a film that yellows less, as a water-borne one",
    "less yellow": "mix a little amber into the dye, or take a film that yellows more, as oil varnish",
    "blue": "mix a trace of orange into the dye",
    "less blue": "mix a little blue into the dye",
}
FINISHED = {
    "lighter": "a coat tinted with the recipe's own dye darkens it; try it on the test board first",
    "darker": "no coat makes it lighter; agree on it with the client, or level back to wood and stain again",
    "red": "a tinted coat with a trace of green takes red out",
    "less red": "a tinted coat with a little red or amber brings it back",
    "green": "a tinted coat with a trace of red takes green out",
    "less green": "a tinted coat with a trace of green brings it back",
    "yellow": "a tinted coat with a trace of violet takes yellow out",
    "less yellow": "a tinted coat with a little amber brings it back; oil films also yellow with time",
    "blue": "a tinted coat with a trace of orange takes blue out",
    "less blue": "a tinted coat with a little blue brings it back",
}
SAME = {"redder": "red", "greener": "green", "yellower": "yellow", "bluer": "blue"}


def advice_words(directions: Sequence[str], contrast: Sequence[str], *, test_board: bool) -> tuple[str, ...]:
    """What would move the colour closer, one sentence for each direction, in their order."""
    table, told = (TEST if test_board else FINISHED), []
    for words in directions:
        key = words.removeprefix("a little ").removeprefix("much ")
        sentence = table[SAME.get(key, key)]
        told.append(f"It is {words}: {sentence}.")
    if contrast:
        less = contrast[0].startswith("less")
        told.append("The figure shows less: sand back more between dyes, or a first thin dark dye sanded back." if less and test_board else
                    "The figure shows less: the film hides it; nothing over it brings it back, but gloss and a clear last coat help." if less else
                    "The figure shows more: sand back less, or seal thinly before the dye." if test_board else
                    "The figure shows more: a thin even tinted coat quiets it.")
    return tuple(dict.fromkeys(told))
