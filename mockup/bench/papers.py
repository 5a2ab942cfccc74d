"""Papers written from the page, by the same rooms the command line uses."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..errors import MockupError, nearest
from ..files.picture import write_picture
from ..finish.words import finish_warnings
from ..papers.approval import approve, earlier_words
from ..papers.choice import Checked, chosen_scene, completed, read_choice, text_of
from ..papers.dossier import write_dossier
from ..papers.print import write_print
from ..papers.share import write_share
from ..papers.sheet import write_sheet
from ..papers.shop_file import read_shop
from ..render.kept import Kept
from ..render.views import View, view_box, view_picture
from ..scene.values import Scene

__all__ = ["KINDS", "answered", "notes", "read_answer", "write"]

KINDS = ("sheet", "approval", "dossier", "print", "picture", "share")
PAPERS = ("a4", "letter")
PIXELS, SCALE = 24e6, 4.0


def write(scene: Scene, folder: Path, asked: Mapping[str, Any], *, today: str, kept: Kept) -> tuple[Path, ...]:
    """Write one kind of paper into a folder; gives the files. MockupError for anything that cannot be written.

    asked  ``kind``; ``look``, which all but a sheet and the client's page need; ``names`` of the looks on those two; ``paper``.
    """
    kind, paper = str(asked.get("kind")), str(asked.get("paper") or "a4")
    if kind not in KINDS:
        raise MockupError(f'There is no paper called "{kind[:30]}".', fix=nearest(kind, KINDS))
    if paper not in PAPERS:
        raise MockupError(f'There is no paper of the size "{paper[:20]}".', fix=nearest(paper, PAPERS))
    if kind in ("sheet", "share"):
        names = [str(n) for n in asked["names"]] if isinstance(asked.get("names"), list) else None
        path = folder / f"{scene.name}.{'sheet.pdf' if kind == 'sheet' else 'share.html'}"
        if kind == "sheet":
            write_sheet(path, scene, names, today=today, paper=paper, kept=kept)
        elif not (scene.variants or names):
            raise MockupError("There is nothing to choose from yet.", fix="Pin a look first.")
        else:
            write_share(path, scene, names, today=today, mail=read_shop(scene).mail, kept=kept)
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


def notes(scene: Scene, asked: Mapping[str, Any], paths: tuple[Path, ...]) -> list[str]:
    """What the maker should know of a paper before the client sees it: that an earlier approval is there, too; of the client's page its size,
    and what a finisher would object to."""
    if asked.get("kind") == "approval":
        return [words] if (words := earlier_words(f"{scene.name}.{asked.get('look')}", paths[0])) else []
    if asked.get("kind") != "share":
        return []
    said = [f"{paths[0].stat().st_size / 1e6:.1f} MB, to mail as it is. When the answer comes, put it in below."]
    if not read_shop(scene).mail:
        said.append("The shop's file gives no mail address, so the client has to fill in where the answer goes.")
    for variant in scene.variants:
        said += [f"{variant.title}, {part.title}: {warning}" for part in scene.with_variant(variant.name).parts for warning in finish_warnings(part.finish)]
    return said


def read_answer(scene: Scene, data: bytes, *, today: str, kept: Kept) -> Checked:
    """What a client chose on the client's page, read out of the answer's bytes and held against the scene as it is now.

    MockupError, one sentence, for what holds no choice, one that is cut off or
    changed, and one of something that is not what the client saw.
    """
    return chosen_scene(scene, completed(read_choice(text_of(data)), name=scene.client, today=today), kept=kept)


def answered(scene: Scene, checked: Checked, folder: Path, *, today: str, kept: Kept) -> tuple[Path, ...]:
    """Write the approval of what a client chose, with the client's words in it; gives the files."""
    name = checked.scene.variant.name
    return approve(scene, name, folder, today=today, name=f"{scene.name}.{name}", choice=checked, kept=kept)
