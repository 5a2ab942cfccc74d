"""``mockup compare``: a photo of finished wood against what was approved."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from .output import checked_file, note, wrote
from .plain import PlainCommand
from .progress import progress
from .typed import POINT, SIZE

__all__ = ["compare"]


@click.command(cls=PlainCommand, example="mockup compare approvals/tern.honey.approval.json finished.jpg --report finished.pdf\n"
                                         "mockup compare tern.honey.approval.json offcut.jpg --part top --test-board --report offcut.pdf")
@click.argument("record", metavar="RECORD", type=click.Path(path_type=Path))
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@click.option("--part", "parts", metavar="NAME[=X,Y,W,H]", multiple=True,
              help="A part that the photo shows; left out, all that the approved outline shows. With X,Y,W,H, in mm of the squared "
                   "photo, where it lies. Once for each part.")
@click.option("--test-board", is_flag=True, help="It is an offcut, before the instrument is touched.")
@click.option("--grey", metavar="X,Y", type=POINT, help="A grey card in the photo, in its pixels, where it is not found by itself.")
@click.option("--target", metavar="after-2014|before-2014", type=click.Choice(["after-2014", "before-2014"]),
              help="Edition of a 24-patch target beside the wood.")
@click.option("--corners", metavar="X,Y X,Y X,Y X,Y", type=POINT, nargs=4, help="Four corners in the photo, where the sheet was not laid around.")
@click.option("--size", metavar="WIDTHxHEIGHT", type=SIZE, help="With --corners: what they enclose, in mm.")
@click.option("--report", metavar="FILE", type=click.Path(path_type=Path), help="Write the comparison as a pdf, too, and a csv beside it.")
@click.option("--squared", metavar="FILE", type=click.Path(path_type=Path),
              help="Write the photo squared up, with its mm along the edges, as a png to read X,Y,W,H from, and nothing else.")
@click.option("--paper", metavar="a4|letter", type=click.Choice(["a4", "letter"]), default="a4", help="Of the report; left out, a4.")
def compare(record: Path, photo: Path, parts: tuple[str, ...], test_board: bool, grey, target, corners, size, report: Path | None,
            squared: Path | None, paper: str) -> None:
    """Measure finished wood in a photo against the approved colours, and append what was found to the record.

    Lay the printed strips and a grey card beside the part on a plain cloth. The approved outline is found in the photo by itself; edges,
    hardware and strings are left out.
    """
    from ..board.calibrate import Wanted
    from ..papers.compare import compare as measure
    from ..papers.compare import sentences, write_comparison

    named = _parts(parts)
    if report is not None:
        checked_file(report, (".pdf",), [record, photo])
        checked_file(report.with_suffix(".csv"), (".csv",), [record, photo])
    if squared is not None:
        checked_file(squared, (".png",), [record, photo])
    wanted = Wanted(corners=corners or None, size=size, grey=grey, target=target)
    if squared is not None:
        from ..papers.comparison_page import write_squared

        with progress(f"Squaring {photo.name}"):
            write_squared(squared, photo, wanted, test_board=test_board)
        wrote(squared)
        return
    with progress(f"Measuring {photo.name}"):
        made = measure(record, photo, named, wanted=wanted, test_board=test_board, today=date.today().isoformat())
        paths = write_comparison(record, made, paper=paper, report=report)
    for line in sentences(made.parts):
        note(" ".join(line.split()))
    for line in made.notes:
        note(f"Photo: {line}")
    wrote(*paths)


def _parts(words: tuple[str, ...]) -> dict[str, tuple[float, float, float, float] | None]:
    named = {}
    for word in words:
        name, given, area = word.partition("=")
        try:
            numbers = tuple(float(v) for v in area.split(",")) if given else None
        except ValueError:
            numbers = ()
        if numbers is not None and (len(numbers) != 4 or min(numbers[2:]) <= 0 or any(v != v or abs(v) > 1e5 for v in numbers)):
            raise click.UsageError(f'"{word[:60]}" is not NAME or NAME=x,y,width,height in mm, as --part top=20,20,150,80.')
        if name in named:
            raise click.UsageError(f'The part "{name[:60]}" is named twice.')
        named[name] = numbers
    return named
