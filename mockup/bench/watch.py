"""Which of a scene's other files have been changed on disk: drawings, photos, what lies beside them, stains, the shop's values."""

from __future__ import annotations

import hashlib
import os
import stat
import threading
import tomllib
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import Any

__all__ = ["Watch", "files_named"]

MOST_NAMES, LONGEST = 2000, 400
BLOCK = 1 << 20

State = tuple[int, ...] | None


def files_named(text: str, file: Path) -> frozenset[Path]:
    """Every file of a scene's folder that its text may read or find beside another, whether it is there or not; not the scene itself.

    Any text of the scene that could be a file's name counts: one that is no file has no state, and costs one look.
    """
    return frozenset(file.parent / name for name in _names(text)) - {file}


@lru_cache(maxsize=64)
def _names(text: str) -> frozenset[str]:
    try:
        raw = tomllib.loads(text.removeprefix("\ufeff"))
    except (tomllib.TOMLDecodeError, RecursionError):
        return frozenset()
    found: set[str] = set()
    for said in _texts(raw):
        for name in (said, said.rpartition("#")[0]):
            if not 0 < len(name) <= LONGEST or name.startswith(("/", "~")) or "\\" in name or "\0" in name or ".." in name.split("/"):
                continue
            found.add(name)
            if suffix := PurePosixPath(name).suffix:
                # What may lie beside a board's picture: its measures, and the angle of its fibres.
                found |= {name.removesuffix(suffix) + more for more in (".toml", ".dip.png")}
        if len(found) > MOST_NAMES:
            break
    return frozenset(found)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from _texts(one)


class Watch:
    """Files as they were taken up. Safe to share between threads."""

    def __init__(self) -> None:
        self._taken: dict[Path, State] = {}
        self._content: dict[Path, str | None] = {}
        self._moving: dict[Path, State] = {}  # changed, and perhaps still being written
        self._lock = threading.Lock()

    def begin(self, paths: Iterable[Path]) -> None:
        """Take files up as they are now, where that was not done before."""
        with self._lock:
            for path in paths:
                if path not in self._taken:
                    self._taken[path] = _state(path)

    def look(self, paths: frozenset[Path], *, now: bool = False) -> tuple[Path, ...]:
        """Those of the files whose content is another than when they were taken up, which they are herewith.

        A file that is just being written waits until two looks in a row find it the same; with ``now`` it does not.
        One that is only copied over itself, or touched, is not changed.
        """
        self.begin(paths)
        changed = []
        with self._lock:
            for path in [p for p in self._taken if p not in paths]:
                for known in (self._taken, self._content, self._moving):
                    known.pop(path, None)
            for path in sorted(paths):
                state = _state(path)
                if state == self._taken[path]:
                    self._moving.pop(path, None)
                    if path not in self._content:
                        self._content[path] = _content(path)
                    continue
                if not now and self._moving.get(path, ()) != state:
                    self._moving[path] = state
                    continue
                self._moving.pop(path, None)
                content = _content(path)
                same = path in self._content and self._content[path] == content
                self._taken[path], self._content[path] = state, content
                if not same:
                    changed.append(path)
        return tuple(changed)


def _state(path: Path) -> State:
    """What tells a file from another in its place without reading it; None where there is no file."""
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return None
    if not stat.S_ISREG(found.st_mode):
        return None
    return found.st_mtime_ns, found.st_ctime_ns, found.st_size, found.st_ino


def _content(path: Path) -> str | None:
    """SHA-256 of a file; None for one that is not there, "" for one that cannot be read."""
    digest = hashlib.sha256()
    try:
        if _state(path) is None:
            return None
        with path.open("rb") as data:
            while block := data.read(BLOCK):
                digest.update(block)
    except OSError:
        return ""
    return digest.hexdigest()
