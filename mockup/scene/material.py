"""What fittings are made of: metals, bone, pearl and plastic, by the words of the trade."""

from __future__ import annotations

from .reader import Reader, show
from .values import Material

__all__ = ["GLUE", "INK", "MATERIALS", "SHIELD", "STRINGS", "WOUND", "read_material"]

# Reflectance of metals at normal incidence as Lab, from memory of handbook values for chromium, nickel,
# brass and gold; "black" is a black-plated or anodised part, which mirrors a twentieth.
MATERIALS = {m.name: m for m in (
    Material(name="chrome", kind="metal", lab=(82.0, -0.6, -1.4), gloss=92.0),
    Material(name="nickel", kind="metal", lab=(80.0, 0.2, 4.2), gloss=82.0),
    Material(name="satin nickel", kind="metal", lab=(79.0, 0.2, 3.8), gloss=34.0),
    Material(name="black", kind="metal", lab=(31.0, 0.0, -0.6), gloss=40.0),
    Material(name="brass", kind="metal", lab=(81.0, 3.5, 34.0), gloss=70.0),
    Material(name="gold-coloured", kind="metal", lab=(83.0, 6.5, 44.0), gloss=88.0),
    Material(name="bone", kind="plastic", lab=(88.0, 0.5, 11.0), gloss=42.0),
    Material(name="pearl", kind="plastic", lab=(88.0, -1.0, 4.0), gloss=84.0),
    Material(name="plastic", kind="plastic", lab=(18.0, 0.0, 0.0), gloss=76.0),
)}
STRINGS = Material(name="steel", kind="metal", lab=(84.0, 0.2, 2.4), gloss=80.0)
WOUND = Material(name="wound steel", kind="metal", lab=(68.0, 0.4, 4.5), gloss=38.0)
INK = Material(name="shade", kind="plastic", lab=(9.0, 0.5, 0.5), gloss=6.0)


GLUE = Material(name="glue line", kind="plastic", lab=(44.0, 9.0, 20.0), gloss=12.0)
SHIELD = Material(name="shielding paint", kind="plastic", lab=(14.0, 0.0, 0.5), gloss=8.0)


def read_material(read: Reader, key: str, colour: str, default: str | None) -> Material | None:
    """The material named under ``key``, with the plastic's colour under ``colour``; None when neither is given."""
    if not read.has(key) and default is None and not read.has(colour):
        return None
    name = read.choice(key, tuple(MATERIALS), default or "plastic")
    if not read.has(colour):
        return MATERIALS[name]
    if name != "plastic":
        read.note(colour, f'{show(name)} has a colour of its own.', f'Take {colour} out, or use {key} = "plastic".')
    return Material(name="plastic", kind="plastic", lab=read.colour(colour, None), gloss=MATERIALS["plastic"].gloss)
