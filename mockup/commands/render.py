"""``mockup render``: one picture of a scene."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..errors import MockupError, nearest
from .output import checked_file, note, opened, wrote
from .plain import PlainCommand, scene_argument, variant_option
from .progress import progress

if TYPE_CHECKING:
    from ..render.picture import Picture
    from ..scene.values import Scene

__all__ = ["render"]

SCALE = 4.0        # pixels per mm: figure and pores are seen, a body fills a large screen
PIXELS = 24e6      # a larger picture must be asked for


@click.command(cls=PlainCommand, example="mockup render tern --variant sea-blue --scale 6\n"
                                         "mockup render tern --show placement --part top\n"
                                         "mockup render tern --crop top --light tilt --out tern.webp")
@scene_argument
@variant_option
@click.option("--side", metavar="front|back|both", type=click.Choice(["front", "back", "both"]), default="front", help="The side to see.")
@click.option("--horizontal", is_flag=True, help="Neck to the left instead of up.")
@click.option("--crop", metavar="PART", help="One part, with what lies around it.")
@click.option("--ground", metavar="#RRGGBB", help="What it lies on; left out, as the scene says.")
@click.option("--bar", is_flag=True, help="A scale bar in the corner.")
@click.option("--scale", metavar="PX_PER_MM", type=float,
              help=f"Pixels per mm; 11.8 is full size at 300 dpi. Left out, {SCALE:g}, or less for a very large picture.")
@click.option("--show", metavar="placement", type=click.Choice(["placement"]), help="Draw the outline over its board instead.")
@click.option("--part", metavar="NAME", help="With --show placement: this part only.")
@click.option("--light", metavar="tilt", type=click.Choice(["tilt"]),
              help="A loop in which the light swings and the figure moves: a webp, a gif, or a folder of frames.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path),
              help="png, jpg, webp or tif by its ending; left out, a png here, named after scene and variant.")
def render(scene: str, variant: str | None, side: str, horizontal: bool, crop: str | None, ground: str | None, bar: bool, scale: float | None, show: str | None, part: str | None,
           light: str | None, out: Path | None) -> None:
    """Draw one picture of a scene: front, back or both, whole or a part."""
    from ..files.picture import SUFFIXES

    if part is not None and show is None:
        raise click.UsageError("--part goes with --show placement.", click.get_current_context())
    loaded = opened(scene)
    chosen = loaded if variant is None else loaded.with_variant(variant)
    if light is not None and (show is not None or horizontal or bar or side == "both"):
        raise click.UsageError("--light tilt goes with one side, upright, and without --show and --bar.", click.get_current_context())
    stem = ".".join(word for word in (chosen.name, variant, side if side != "front" else None, crop, show) if word)
    if light is not None:
        from dataclasses import replace

        from .tilt import draw_tilt

        lab = _colour(ground)
        draw_tilt(chosen if lab is None else replace(chosen, ground=lab), side=side, part=crop, scale=scale, out=out, stem=stem)
        _warn(chosen)
        return
    if out is not None:
        checked_file(out, SUFFIXES, chosen.sources.values())
    if show is not None:
        _placements(chosen, part, scale, out, stem)
        return

    from ..render.views import View, view_box, view_picture

    view = View(side=side, lying=horizontal, part=crop, ground=_colour(ground), bar=bar)
    path = out or checked_file(Path(f"{stem}.png"), SUFFIXES, chosen.sources.values())
    with progress(f"Drawing {stem}") as report:
        drawn = view_picture(chosen, view, scale=_usual_scale(view_box(chosen, view)) if scale is None else scale, report=report)
        _write(path, drawn)
    for text in drawn.notes:
        note(text)
    _warn(chosen)


def _colour(text: str | None) -> tuple[float, float, float] | None:
    """A code "#rrggbb" as Lab; None for None."""
    if text is None:
        return None
    import re

    import numpy as np

    from ..colour.spaces import srgb8_to_lab

    if not re.fullmatch("#[0-9a-fA-F]{6}", text):
        raise MockupError(f'The ground is "{text[:20]}".', fix='Write it as "#rrggbb", such as "#dcdcdc".')
    lab = srgb8_to_lab(np.array([int(text[i:i + 2], 16) for i in (1, 3, 5)])).tolist()
    return (lab[0], lab[1], lab[2])


def _placements(scene: Scene, part: str | None, scale: float | None, out: Path | None, stem: str) -> None:
    """One picture of the board for the part named, or for each."""
    from ..files.picture import SUFFIXES
    from ..render.kept import Kept
    from ..render.placement import missing_wood
    from ..render.placements import placement_picture

    parts = {p.name: p for p in scene.parts}
    if part is not None and part not in parts:
        raise MockupError(f'There is no part "{part}".', fix=nearest(part, parts), where=scene.file.name)
    names = [part] if part is not None else list(parts)
    if out is not None and len(names) > 1:
        raise MockupError(f"--out names one file, but the scene has {len(names)} parts: {', '.join(names)}.",
                          fix="Add --part NAME, or leave --out away.")
    kept = Kept()
    with progress(f"Drawing {stem}"):
        for name in names:
            path = out or checked_file(Path(f"{stem}.{name}.png"), SUFFIXES, scene.sources.values())
            board = scene.boards[parts[name].board]
            box = (0, 0, *board.size_mm)
            _write(path, placement_picture(scene, name, scale=_usual_scale(box) if scale is None else scale, kept=kept))
            for problem in missing_wood(parts[name], parts[name].shape, board.size_mm, board.name):
                note(str(problem))


def _usual_scale(box: tuple[float, float, float, float]) -> float:
    """Pixels per mm for a picture of a box in mm when nobody asked for one."""
    area = max((box[2] - box[0]) * (box[3] - box[1]), 1.0)
    return min(SCALE, int(10 * (PIXELS / area) ** 0.5) / 10)


def _write(path: Path, drawn: Picture) -> None:
    from ..files.picture import write_picture

    write_picture(path, drawn.pixels, px_per_mm=drawn.px_per_mm)
    wrote(path)
    height, width = drawn.pixels.shape[:2]
    note(f"{width} x {height} pixels, {drawn.px_per_mm:g} per mm")


def _warn(scene: Scene) -> None:
    """What a finisher would object to, part by part."""
    from ..finish.words import finish_warnings

    for part in scene.parts:
        for text in finish_warnings(part.finish):
            note(f"parts.{part.name}.finish: {text}")
