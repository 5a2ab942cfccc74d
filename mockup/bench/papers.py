"""Papers written from the page, by the same rooms the command line uses."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import MockupError, nearest
from ..files.picture import write_picture
from ..papers.approval import approve
from ..papers.dossier import write_dossier
from ..papers.print import write_print
from ..papers.sheet import write_sheet
from ..papers.shop_file import read_shop
from ..render.kept import Kept
from ..render.views import View, view_box, view_picture
from ..scene.values import Scene

__all__ = ["KINDS", "write"]

KINDS = ("sheet", "approval", "dossier", "print", "picture")
PAPERS = ("a4", "letter")
PIXELS, SCALE = 24e6, 4.0


def write(scene: Scene, folder: Path, asked: Mapping[str, Any], *, today: str, kept: Kept) -> tuple[Path, ...]:
    """Write one kind of paper into a folder; gives the files. MockupError for anything that cannot be written.

    asked  ``kind``; ``look``, which all but a sheet need; ``names`` of the looks on a sheet; ``paper``.
    """
    kind, paper = str(asked.get("kind")), str(asked.get("paper") or "a4")
    if kind not in KINDS:
        raise MockupError(f'There is no paper called "{kind[:30]}".', fix=nearest(kind, KINDS))
    if paper not in PAPERS:
        raise MockupError(f'There is no paper of the size "{paper[:20]}".', fix=nearest(paper, PAPERS))
    if kind == "sheet":
        names = asked.get("names")
        path = folder / f"{scene.name}.sheet.pdf"
        write_sheet(path, scene, [str(n) for n in names] if isinstance(names, list) else None, today=today, paper=paper, kept=kept)
        return (path,)
    look = asked.get("look")
    if kind in ("approval", "dossier"):
        if look is None:
            raise MockupError("Only a look that is side by side with others can be approved.", fix="Pin it first.")
        if kind == "dossier":
            return write_dossier(folder, scene, str(look), paper=paper, today=today, kept=kept)
        return approve(scene, str(look), folder, today=today, name=f"{scene.name}.{look}", kept=kept)
    chosen = scene if look is None else scene.with_variant(str(look))
    stem = scene.name if look is None else f"{scene.name}.{look}"
    if kind == "print":
        path = folder / f"{stem}.print.pdf"
        write_print(path, chosen, paper=paper, content="both", side="front", today=today, shop=read_shop(chosen), kept=kept)
        return (path,)
    view = View(lying=True)
    x0, y0, x1, y1 = view_box(chosen, view)
    scale = min(SCALE, int(10 * (PIXELS / max((x1 - x0) * (y1 - y0), 1.0)) ** 0.5) / 10)
    path = folder / f"{stem}.png"
    write_picture(path, view_picture(chosen, view, scale=scale, kept=kept).pixels, px_per_mm=scale)
    return (path,)
