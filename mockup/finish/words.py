"""A finish in words a client understands, and warnings a finisher would give."""

from __future__ import annotations

from .steps import Burst, Coat, Finish, Paint, SandBack, StainStep

__all__ = ["finish_warnings", "finish_words", "step_words"]

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def _strength(strength: float) -> str:
    return "" if abs(strength - 1) < 0.005 else f" at {strength * 100:.0f} %"


def step_words(step: object) -> str:
    """One step in words, without a capital or a stop."""
    match step:
        case StainStep(stain=stain, strength=strength):
            return f"{stain.words}{_strength(strength)}"
        case SandBack(amount=amount):
            how = "lightly sanded back" if amount < 0.34 else "sanded back" if amount < 0.67 else "sanded well back"
            return how
        case Coat(film=film, coats=coats):
            number = _NUMBERS[coats] if coats < len(_NUMBERS) else str(coats)
            return f"{number} coat{'' if coats == 1 else 's'} of {film.words}"
        case Burst(stain=stain, strength=strength, width=width):
            return f"{stain.name} burst{_strength(strength)}, {width:g} mm wide"
        case Paint(words=words, cover=cover):
            return words if cover >= 0.995 else f"translucent {words}"
    raise TypeError(f"not a finish step: {step!r}")


def finish_words(finish: Finish) -> str:
    """All steps in one line: "amber dye at 60 %, sanded back, four coats of oil varnish"."""
    return ", ".join(step_words(s) for s in finish.steps) or "bare wood"


def finish_warnings(finish: Finish) -> tuple[str, ...]:
    """What a finisher would object to, one sentence each; the picture is drawn all the same."""
    said: list[str] = []
    sealed = coloured = False
    for step in finish.steps:
        match step:
            case StainStep(stain=stain) if sealed:
                said.append(f"{stain.words.capitalize()} over a sealed coat cannot soak in; it is drawn as a tinted coat.")
            case StainStep():
                coloured = True
            case SandBack() if sealed:
                said.append("Sanding back after a coat takes off film, not colour; the step changes nothing.")
            case SandBack() if not coloured:
                said.append("Sanding back before any stain takes off nothing; the step changes nothing.")
            case Coat(coats=coats):
                sealed = sealed or coats > 0
            case Paint():
                sealed = True
    if finish.sheen >= 35 and not sealed:
        said.append(f"A sheen of {finish.sheen:g} GU needs a film; bare wood stays matt.")
    return tuple(dict.fromkeys(said))
