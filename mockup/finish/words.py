"""A finish in words a client understands, and warnings a finisher would give."""

from __future__ import annotations

from .steps import Burst, Coat, Finish, GrainFill, Paint, RubbedEdge, SandBack, StainStep, Tint

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
        case GrainFill(lab=lab):
            return "clear grain filler" if lab is None else "dark grain filler" if lab[0] < 45 else "light grain filler"
        case Tint(stain=stain, strength=strength):
            return f"{stain.name} tint in the film{_strength(strength)}"
        case Burst(stain=stain, strength=strength, width=width, rubbed=rubbed):
            return f"{stain.name} burst{' rubbed in by hand' if rubbed else ''}{_strength(strength)}, {width:g} mm wide"
        case RubbedEdge(width=width):
            return f"edge rubbed through, {width:g} mm"
        case Paint(words=words, cover=cover):
            return words if cover >= 0.995 or words.startswith("translucent") else f"translucent {words}"
    raise TypeError(f"not a finish step: {step!r}")


def finish_words(finish: Finish) -> str:
    """All steps in one line: "amber dye at 60 %; sanded back; four coats of oil varnish"."""
    return "; ".join(step_words(s) for s in finish.steps) or "bare wood"


def finish_warnings(finish: Finish) -> tuple[str, ...]:
    """What a finisher would object to, one sentence each; the picture is drawn all the same."""
    said: list[str] = []
    sealed = coloured = painted = filled = False
    film = ""
    for step in finish.steps:
        match step:
            case StainStep(strength=0) | Burst(strength=0) | Tint(strength=0):
                said.append(f"{_capital(step.stain.words)} at strength 0 colours nothing.")
                continue
        if painted and isinstance(step, StainStep | SandBack | GrainFill):
            said.append(f"{_capital(step_words(step))} after covering paint cannot reach the wood.")
            continue
        match step:
            case StainStep(stain=stain) if sealed:
                said.append(f"{_capital(stain.words)} over a sealed coat cannot soak in; it is drawn as a tinted coat.")
            case StainStep(stain=stain):
                if filled:
                    said.append(f"{_capital(stain.words)} after grain filler takes unevenly: stain before filling.")
                coloured = True
            case SandBack() if sealed:
                said.append("Sanding back after a coat takes off film, not colour; the step changes nothing.")
            case SandBack() if not coloured:
                said.append("Sanding back before any stain takes off nothing; the step changes nothing.")
            case GrainFill() if sealed and film == "oil":
                said.append("Grain filler over oil does not hold in the pores: fill before oiling.")
            case GrainFill():
                filled = True
            case Tint(stain=stain) if not sealed:
                said.append(f"{_capital(stain.name)} tint on bare wood soaks in unevenly: seal first, or use it as a stain.")
                sealed = True
            case Coat(film=now, coats=coats):
                if film == "oil" and now.name != "oil" and coats:
                    said.append(f"{_capital(now.words)} over wet oil may not hold: let the oil cure for some weeks, or seal with shellac.")
                film = now.name if coats else film
                sealed = sealed or coats > 0
                if coats > 12:
                    said.append(f"A film of {coats} coats of {now.words} is more than a finisher builds: most stop by 12.")
            case Burst(rubbed=True) if sealed:
                said.append("A burst rubbed over a sealed coat cannot soak in; it is drawn as sprayed.")
            case Burst():
                coloured = True
            case RubbedEdge() if not coloured and not painted:
                said.append("Rubbing the edge through before any colour bares nothing.")
            case Paint(cover=cover):
                sealed, painted = True, painted or cover >= 0.995
                coloured = True
    if painted and any(isinstance(s, StainStep) for s in finish.steps):
        said.append("Covering paint hides the stain under it.")
    if finish.sheen >= 35 and not sealed:
        said.append(f"A sheen of {finish.sheen:g} GU needs a film; bare wood stays matt.")
    return tuple(dict.fromkeys(said))


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
