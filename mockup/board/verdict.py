"""What the photograph is good for, in a maker's words, and what to do next time."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Finding", "Measures", "blur_loss", "judge"]

# A full-size print wants 150 dots per inch at arm's length, 300 under the nose.
_PRINT, _CLOSE, _SMALL = 5.9, 11.8, 3.0
_CONTRAST = 0.125
_CURVES = 0.04  # how well two numbers describe a camera's tone curve (our judgement, from simulated curves)
_CURL = 6.0    # mm, a usual distance from stripe to stripe
_SQUEEZED = 1.5  # a board seen at 48 degrees looks so much shorter; more is a slip of the pen (our judgement)
_TINY = 100.0    # mm: a body's half is longer
_STEEP = 6.0     # a lamp beside the board lights its far end to a sixth; more is not light (our judgement)
CAMERA = 1.2   # ΔE00 a phone's own colour rendering adds when no target tells it (our judgement)


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the verdict.

    topic   "scale", "edges", "detail", "sharpness", "light", "clipping", "glare", "cover",
             "figure" or "colour".
    level   "good", "fair" or "poor".
    found   a sentence; ``advice`` what to do next time, "" when good.
    """

    topic: str
    level: str
    found: str
    advice: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Measures:
    """What was measured of one photo; shares are of the board's face, 0..1.

    scale_error   relative, two standard deviations; None when it rests on the maker's word.
    strange       pieces of the sheet at another height, with their relative size.
    missing       sides whose edge was not seen.
    px_per_mm     of the photo on the board.
    blur_px       width of an edge (full width at half maximum) in pixels of the photo, None when not known.
    fall          brightest to darkest light on the board; ``covered`` share near paper.
    uneven        rms of paper about the fitted light, as a share; None without paper.
    clipped, dark, glare, hidden  shares.
    basis         of colour: "target", "grey card", "paper" or "nothing".
    colour_error  expected ΔE00; None when colour has no basis.
    light_error   expected ΔE of the level and cast alone.
    varies        rms of the brightness of squares of about 40 mm after the light is off: the wood's own and what is left over.
    contrast_error  expected error of the figure's contrast, as a share; None when the tone curve has no reference.
    size          the board's width and height in mm as the maker gave them; None when they were measured.
    stretch       pixels per mm across the board over those down it, in the photo, at its middle.
    """

    how: str
    scale_error: float | None
    strange: tuple[tuple[str, float], ...]
    missing: tuple[str, ...]
    px_per_mm: float
    blur_px: float | None
    fall: float
    covered: float
    uneven: float | None
    clipped: float
    dark: float
    glare: float
    hidden: float
    paper_burnt: bool
    basis: str
    colour_error: float | None
    light_error: float
    colour_worst: float | None = None
    contrast_error: float | None = None
    varies: float | None = None
    size: tuple[float, float] | None = None
    stretch: float = 1.0


def judge(m: Measures) -> tuple[Finding, ...]:
    """The verdict, one finding a topic."""
    return (*_scale(m), *_edges(m), _detail(m), *_sharp(m), _light(m), _clipping(m), _glare(m), *_cover(m), *_figure(m),
            _colour(m))


def _scale(m: Measures) -> list[Finding]:
    out = []
    if m.how == "scan":
        return [Finding("scale", "good", "The scale is that of the scanner.")]
    if m.how == "corners":
        if m.size is not None and not 1 / _SQUEEZED <= m.stretch <= _SQUEEZED:
            given = "wider" if m.stretch < 1 else "higher"
            return [Finding("scale", "poor", f"The size you gave, {m.size[0]:g} x {m.size[1]:g} mm, draws the board {max(m.stretch, 1 / m.stretch):.1f} "
                            f"times {given} than the photo shows it, and its wood with it.",
                            "Check it: first what runs from the first corner to the second, then what runs down from there.")]
        if m.size is not None and max(m.size) < _TINY:
            return [Finding("scale", "fair", f"The scale rests on the corners and the size you gave, {m.size[0]:g} x {m.size[1]:g} mm, which is small "
                            "for a board.", "If that was cm or inches, give it in mm, as 600x200.")]
        return [Finding("scale", "fair", "The scale rests on the corners and the size you gave; the lens was not corrected.",
                        "Lay the strips of the sheet around the board, so that scale and lens are measured.")]
    error = m.scale_error * 100
    if error <= 0.3:
        out.append(Finding("scale", "good", f"Lengths are true to {max(error, 0.05):.2f} %, if the sheet's ruler is right."))
    else:
        out.append(Finding("scale", "fair" if error <= 1.0 else "poor", f"Lengths may be {error:.1f} % wrong.",
                           "Lay more strips, on at least two sides that meet and reaching along the whole board."))
    for name, ratio in m.strange:
        way = "small" if ratio < 1 else "large"
        out.append(Finding("scale", "poor", f"Strip {name} looks {abs(ratio - 1) * 100:.1f} % too {way} beside the others.",
                           "Lay all strips flat at the height of the board's face; one lower or higher spoils the scale."))
    return out


