"""Colour differences in a finisher's words, and what would move a colour back."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

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


# What a finisher does, by direction. On a test board the next board can have less; on finished wood colour is only ever added.
TEST = {
    "red": "on the next board mix a drop of green into the dye; that also darkens, so thin it a little",
    "less red": "on the next board mix a drop of red into the dye",
    "green": "on the next board mix a drop of red into the dye; that also darkens, so thin it a little",
    "less green": "on the next board mix a drop of green into the dye",
    "yellow": "on the next board take a drop of amber or yellow out of the dye, or a film that yellows less, as a water-borne one",
    "less yellow": "on the next board mix a drop of amber into the dye, or take a film that yellows more, as oil varnish",
    "blue": "on the next board mix a drop of orange into the dye; that also darkens, so thin it a little",
    "less blue": "on the next board mix a drop of blue into the dye",
}
ADDED = {"red": "green", "less red": "red", "green": "red", "less green": "green", "yellow": "violet", "less yellow": "amber", "blue": "orange",
         "less blue": "blue"}
SAME = {"redder": "red", "greener": "green", "yellower": "yellow", "bluer": "blue"}
NO_WAY_BACK = "no dye, tint or coat makes wood lighter"
AGREE = "show it to the client as it is, or strip it to bare wood and begin again"
LEAST_DENSITY, MOST_CHANGE = 0.03, 2.0


def advice_words(approved: Sequence[float], measured: Sequence[float], steps: Sequence[Mapping[str, Any]], contrast: Sequence[str], *,
                 test_board: bool, bare: Sequence[float] | None = None) -> tuple[str, ...]:
    """What would move the colour closer, one sentence for each direction of ``direction_words``, in their order; and for the figure.

    steps       the recipe's steps as a record has them; bare the wood's own Lab. With both, a test board is told how much dye.
    test_board  whether another board can be begun; on finished wood, colour can only be added, which always darkens.
    """
    dark = measured[0] < approved[0] - SMALL
    told = []
    for words in direction_words(approved, measured):
        key = words.removeprefix("a little ").removeprefix("much ")
        much, key = words.startswith("much "), SAME.get(key, key)
        if key in ("lighter", "darker"):
            told.append(f"It is {words}: {_lightness(key, much, approved, measured, steps, test_board, bare)}.")
        elif test_board:
            told.append(f"It is {words}: {TEST[key]}.")
        elif much:
            told.append(f"It is {words}: more than a tinted coat moves evenly; {AGREE} from a test board.")
        elif dark:
            told.append(f"It is {words}: a tint with a trace of {ADDED[key]} would move it, but it also darkens what is too dark already; leave it.")
        else:
            told.append(f"It is {words}: one thin coat tinted with a trace of {ADDED[key]}, tried over the test board first, moves it closer "
                        "and darkens it slightly.")
    if contrast:
        less = contrast[0].startswith("less")
        told.append(FIGURE[less, test_board])
    return tuple(dict.fromkeys(told))


FIGURE = {
    (True, True): "The figure shows less: on the next board lay a thin dark dye first and sand it back with P320 until only the soft parts keep it, "
                  "then the colour.",
    (True, False): "The figure shows less: what tint and haze hide, nothing laid over them brings back; levelling and polishing to gloss "
                   "clears a hazy film.",
    (False, True): "The figure shows more: on the next board sand back less, or wipe on a thin washcoat before the dye.",
    (False, False): "The figure shows more: one thin, evenly tinted coat quiets it, and darkens it slightly.",
}


def _lightness(key: str, much: bool, approved: Sequence[float], measured: Sequence[float], steps: Sequence[Mapping[str, Any]],
               test_board: bool, bare: Sequence[float] | None) -> str:
    dyes = [s for s in steps if isinstance(s.get("stain"), str)]
    amount = _dye_share(approved, measured, bare) if test_board and dyes and bare is not None else None
    if test_board:
        if amount is None:
            return ("on the next board use a stronger dye, or wet it a second time before it dries" if key == "lighter" and dyes else
                    "the wood itself is paler than the one approved; only a dye or a tint would darken it" if key == "lighter" else
                    "on the next board thin the dye, or sand it back further before the first coat" if dyes else
                    f"the wood itself is darker than the one approved, and {NO_WAY_BACK}; choose another piece")
        dye = dyes[-1] if len(dyes) == 1 else max(dyes, key=lambda s: float(s.get("strength", 1.0)))
        strength = float(dye.get("strength", 1.0))
        to = strength * amount
        scaled = f"{dye['stain']} dye at about {to * 100:.0f} % instead of {strength * 100:.0f} %" if to <= 1.0 else \
            f"{dye['stain']} dye wiped on twice: it takes about {to * 100:.0f} % of one wiping"
        return f"on the next board {scaled}, an estimate to try, not a promise"
    if key == "darker":
        return f"{NO_WAY_BACK}; {AGREE} with less dye"
    tint = "the recipe's own dye" if dyes else "a trace of brown"
    return (f"several thin coats tinted with {tint} darken it, each held against the approval, and they cover some of the figure"
            if much else f"one thin coat tinted with {tint} darkens it; try it over the test board first, and stop early")


def _dye_share(approved: Sequence[float], measured: Sequence[float], bare: Sequence[float]) -> float | None:
    """How much of the dye the approved colour takes, by the density it adds to the bare wood (Beer-Lambert, luminance); None when that tells nothing."""
    want, have = (_density(lab[0]) - _density(bare[0]) for lab in (approved, measured))
    if min(want, have) < LEAST_DENSITY or not 1 / MOST_CHANGE <= want / have <= MOST_CHANGE:
        return None
    return want / have


def _density(lightness: float) -> float:
    """-log10 of the luminance of an L*, CIE 15."""
    return -math.log10(max(((lightness + 16) / 116) ** 3 if lightness > 8 else lightness / 903.3, 1e-4))
