"""What hardware there is and what it is made of, in words: a client approves it with the wood."""

from __future__ import annotations

import numpy as np

from ..colour.difference import ciede2000
from ..errors import listed
from .values import Material, Scene

__all__ = ["hardware_sentence", "hardware_words", "material_words"]

# Colours that plastic is called by, Lab; from memory.
PLASTICS = {"white": (94.0, 0.0, 3.0), "cream": (86.0, 1.5, 13.0), "ivory-coloured": (88.0, 1.0, 20.0), "amber": (62.0, 18.0, 48.0),
            "brown": (34.0, 14.0, 18.0), "black": (14.0, 0.0, 0.0), "grey": (55.0, 0.0, 0.0), "red": (36.0, 48.0, 28.0),
            "green": (40.0, -30.0, 15.0), "blue": (35.0, 5.0, -40.0)}
UNSEEN = ("shade", "shielding paint")  # holes, lines and the floors of cavities: nobody chooses them


def material_words(material: Material) -> str:
    """A material by its name, plastic with its colour by the nearest plain word: "cream plastic"."""
    if material.name == "plastic":
        return f"{min(PLASTICS, key=lambda n: float(ciede2000(np.array(PLASTICS[n]), np.array(material.lab))))} plastic"
    return "black metal" if material.name == "black" else material.name


def hardware_words(scene: Scene) -> list[tuple[str, str]]:
    """Each kind of hardware and what it is made of: ("Bridge pickup", "nickel and cream plastic"), in the scene's order; strings last."""
    found: dict[str, list[str]] = {}
    for f in scene.fittings:
        words = found.setdefault(f.title, [])
        if f.material.name not in UNSEEN and material_words(f.material) not in words:
            words.append(material_words(f.material))
    return sorted(((title, listed(words)) for title, words in found.items() if words), key=lambda pair: pair[0] == "Strings")


def hardware_sentence(scene: Scene) -> str:
    """All of it by what it is made of, "Hardware: nickel for the bridge, knobs and tuners; bone for the nut."; "" where there is none."""
    by: dict[str, list[str]] = {}
    for title, of in hardware_words(scene):
        if title != "Strings":
            by.setdefault(of, []).append(title[:1].lower() + title[1:])
    if not by:
        return ""
    return f"Hardware: {'; '.join(f'{of} for the {listed(titles)}' for of, titles in by.items())}."