def _edges(m: Measures) -> list[Finding]:
    if not m.missing:
        return []
    sides = ", ".join(m.missing[:-1]) + " and " + m.missing[-1] if len(m.missing) > 1 else m.missing[0]
    what = "edge of the board does not show, and the picture ends near it" if len(m.missing) == 1 else (
        "edges of the board do not show, and the picture ends near them")
    return [Finding("edges", "fair", f"The {sides} {what}.",
                    "Leave a finger's breadth between strips and board, on a cloth clearly lighter or darker than the wood.")]


def _detail(m: Measures) -> Finding:
    dpi = m.px_per_mm * 25.4
    text = f"{m.px_per_mm:.1f} pixels per mm ({dpi:.0f} dots per inch at full size)"
    if m.px_per_mm >= _PRINT:
        close = ", even seen close up" if m.px_per_mm >= _CLOSE else ""
        return Finding("detail", "good", f"{text}: enough for a full-size print{close}.")
    level = "fair" if m.px_per_mm >= _SMALL else "poor"
    use = ("enough for the screen and a sheet, a little soft at full size" if level == "fair" else
           "too coarse for a full-size print")
    return Finding("detail", level, f"{text}: {use}.",
                   "Go closer so that the board fills the picture, use the main camera at its full size, or scan it.")


def _sharp(m: Measures) -> list[Finding]:
    if m.blur_px is None:
        return []
    mm = m.blur_px / m.px_per_mm
    text = f"Edges are {mm:.1f} mm wide"
    if m.blur_px <= 3.6 and mm <= 1.5:
        return [Finding("sharpness", "good", f"{text}: sharp.")]
    level = "poor" if mm > 1.8 or m.blur_px > 7 else "fair"
    return [Finding("sharpness", level, f"{text}: soft, so fine grain and pores are weaker than they are.",
                    "Lean the phone on something or use its timer, touch the board to focus, and wipe the lens.")]


def _light(m: Measures) -> Finding:
    text = f"The light falls off by {m.fall:.1f} to 1 over the board"
    if m.how == "scan":
        return Finding("light", "good", "A scanner lights evenly; nothing was taken off.")
    if m.fall > _STEEP:
        return Finding("light", "poor", f"{text}, which is more than light does: what differs may be the wood, or something lying on it.",
                       "Take everything but the strips off the board, and photograph it again in even light.")
    if m.uneven is None:
        return Finding("light", "fair", f"{text}; it was judged by the wood alone, so a darker side of the wood itself may "
                       "have been evened out.",
                       "Lay the sheet's strips along two sides: their white paper shows the light without guessing.")
    if m.covered < 0.75 and m.fall > 1.25:
        return Finding("light", "fair", f"{text}, and on part of the board there was no paper to tell light from wood.",
                       "Spread the strips over at least two sides that meet.")
    if m.uneven > 0.03:
        return Finding("light", "fair", f"{text}, with shadows or a second lamp: {m.uneven * 100:.0f} % are left over.",
                       "Turn off the ceiling lamp, step out of the light, and use one window.")
    if m.fall > 2.2:
        return Finding("light", "fair", f"{text}; it was taken off to {m.uneven * 100:.1f} %.",
                       "Move the lamp further away, or use the window.")
    return Finding("light", "good", f"{text}; it was taken off to {max(m.uneven * 100, 0.1):.1f} %.")


