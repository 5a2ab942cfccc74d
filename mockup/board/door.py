"""A photograph on disk to a board on disk; the card to a file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from mockup.board.calibrate import Calibrated, Wanted, calibrate
from mockup.board.card import card_pdf
from mockup.board.dip import dip_file, dip_png
from mockup.board.pair import Pair, combine
from mockup.board.png16 import board_png
from mockup.board.record import board_toml
from mockup.board.verdict import Finding
from mockup.errors import MockupError
from mockup.files.photo import Photo, read_photo
from mockup.files.picture import encode_picture
from mockup.files.whole import write_all, write_whole

__all__ = ["Written", "beside", "photo_to_board", "with_second", "write_board", "write_card"]


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, and the board it came from."""

    board: Calibrated
    files: tuple[Path, ...]


def photo_to_board(photo: Path, *, out: Path | None = None, wanted: Wanted = Wanted(), wood: str = "board",
                   actual: bool = True, report: Path | None = None, second: Path | None = None) -> Written:
    """Calibrate the board in a photo and write it; the photo is not touched.

    out     the picture to write, ``board.png`` beside the photo by default; a
            TOML and a mask of the same name go with it.
    wood    its kind in words; ``actual`` whether this very board will be used.
    report  a picture of the verdict, by suffix.
    second  the same board lit from its other end, the first one being lit from
            the left: glare is taken out, and the fibres' angles are written, too.

    All files appear or none. Raises MockupError, with the remedy, for a photo
    that cannot be used, and when a file to write is the photo itself.
    """
    photo = Path(photo)
    out = Path(out) if out is not None else photo.with_name("board.png")
    if out.suffix.lower() != ".png":
        raise MockupError(f'A board is written as a 16-bit PNG, not "{out.suffix}".', fix="Name it board.png.",
                          where=str(out))
    targets = [out, *beside(out), *([Path(report)] if report else []), *([dip_file(out)] if second else [])]
    if any(_same(Path(p), target) for target in targets for p in (photo, second) if p is not None):
        raise MockupError("This would overwrite the photo.", fix="Choose another name for the board.", where=str(out))
    read = read_photo(photo)
    try:
        board = calibrate(read.pixels, replace(wanted, straight=read.straight))
    except MockupError as error:
        raise error.within(photo.name, joint=": ") from None
    dip = None
    if second is not None:
        board, pair = with_second(board, read, read_photo(second), Path(second).name, wanted)
        dip = pair.dip
    return Written(board, write_board(board, read, source=photo.name, out=out, wood=wood, actual=actual, report=report, dip=dip))


def with_second(board: Calibrated, read: Photo, other: Photo, name: str, wanted: Wanted) -> tuple[Calibrated, Pair]:
    """The board of both photos, and what they told together.

    board  of the first photo, ``read``, lit from its left; ``wanted`` what was said of it.
    other  the same board lit from its right end; ``name`` is the second file's.

    MockupError, naming the second photo, where no strips lie beside the board or they lie elsewhere in it.
    """
    if board.survey.how != "sheet":
        raise MockupError("A second photo is laid over the first by the strips of the sheet, and none was used here.",
                          fix='Lay the strips of "mockup card" beside the board in both photos.', where=name)
    try:
        # A grey card pointed at lies elsewhere in another photo; one is enough, since both are brought to the same level.
        late = calibrate(other.pixels, replace(wanted, grey=None, straight=other.straight))
        pair = combine((read.pixels, other.pixels), (board, late))
    except MockupError as error:
        raise error.within(name, joint=": ") from None
    spoilt = (late.usable != 255).astype(np.uint8)
    spoilt = cv2.resize(cv2.dilate(spoilt, np.ones((9, 9), np.uint8)), board.usable.shape[::-1], interpolation=cv2.INTER_NEAREST)
    spoilt_once = (board.usable == 128) | (board.usable == 64)
    usable = np.where(spoilt_once & (spoilt == 0), 255, board.usable).astype(np.uint8)
    verdict = tuple(_mended(f, board.usable, usable, code) if (code := {"glare": 128, "clipping": 64}.get(f.topic)) else f
                    for f in board.verdict)
    done = (*board.done, f"two photos, {name} lit from the other end: glare out, fibre angles measured")
    return replace(board, pixels=pair.pixels, usable=usable, verdict=verdict, done=done), pair


def _mended(finding: Finding, before: np.ndarray, after: np.ndarray, code: int) -> Finding:
    """A finding on what one photo lost and the other had."""
    was, left = float((before == code).mean()), float((after == code).mean())
    if finding.level == "good" or was == left:
        return finding
    what, advice = ("mirrors a light", "Move the lamps further apart, so that no place mirrors both.") if code == 128 else \
        ("is burnt out", "Take both photos a little darker.")
    good = left <= 0.002
    return Finding(finding.topic, "good" if good else "fair",
                   f"{was * 100:.1f} % of the board {what} in the first photo, {left * 100:.1f} % in both.", "" if good else advice)


def beside(out: Path) -> tuple[Path, Path]:
    """The TOML and the mask that go with a board's picture."""
    return out.with_suffix(".toml"), out.with_name(out.stem + ".mask.png")


def write_board(board: Calibrated, read: Photo, *, source: str, out: Path, wood: str, actual: bool,
                report: Path | None = None, dip: np.ndarray | None = None) -> tuple[Path, ...]:
    """Write a calibrated board and what goes with it; all files or none."""
    record, mask = beside(out)
    text = board_toml(board, picture=out.name, mask=mask.name, source=source, sha256=read.sha256, wood=wood,
                      actual=actual, notes=read.notes, dip=dip_file(out).name if dip is not None else None)
    height, width = board.pixels.shape[:2]
    shut = cv2.resize(board.usable, (width, height), interpolation=cv2.INTER_NEAREST)
    done, packed = cv2.imencode(".png", shut)
    if not done:
        raise RuntimeError("the mask was not encoded")
    files = {out: board_png(board.pixels, board.px_per_mm), record: text.encode("utf-8"), mask: packed.tobytes()}
    if dip is not None:
        files[dip_file(out)] = dip_png(dip)
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
