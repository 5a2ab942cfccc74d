"""One open scene: its text, every change of it and the way back, and its file on disk."""

from __future__ import annotations

import json
import threading
import tomllib
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..errors import MockupError
from ..files.whole import read_bytes, sha256, write_whole
from ..scene.load import scene_of_text
from ..scene.text import LIMIT
from ..scene.values import Scene

__all__ = ["Change", "Conflict", "Document"]

MOST_STEPS = 400    # of the way back
MOST_SCENES = 24    # checked scenes held by their text
JOURNAL_LIMIT = 4_000_000


@dataclass(frozen=True)
class Change:
    """A change somebody wants.

    words   what it does, as "Top: honey at 60 %".
    target  what it changes; two tabs that change the same one may disagree.
    text    the file's text to the changed one.
    quick   the checked scene to the changed one, where that needs no reading of the whole file; else None.
    """

    words: str
    target: str
    text: Callable[[str], str]
    quick: Callable[[Scene], Scene] | None = None


class Conflict(Exception):
    """The same thing was changed in another tab since this one looked."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


@dataclass
class _Step:
    before: str
    after: str
    words: str
    target: str
    tab: str
    gesture: str | None


@dataclass
class _Known:
    """A scene by its text; ``exact`` when the whole file was checked for it, not only what changed."""

    scene: Scene | None
    error: MockupError | None
    exact: bool


@dataclass
class Document:
    """A scene being worked on. Safe to share between threads; ``version`` grows with every change.

    file     where it is saved.
    journal  where unsaved text is kept, beside it; None when it cannot be.
    builtin  True while ``file`` is one of the program's own, which are not written to.
    """

    file: Path
    journal: Path | None
    builtin: bool = False
    text: str = ""
    version: int = 1
    disk: str = ""                   # SHA-256 of the file as last read or written
    strange: str | None = None       # SHA-256 of the file as somebody else has written it since
    saved: str = ""                  # the text as it stands in the file
    found: str | None = None         # unsaved text of an earlier bench
    _earlier: list[str] = field(default_factory=list)  # and of those before it that nobody has answered for
    unsafe: str = ""                 # why the journal could not be written
    _undo: list[_Step] = field(default_factory=list)
    _redo: list[_Step] = field(default_factory=list)
    _touched: dict[str, tuple[int, str]] = field(default_factory=dict)
    _known: OrderedDict[str, _Known] = field(default_factory=OrderedDict)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _reading: threading.RLock = field(default_factory=threading.RLock)
    _listeners: list[Callable[[], None]] = field(default_factory=list)

    @classmethod
    def open(cls, file: Path, *, builtin: bool = False, journal_folder: Path | None = None) -> Document:
        """The document of a scene file; MockupError when it cannot be read. A scene with mistakes opens, and says them."""
        data = read_bytes(file, limit=LIMIT)
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            raise MockupError("The file is not UTF-8 text.", fix="Save it as UTF-8.", where=file.name) from None
        made = cls(file, (journal_folder or file.parent) / f".{file.stem}.bench", builtin, text, disk=sha256(data), saved=text)
        made._find_journal()
        return made

    # -- the scene -------------------------------------------------------------

    def scene(self, *, exact: bool = False, text: str | None = None) -> Scene:
        """The scene as the text stands; MockupError with every problem when it has some.

        exact  the whole file is checked, not only what was changed on the page: papers need that.
        """
        text = self.text if text is None else text
        if (known := self._held(text, exact)) is None:
            with self._reading:  # two that want the same one read it once
                if (known := self._held(text, exact)) is None:
                    try:
                        known = _Known(scene_of_text(text, self.file), None, True)
                    except MockupError as error:
                        known = _Known(None, error, True)
                    self._remember(text, known)
        if known.scene is None:
            assert known.error is not None
            raise known.error
        return known.scene

    def _held(self, text: str, exact: bool) -> _Known | None:
        with self._lock:
            known = self._known.get(text)
            if known is None or exact and not known.exact:
                return None
            self._known.move_to_end(text)
            return known

    def forget(self) -> None:
        """What could not be read may be read now: one of the files it wants is there."""
        with self._lock:
            for text in [t for t, known in self._known.items() if known.scene is None]:
                del self._known[text]

    def _remember(self, text: str, known: _Known) -> None:
        with self._lock:
            self._known[text] = known
            self._known.move_to_end(text)
            while len(self._known) > MOST_SCENES:
                self._known.popitem(last=False)

    # -- changes ---------------------------------------------------------------

    def edit(self, change: Change, *, tab: str, base: int, gesture: str | None = None) -> int:
        """Make a change and give the new version.

        tab      who asks; ``base`` the version it saw.
        gesture  a name for one movement of the hand: its changes are one step of the way back.

        MockupError when the scene would have a problem it does not have now,
        Conflict when another tab has changed the same thing since ``base``.
        """
        with self._reading, self._lock:  # in this order, as when a scene is read
            when, who = self._touched.get(change.target, (0, tab))
            if when > base and who != tab:
                raise Conflict("This was changed in another tab meanwhile. What you see now is how it stands.")
            after = change.text(self.text)
            if after == self.text:
                return self.version
            known = self._known.get(self.text)
            if change.quick is not None and known is not None and known.scene is not None:
                self._remember(after, _Known(_saying(change.quick(known.scene), after), None, False))
            elif after not in self._known:
                self.scene(text=after)  # raises, and nothing has changed
            last = self._undo[-1] if self._undo else None
            if gesture and last and last.gesture == gesture and last.tab == tab and last.target == change.target and not self._redo:
                last.after, last.words = after, change.words
            else:
                self._undo.append(_Step(self.text, after, change.words, change.target, tab, gesture))
                del self._undo[:-MOST_STEPS]
            self._redo.clear()
            return self._stand(after, change.target, tab)

    def undo(self, tab: str) -> str:
        """Take the last change back and say what it was; '' when there is none."""
        return self._move(self._undo, self._redo, lambda s: s.before, tab)

    def redo(self, tab: str) -> str:
        """Make the change last taken back again."""
        return self._move(self._redo, self._undo, lambda s: s.after, tab)

    def _move(self, source: list[_Step], target: list[_Step], text: Callable[[_Step], str], tab: str) -> str:
        with self._lock:
            if not source:
                return ""
            step = source.pop()
            target.append(step)
            self._stand(text(step), step.target, tab)
            return step.words

    def _stand(self, text: str, target: str, tab: str) -> int:
        self.text = text
        self.version += 1
        self._touched[target] = (self.version, tab)
        self._write_journal()
        for told in list(self._listeners):
            told()
        return self.version

    def listen(self, told: Callable[[], None]) -> Callable[[], None]:
        """Call ``told`` after every change; gives what ends that."""
        self._listeners.append(told)
        return lambda: self._listeners.remove(told) if told in self._listeners else None

    @property
    def steps(self) -> tuple[str | None, str | None]:
        """What undo and redo would do, in words; None for nothing."""
        with self._lock:
            return (self._undo[-1].words if self._undo else None, self._redo[-1].words if self._redo else None)

    @property
    def dirty(self) -> bool:
        """Whether anything is not in the file."""
        return self.text != self.saved

    # -- the file --------------------------------------------------------------

    def save(self, *, over: bool = False) -> None:
        """Write the file, whole or not at all. MockupError when somebody else has changed it and ``over`` is not set."""
        with self._lock:
            self.look()
            if self.strange is not None and not over:
                raise MockupError("The file was changed by another program since it was read.",
                                  fix="Choose whether to keep yours or to take the file as it stands.", where=self.file.name)
            data = self.text.encode("utf-8")
            write_whole(self.file, data)
            self.disk, self.saved, self.strange, self.unsafe = sha256(data), self.text, None, ""
            self._write_journal()
            self.tell()

    def move_to(self, file: Path, *, builtin: bool = False) -> None:
        """Go on with a copy of the scene that lies elsewhere, whose text is the saved one."""
        with self._lock:
            self._drop_journal()
            self.file, self.builtin = file, builtin
            self.journal = file.parent / f".{file.stem}.bench"
            self.disk, self._known = sha256(read_bytes(file, limit=LIMIT)), OrderedDict()
            self._write_journal()

    def look(self) -> bool:
        """Whether the file has been changed by somebody else since it was last looked at.

        Where nothing was unsaved its text is taken up at once, as a step that can be undone.
        """
        with self._lock:
            try:
                data = read_bytes(self.file, limit=LIMIT)
                now = sha256(data)
                text = data.decode("utf-8")
            except (MockupError, UnicodeDecodeError):
                now, text = "gone", None
            if now == self.disk:
                changed, self.strange = self.strange is not None, None
            elif now == self.strange:
                return False
            else:
                self.strange, changed = now, True
                if text is not None and text == self.text:
                    self.disk, self.saved, self.strange = now, text, None
                elif text is not None and not self.dirty:
                    self._take(text, now)
            if changed:
                self.tell()
            return changed

    def take_file(self, tab: str) -> None:
        """Go on with the file as it stands on disk; the way back leads to what was here."""
        with self._lock:
            data = read_bytes(self.file, limit=LIMIT)
            try:
                text = data.decode("utf-8")
            except UnicodeDecodeError:
                raise MockupError("The file is not UTF-8 text.", fix="Save it as UTF-8.", where=self.file.name) from None
            self._take(text, sha256(data), tab)

    def _take(self, text: str, digest: str, tab: str = "") -> None:
        self._undo.append(_Step(self.text, text, "the file as changed on disk", "file", tab, None))
        self._redo.clear()
        self.disk, self.saved, self.strange = digest, text, None
        self._known.pop(text, None)
        self._stand(text, "file", tab)

    @property
    def texts(self) -> set[str]:
        """The text as it stands, and those whose scenes are held."""
        with self._lock:
            return {self.text, *self._known}

    def read_anew(self, check: Callable[[Scene], None]) -> MockupError | None:
        """Read the scene's other files anew. Where that can be done, and ``check`` raises nothing, all that was read of them before is
        forgotten; else it stays, and the error is given."""
        with self._reading:  # nothing is read of the old files that could be remembered after this
            text = self.text
            try:
                known = _Known(scene_of_text(text, self.file), None, True)
                assert known.scene is not None
                check(known.scene)
            except MockupError as error:
                with self._lock:
                    self.forget()
                    if text not in self._known:
                        self._remember(text, _Known(None, error, True))
                return error
            with self._lock:
                self._known.clear()
                self._remember(text, known)
            return None

    def tell(self) -> None:
        """Give the document another version, and tell all that listen."""
        with self._lock:
            self.version += 1
            for told in list(self._listeners):
                told()

    # -- what a crash would lose -----------------------------------------------

    def take_found(self, tab: str) -> None:
        """Go on with the unsaved text of an earlier bench."""
        with self._lock:
            texts, self.found, self._earlier = self._left, None, []
            for text in texts:
                self._undo.append(_Step(self.text, text, "what was not saved", "file", tab, None))
                self._stand(text, "file", tab)

    def drop_found(self) -> None:
        """Leave the unsaved text of an earlier bench."""
        with self._lock:
            self.found, self._earlier = None, []
            self._write_journal()
            self.tell()

    def _find_journal(self) -> None:
        assert self.journal is not None
        if not self.journal.is_file():
            return
        try:
            kept: Any = json.loads(read_bytes(self.journal, limit=JOURNAL_LIMIT))
            texts = [*kept.get("earlier", []), kept["text"]]
        except (MockupError, ValueError, KeyError, TypeError, AttributeError):
            return
        texts = [text for text in texts if isinstance(text, str) and text != self.text]
        if texts:
            *self._earlier, self.found = texts

    @property
    def _left(self) -> list[str]:
        """What earlier benches left, the oldest first."""
        return [] if self.found is None else [*self._earlier, self.found]

    def _write_journal(self) -> None:
        if self.journal is None:
            return
        # What an earlier bench left stays until somebody has chosen; what is done meanwhile is kept beside it.
        texts = [*self._left, *([self.text] if self.dirty else [])]
        if not texts:
            self._drop_journal()
            return
        try:
            write_whole(self.journal, json.dumps({"about": "unsaved work of mockup bench", "file": self.file.name, "disk": self.disk,
                                                  "text": texts[-1], "earlier": texts[:-1]}, ensure_ascii=False).encode("utf-8"))
            self.unsafe = ""
        except MockupError as error:
            self.unsafe = f"{error.problems[0].found} Until you save, what you do here is not kept safe."

    def _drop_journal(self) -> None:
        if self.journal is not None:
            try:
                self.journal.unlink(missing_ok=True)
            except OSError:
                pass


def _saying(scene: Scene, text: str) -> Scene:
    """A scene that was changed without reading its file, its variants' changes as the file now has them."""
    raw = tomllib.loads(text.removeprefix("\ufeff")).get("variants", {})
    variants = tuple(replace(v, changes=MappingProxyType(raw[v.name].get("set", {}))) for v in scene.variants)
    views: dict[str, Scene] = {}
    shared = MappingProxyType(views)
    for v in variants:
        views[v.name] = replace(scene.views[v.name], variant=v, variants=variants, views=shared)
    return replace(scene, variants=variants, views=shared)

