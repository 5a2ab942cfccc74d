"""``mockup place``: where on its board a part is best cut."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import MockupError
from .output import beside, checked_file, note, opened, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress, waiting
from .typed import SPOT

__all__ = ["place"]


@click.command(cls=PlainCommand, example="mockup place my-guitar --part body\nmockup place my-guitar --part body --take 2\n"
                                         "mockup place my-guitar --part body --aim figure --angle 2 --keep-out 120,45,10")
@scene_argument
@click.option("--part", metavar="NAME", help="The part to place; may be left out when the scene has one.")
@click.option("--angle", metavar="DEG", type=float, default=3.0, show_default=True, help="How far the grain may lean from the centre line.")
@click.option("--aim", metavar="symmetric|figure|plain", type=click.Choice(["symmetric", "figure", "plain"]), default="symmetric",
              show_default=True, help="Halves alike, the strongest figure, or the quietest wood.")
@click.option("--margin", metavar="MM", type=float, default=4.0, show_default=True, help="Kept to the board's edges and knots: saw and planing.")
@click.option("--keep-out", metavar="x,y,radius", type=SPOT, multiple=True, help="A spot of the board to avoid, in mm; may be given again.")
@click.option("--thickness", metavar="MM", type=float, help="Of the board, for a bookmatch: what resawing leaves and loses.")
@click.option("--take", metavar="N", type=click.IntRange(1, 5), help="Write the place of this number into the scene file.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="png, jpg, webp or tif; left out, NAME.PART.places.png here.")
def place(scene: str, part: str | None, angle: float, aim: str, margin: float, keep_out, thickness: float | None, take: int | None,
          out: Path | None) -> None:
    """Find the five best places to cut a part from its board, and draw them side by side."""
    from ..files.picture import SUFFIXES, encode_picture
    from ..files.whole import write_all
    from ..render.where import part_places

    loaded = opened(scene)
    name = part or _only_part(loaded)
    if take is not None:
        _refuse_builtin(loaded)
    path = None
    if out is not None or take is None:
        path = checked_file(out or Path(f"{loaded.name}.{name}.places.png"), SUFFIXES, loaded.sources.values())
    with progress(f"Trying {name} all over its board") as report:
        found = part_places(loaded, name, aim=aim, straight=angle, margin=margin, keep_out=keep_out, report=report)
    if take is not None and take > len(found.places):
        raise MockupError(f"Only {len(found.places)} places were found.", fix=f"Use 1 to {len(found.places)}.", where="take")
    lost = _resawn(found, thickness)
    files: dict[Path, bytes] = {}
    with waiting("Drawing the places"):
        if path is not None:
            from ..board.thumbs import thumbnails

            picture = thumbnails(found.pixels, found.mm_per_pixel, found.pattern, found.places)
            files[path] = encode_picture(picture, path.suffix, px_per_mm=420 / (found.pattern.mask.shape[0] / found.pattern.px_per_mm))
        if take is not None:
            files[beside(scene, loaded.file.name)] = _taken(loaded.file, name, found.places[take - 1])
        write_all(files)
    wrote(*files)
    for number, one in enumerate(found.places, 1):
        chosen = "  taken" if number == take else ""
        note(f"{number}  at {one.at[0]:g}, {one.at[1]:g}  turn {one.turn:g}  {one.words}{chosen}")
    if found.knots:
        note(f"Kept clear of {len(found.knots)} dark spot{'s' * (len(found.knots) > 1)} that may be knots.")
    if lost:
        note(lost)
    changed = [v.name for v in loaded.variants if {f"parts.{name}.{k}" for k in ("at", "turn")} & set(v.changes)]
    if take is not None and changed:
        note(f"These variants set a place of their own, which stays: {', '.join(changed)}.")


def _only_part(scene) -> str:
    if len(scene.parts) != 1:
        raise MockupError(f"The scene has {len(scene.parts)} parts.", fix=f"Name one with --part: {', '.join(p.name for p in scene.parts)}.",
                          where=scene.file.name)
    return scene.parts[0].name


def _refuse_builtin(scene) -> None:
    from ..scene.places import scenes_folder

    if scene.file.resolve().is_relative_to(scenes_folder().resolve()):
        raise MockupError("A built-in scene stays as it is.", fix='Make one of your own with "mockup new", or copy its folder.', where=scene.file.name)


def _resawn(found, thickness: float | None) -> str:
    from ..board.place import resaw

    if thickness is None:
        return ""
    if found.part.placement.cut != "bookmatch":
        raise MockupError(f'The part "{found.part.name}" is not bookmatched.', fix="Leave --thickness away.", where="thickness")
    return resaw(thickness).words


def _taken(file: Path, part: str, chosen) -> bytes:
    """The scene file with the chosen place in it."""
    from ..files.whole import read_bytes
    from ..scene.edit import with_placement
    from ..scene.text import LIMIT

    try:
        return with_placement(read_bytes(file, limit=LIMIT).decode("utf-8"), part, chosen.at, chosen.turn).encode("utf-8")
    except MockupError as error:
        raise error.within(file.name, joint=": ") from None