def _clipping(m: Measures) -> Finding:
    if m.clipped > 0.001:
        level = "poor" if m.clipped > 0.01 else "fair"
        return Finding("clipping", level, f"{_share(m.clipped)} of the board is burnt out: its colour there is lost.",
                       "Tap the brightest part of the board on the phone and take the photo darker.")
    if m.dark > 0.01:
        return Finding("clipping", "fair", f"{_share(m.dark)} of the board is drowned in black.", "Take it in more light.")
    if m.paper_burnt:
        return Finding("clipping", "fair", "The board is well exposed, but the white paper is burnt out and could not be used.",
                       "Take the photo a little darker, so that the paper still shows as pale grey.")
    return Finding("clipping", "good", "Nothing on the board is burnt out or drowned in black.")


def _glare(m: Measures) -> Finding:
    if m.glare <= 0.004:
        return Finding("glare", "good", "No glare on the board.")
    level = "poor" if m.glare > 0.03 else "fair"
    return Finding("glare", level, f"{_share(m.glare)} of the board mirrors a light; it is marked in the mask.",
                   "Turn off the ceiling lamp and use the window from the side, or take two photos lit from left and right.")


def _cover(m: Measures) -> list[Finding]:
    if m.hidden < 0.002:
        return []
    return [Finding("cover", "fair", f"Paper covers {_share(m.hidden)} of the board; it is marked in the mask.",
                    "Lay the strips beside the board on offcuts of its thickness, or place parts clear of them.")]


def blur_loss(m: Measures) -> float:
    """Share of a curl's contrast that the photo's softness takes: a Gaussian's transfer at the curl's wavelength."""
    if m.blur_px is None:
        return 0.0
    sigma = m.blur_px / 2.355 / m.px_per_mm
    return 1 - math.exp(-2 * (math.pi * sigma / _CURL) ** 2)


def _figure(m: Measures) -> list[Finding]:
    """What softness and the camera's tone curve leave unsure."""
    if m.how == "scan" or m.contrast_error is None:
        return []
    lost = blur_loss(m)
    total = math.hypot(lost, m.contrast_error, _CURVES)
    if total <= _CONTRAST:
        return [Finding("figure", "good", f"The figure's contrast is right to about {max(total * 100, 1):.0f} %.")]
    text = f"The figure's contrast is right only to about {total * 100:.0f} %"
    if lost > 0.06:
        return [Finding("figure", "fair", f"{text}: at this size the photo's softness takes {lost * 100:.0f} % of it.",
                        "Go closer so that the board fills the picture, and focus on the board.")]
    return [Finding("figure", "fair", f"{text}, as the camera's own contrast is known only roughly.",
                    "Lay a 24-patch target beside the board.")]


def _colour(m: Measures) -> Finding:
    if m.basis == "nothing":
        return Finding("colour", "poor", "There was nothing to measure colour by: the board is as the camera showed it.",
                       "Lay a grey card or a 24-patch target beside the board.")
    basis = {"target": "24-patch target", "paper": "white of the paper"}.get(m.basis, m.basis)
    text = f"Colour by the {basis}: within about {m.colour_error:.1f} ΔE00"
    if m.basis == "target":
        if m.colour_error <= 2.0 and (m.colour_worst or 0) < 8:
            return Finding("colour", "good", f"{text}.")
        return Finding("colour", "fair" if m.colour_error <= 4 else "poor", f"{text}, which is more than a good photo gives.",
                       "Check which edition the target is, keep it flat, clean and out of glare, and use one window.")
    if m.basis == "grey card":
        if m.colour_error <= 3.0:
            return Finding("colour", "good", f"{text}.")
        return Finding("colour", "fair", f"{text}.", "A 24-patch target beside the board would tell the camera's own colours.")
    return Finding("colour", "fair", f"{text}: paper is never quite white, nor known.",
                   "Lay a grey card on panel E of the sheet.")


def _share(value: float) -> str:
    return f"{value * 100:.1f} %" if value < 0.1 else f"{value * 100:.0f} %"
