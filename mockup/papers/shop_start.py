"""A shop's file to begin with, for a scene that has none: its boards and parts, and its hardware as drawn."""

from __future__ import annotations

from ..scene.values import Scene
from .drawn_hardware import drawn_hardware

__all__ = ["shop_start"]

HEAD = """# What the shop knows of "{title}" and the picture does not need. Lengths are {units}.
#
# "mockup shop" reads it with the scene beside it. Until every bought part that touches wood is measured, it does not say "ready to cut".

units = "mm"                   # or "in": of every length in this file
# start = 2027-01-11           # the first day of work; left out, today
# rest = ["sunday"]            # days without work
# mail = "name@example.org"    # where a client's choice goes, from the page that "mockup share" writes
kerf = 2.5                     # what the saw takes
{bought}
[allowance]                    # what a blank has more than its part, in all
length = 25                    # along the grain
width = 12
thickness = 3

# Thickness of the boards at hand and of the finished parts: take the # away and write what you measure in place of 0.

"""
FILMS = """# Common practice of finishing, where yours differs:
# [films."oil varnish"]
# coats_per_day = 2            # also: method, recoat_hours, sand_every, sand_grit, cure_days, level_grits, full_cure_days,
# mix = {{ "oil varnish" = 2, "boiled linseed oil" = 1 }}    # spread, loss, thin, cautions

"""
BOUGHT = """# Bought parts. "listed" is as drawn: write what the part's maker lists. Then measure the part in your hand, and say it:
#   measured = {{ length = 31.2, width = 83.4, depth = 11.0 }}
# Listed dimensions change between batches. "clearance" is the air on each side of its pocket, "tolerance" what may differ
# without a word; part = "none" is for what touches no wood.

"""
NO_PARTS = 'bought = "none"                # no bought part touches wood; take this line out when you list some\n'
HOLE = "     # its bush, or what its hole is drilled for"
NONE = """# Bought parts: none are drawn. List those that touch wood:
# [fittings.bridge]
# part = "{part}"
# at = [0, 310]                # its middle in the drawing
# listed = {{ length = 42, width = 80, depth = 2 }}
# measured = {{ length = 42.3, width = 80.1, depth = 2 }}
"""


def shop_start(scene: Scene) -> str:
    """The text of a shop's file for a scene; it reads without a mistake and keeps the gate shut until parts are measured."""
    found = drawn_hardware(scene)
    text = HEAD.format(title=scene.title, units="mm", bought="" if found else NO_PARTS)
    boards = {p.board for p in scene.parts}
    for name in scene.boards:
        if name in boards:
            text += f"# [boards.{name}]\n# thickness = 0\n"
            if not scene.boards[name].actual:
                text += "# length = 0                  # along the grain: the scene shows wood of this kind, not your board\n# width = 0\n"
    for part in scene.parts:
        text += f"# [parts.{part.name}]\n# thickness = 0\n"
    text += "\n" + FILMS.format()
    if not found:
        return text + NONE.format(part=scene.parts[-1].name)
    text += BOUGHT.format()
    for name, part in found.items():
        title = part.title.replace('"', "'")
        text += f"[fittings.{name}]\ntitle = \"{title}\"\npart = \"{part.wood}\"\nside = \"{part.side}\"\n"
        text += f"at = [{part.at[0]:.2f}, {part.at[1]:.2f}]\n"
        text += f"turn = {part.turn:g}\n" if part.turn else ""
        listed = ", ".join(f"{k} = {v:.1f}" for k, v in part.sizes.items())
        text += f"listed = {{ {listed} }}{HOLE if part.kind == 'tuners' else ''}\n# measured = {{ {listed} }}\n"
        text += f"let_in = {'true' if part.let_in else 'false'}\n\n"
    return text
