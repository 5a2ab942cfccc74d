"""``mockup board``: from a photo of a board to the board."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import MockupError
from .output import checked_file, checked_folder, note, quoted, wrote
from .plain import PlainCommand
from .progress import waiting
from .typed import POINT, SIZE

__all__ = ["board"]

LARGEST = 4_000_000_000  # bytes of a photo whose board stands there already


@click.command(cls=PlainCommand, example='mockup board photo.jpg --wood "flame maple" --report report.png\n'
                                         "mockup board photo.jpg --grey 812,440 --second photo2.jpg --out my-guitar\n"
                                         "mockup board photo.jpg --corners 210,180 1830,205 1815,760 190,735 --size 600x200\n"
                                         "mockup board scan.tif --dpi 300")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--corners", metavar="x,y x,y x,y x,y", type=POINT, nargs=4,
              help="The board's corners in pixels of the photo, clockwise from the top left, where no strips lie beside it.")
@click.option("--size", metavar="WIDTHxHEIGHT", type=SIZE, help="The board in mm as it lies in the photo; needed with --corners.")
@click.option("--dpi", metavar="N", type=float, help="For a flat scan: its dots per inch.")
@click.option("--ruler", metavar="MM", type=float, default=100.0, show_default=True, help="What the printed 100 mm ruler of the sheet measures.")
@click.option("--grey", metavar="x,y", type=POINT, help="A grey card in the photo; one on panel E of the sheet is found by itself.")
@click.option("--grey-value", metavar="SHARE", type=float, default=0.18, show_default=True, help="What the grey card reflects.")
@click.option("--target", metavar="before-2014|after-2014", type=click.Choice(["before-2014", "after-2014"]),
              help="Colour by a 24-patch target in the photo, made before or after November 2014.")
@click.option("--target-at", metavar="x,y x,y x,y x,y", type=POINT, nargs=4,
              help="Middles of its patches dark skin, bluish green, black and white, where it is not found by itself.")
@click.option("--second", metavar="PHOTO", type=click.Path(path_type=Path),
              help="The same board lit from its right end, the first photo lit from its left: takes glare out, measures the figure.")
@click.option("--wood", metavar="WORDS", default="board", help='Its kind, as "flame maple".')
@click.option("--indicative", is_flag=True, help="It only stands for its kind: not the very board that will be used.")
@click.option("--report", metavar="FILE", type=click.Path(path_type=Path), help="A picture of what was found and how good it is: png, jpg, webp or tif.")
@click.option("--out", metavar="DIR|FILE.png", type=click.Path(path_type=Path), default=Path("."),
              help="Folder to write board.png to, or a png of another name; left out, here.")
def board(photo: Path, corners, size, dpi: float | None, ruler: float, grey, grey_value: float, target: str | None, target_at,
          second: Path | None, wood: str, indicative: bool, report: Path | None, out: Path) -> None:
    """Turn a photo of a board into the board: square, in mm, its own colour, light and camera taken off."""
    from ..board.calibrate import Wanted
    from ..board.door import photo_to_board
    from ..files.picture import SUFFIXES

    photos = [p for p in (photo, second) if p is not None]
    path = out if out.suffix.lower() == ".png" and not out.is_dir() else checked_folder(out) / "board.png"
    checked_file(path, (".png",), photos, reader="This command")
    if report is not None:
        checked_file(report, SUFFIXES, [*photos, path, path.with_suffix(".toml")], reader="This command")
    _refuse_other_board(path, photo)
    kind = " ".join(wood.split())
    if not kind or len(kind) > 80:
        raise MockupError("The kind of wood is empty or longer than 80 letters.", fix='Give it in a few words, as --wood "flame maple".')
    if dpi is not None and (grey is not None or second is not None):
        raise click.UsageError("--dpi is for a flat scan: it goes without --grey and --second.", click.get_current_context())
    wanted = Wanted(corners=corners or None, size=size, dpi=dpi, ruler=ruler, grey=grey, grey_value=grey_value, target=target,
                    target_at=target_at or None)
    with waiting(f"Measuring {photo.name}"):
        done = photo_to_board(photo, out=path, wanted=wanted, wood=kind, actual=not indicative, report=report, second=second)
    wrote(*done.files)
    found = done.board
    height, width = found.pixels.shape[:2]
    note(f"{width * found.mm_per_pixel:.1f} x {height * found.mm_per_pixel:.1f} mm, {found.px_per_mm:g} pixels per mm, "
         f"mean L* {found.mean_lab[0]:.1f} a* {found.mean_lab[1]:.1f} b* {found.mean_lab[2]:.1f}")
    for line in found.verdict:
        note(f"{line.level:<4}  {line.found}" + (f" {line.advice}" if line.advice else ""))
    note(f'In a scene beside it: photo = "{path.name}" under [boards.NAME]; the rest stands in {path.stem}.toml.')


def _refuse_other_board(picture: Path, photo: Path) -> None:
    """What stands there already stays, unless it is the board of this very photo."""
    from ..files.whole import read_bytes, sha256
    from ..scene.text import read_toml

    record = picture.with_suffix(".toml")
    try:
        found = read_toml(record) if record.exists() else {}
    except MockupError:
        found = {}
    if record.exists() and "mm_per_pixel" not in found:
        raise MockupError("This file is there already, and is not one of a board.", fix="Choose another name with --out.", where=str(record))
    if not picture.exists():
        return
    source = found.get("source")
    source = source if isinstance(source, dict) else {}
    if source.get("sha256") != sha256(read_bytes(photo, limit=LARGEST)):
        of = f"the board of another photo, {source['file']}" if isinstance(source.get("file"), str) else "not one of a photo's board"
        raise MockupError(f"This picture is there already, and is {of}.",
                          fix=f"Choose another name, as --out {quoted(picture.with_name(f'{picture.stem}-2.png'))}, or move that one away.", where=str(picture))
