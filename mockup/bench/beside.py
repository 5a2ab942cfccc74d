"""What lies beside a scene and is drawn from, or written by: taken up when others change it, and said in a sentence."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from ..board.dip import dip_file, read_dip
from ..errors import MockupError, listed
from ..render.boards import LoadedBoard, load_board
from ..render.kept import Kept
from ..scene.places import shop_files
from ..scene.values import BoardRef, Scene
from .document import Document
from .watch import Watch, files_named

__all__ = ["Beside"]


class Beside:
    """The files beside a document's scene. What was read of one stays in force until it can be read as it is now.

    Safe to share between threads.
    """

    def __init__(self, document: Document, kept: Kept) -> None:
        self.document, self.kept = document, kept
        self.trouble = ""  # what is wrong with a file that the scene is drawn from, as it is now
        self._shop_trouble = ""
        self._files = self._heard = 0
        self._said = ""
        self._failed: str | None = None  # the scene's text with which files were last read in vain,
        self._troubled: frozenset[Path] = frozenset()  # and those that had changed before that
        self._watch = Watch()
        self._looking = threading.Lock()
        self._watch.begin(self._all())  # before the first of them is read

    def plain(self) -> dict[str, Any]:
        """For the page: how often pictures became others (files), how often there was something to say, what it was last, and what is wrong now."""
        return {"files": self._files, "heard": self._heard, "said": self._said, "troubles": [t for t in (self.trouble, self._shop_trouble) if t]}

    def look(self, *, now: bool = False) -> None:
        """Take up what has changed since the last look. With ``now`` a file that may still be written is not waited for."""
        with self._looking:
            before, shop = (self._files, self.trouble, self._shop_trouble), frozenset(shop_files(self.document.file))
            changed = frozenset(self._watch.look(self._all(), now=now))
            said = []
            if changed - shop or self.trouble and self._failed != self.document.text:
                said.append(self._draw_anew(changed - shop))
            if changed & shop:
                said.append(self._read_shop(changed & shop))
            if any(said):
                self._said, self._heard = " ".join(filter(None, said)), self._heard + 1
            if any(said) or before != (self._files, self.trouble, self._shop_trouble):
                self.document.tell()

    def look_now(self) -> None:
        """Before a paper is written: it is of the files as they are this very moment. MockupError when one cannot be read."""
        self.look(now=True)
        if self.trouble:
            raise MockupError(self.trouble)

    def board(self, ref: BoardRef) -> LoadedBoard:
        """A board's pixels; MockupError, too, when its file is gone, and, when it was not so before, in the words that are on the page."""
        try:
            return _loaded(ref, self.kept)
        except MockupError:
            self.look(now=True)
            if any(f.resolve() == ref.path.resolve() for f in self._troubled):
                raise MockupError(self.trouble) from None
            raise

    def _all(self) -> frozenset[Path]:
        """All that the scene is drawn from, as it stands and as the way back may have it; and the shop's file."""
        file = self.document.file
        return frozenset(shop_files(file)).union(*(files_named(text, file) for text in self.document.texts))

    def _draw_anew(self, changed: frozenset[Path]) -> str:
        about, text = self._troubled | changed, self.document.text
        error = self.document.read_anew(lambda scene: self._check(scene, about))
        if error is None:
            self._files += 1
            self.trouble, self._failed, self._troubled = "", None, frozenset()
            return f"{_named(about)} changed on disk: drawn anew."
        self._failed, self._troubled = text, about
        self.trouble = f"{_named(about)} changed on disk and cannot be drawn as {_now(about)}, so you see what was there before: {_sentence(error, about)}"
        return ""

    def _check(self, scene: Scene, changed: frozenset[Path]) -> None:
        """Read of changed files what a scene alone does not: the pixels of boards, the angles of their fibres. MockupError when one cannot be read."""
        changed = frozenset(p.resolve() for p in changed)
        for view in (scene, *scene.views.values()):
            for ref in (view.boards[name] for name in {p.board for p in view.parts}):
                if ref.path.resolve() in changed:
                    _loaded(ref, self.kept)
                if (angles := dip_file(ref.path)).resolve() in changed and angles.is_file():
                    read_dip(angles)

    def _read_shop(self, changed: frozenset[Path]) -> str:
        from ..papers.shop_file import read_shop  # with much that the first picture does not need

        try:
            scene = self.document.scene()
        except MockupError:
            return ""  # nothing can be written anyway, and it is read when it can
        try:
            read_shop(scene)
        except MockupError as error:
            self._shop_trouble = f"{_named(changed)} changed on disk and cannot be used as {_now(changed)}: {_sentence(error, changed)}"
            return ""
        self._shop_trouble = ""
        return f"{_named(changed)} changed on disk: what you write from now on goes by it."


def _loaded(ref: BoardRef, kept: Kept) -> LoadedBoard:
    try:
        return load_board(ref, kept)
    except OSError:
        raise MockupError(f"{ref.path.name} cannot be read any more.", fix="Put it back, or name another board.") from None


def _named(files: frozenset[Path]) -> str:
    """Names of files in words, as "body.svg and flame.jpg"."""
    names = sorted({f.name for f in files})
    if len(names) > 3:
        names = [*names[:2], f"{len(names) - 2} more files"]
    return listed(names)


def _now(files: frozenset[Path]) -> str:
    return "it is now" if len(files) == 1 else "they are now"


def _sentence(error: MockupError, about: frozenset[Path]) -> str:
    """What is wrong first, told once though many parts of the scene come upon it."""
    told = list(dict.fromkeys((p.found, p.fix) for p in error.problems))
    found, fix = told[0]
    for file in about:
        found = found.removeprefix(f"{file.name}: ")
    return " ".join(filter(None, [found, fix, f"(And {len(told) - 1} more.)" if len(told) > 1 else ""]))
