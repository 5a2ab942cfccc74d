"""A photograph on disk to a board on disk; the card to a file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2

from mockup.board.calibrate import Calibrated, Wanted, calibrate
from mockup.board.card import card_pdf
from mockup.board.png16 import board_png
from mockup.board.record import board_toml
from mockup.errors import MockupError
from mockup.files.photo import Photo, read_photo
from mockup.files.picture import encode_picture
from mockup.files.whole import write_all, write_whole

__all__ = ["Written", "beside", "photo_to_board", "write_board", "write_card"]


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, and the board it came from."""

    board: Calibrated
    files: tuple[Path, ...]


def photo_to_board(photo: Path, *, out: Path | None = None, wanted: Wanted = Wanted(), wood: str = "board",
                   actual: bool = True, report: Path | None = None) -> Written:
    """Calibrate the board in a photo and write it; the photo is not touched.

    out     the picture to write, ``board.png`` beside the photo by default; a
            TOML and a mask of the same name go with it.
    wood    its kind in words; ``actual`` whether this very board will be used.
    report  a picture of the verdict, by suffix.

    All files appear or none. Raises MockupError, with the remedy, for a photo
    that cannot be used, and when a file to write is the photo itself.
    """
    photo = Path(photo)
    out = Path(out) if out is not None else photo.with_name("board.png")
    if out.suffix.lower() != ".png":
        raise MockupError(f'A board is written as a 16-bit PNG, not "{out.suffix}".', fix="Name it board.png.",
                          where=str(out))
    targets = [out, *beside(out), *([Path(report)] if report else [])]
    if any(_same(photo, target) for target in targets):
        raise MockupError("This would overwrite the photo.", fix="Choose another name for the board.", where=str(out))
    read = read_photo(photo)
    try:
        board = calibrate(read.pixels, wanted)
    except MockupError as error:
        raise error.within(photo.name, joint=": ") from None
    return Written(board, write_board(board, read, source=photo.name, out=out, wood=wood, actual=actual, report=report))


def beside(out: Path) -> tuple[Path, Path]:
    """The TOML and the mask that go with a board's picture."""
    return out.with_suffix(".toml"), out.with_name(out.stem + ".mask.png")


def write_board(board: Calibrated, read: Photo, *, source: str, out: Path, wood: str, actual: bool,
                report: Path | None = None) -> tuple[Path, ...]:
    """Write a calibrated board and what goes with it; all files or none."""
    record, mask = beside(out)
    text = board_toml(board, picture=out.name, mask=mask.name, source=source, sha256=read.sha256, wood=wood,
                      actual=actual, notes=read.notes)
    height, width = board.pixels.shape[:2]
    shut = cv2.resize(board.usable, (width, height), interpolation=cv2.INTER_NEAREST)
    done, packed = cv2.imencode(".png", shut)
    if not done:
        raise RuntimeError("the mask was not encoded")
    files = {out: board_png(board.pixels, board.px_per_mm), record: text.encode("utf-8"), mask: packed.tobytes()}
    if report is not None:
        from mockup.board.report import report_picture

        report = Path(report)
        # 1600 pixels over 270 mm: it prints on a sheet of A4 laid across.
        files[report] = encode_picture(report_picture(board, source), report.suffix, px_per_mm=1600 / 270)
    write_all(files)
    return tuple(files)


def write_card(paper: str, out: Path) -> Path:
    """Write the reference sheet as PDF; MockupError for another suffix or an unknown paper."""
    out = Path(out)
    if out.suffix.lower() != ".pdf":
        raise MockupError(f'The sheet is a PDF, not "{out.suffix}".', fix=f"Name it {out.stem or 'card'}.pdf.", where=str(out))
    write_whole(out, card_pdf(paper))
    return out


def _same(a: Path, b: Path) -> bool:
    try:
        return a.resolve() == b.resolve() or (b.exists() and a.exists() and a.samefile(b))
    except OSError:
        return False
