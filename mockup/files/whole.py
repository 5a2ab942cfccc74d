"""Reading and writing whole files: a file is there complete, or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import stat
from collections.abc import Mapping
from pathlib import Path

from mockup.errors import MockupError

__all__ = ["file_error", "read_bytes", "sha256", "write_all", "write_whole"]


def sha256(data: bytes) -> str:
    """SHA-256 of ``data`` as 64 hexadecimal digits (FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


def read_bytes(path: Path, *, limit: int) -> bytes:
    """All bytes of a file of at most ``limit`` bytes.

    Raises MockupError when the file is missing, a folder, not an ordinary
    file, not readable, or larger than ``limit``.
    """
    path = Path(path)
    try:
        # Ask before opening: opening a pipe would wait for ever.
        _check_readable(path, os.stat(_sayable(path)), limit)
        with open(path, "rb") as file:
            data = file.read(limit + 1)
    except OSError as error:
        raise file_error(error, path, writing=False) from None
    if len(data) > limit:
        raise _too_large(path, len(data), limit)
    return data


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that it appears complete or not at all.

    Missing folders are made. An existing file is replaced and keeps its
    permissions; a symbolic link keeps pointing at the file it names. Raises
    MockupError when the folder cannot be written, the target is a folder, or
    the disk is full; then nothing is left behind and an older file is intact.
    """
    write_all({Path(path): data})


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write several files so that all appear or none do.

    Every file is first written under a temporary name beside its target and
    flushed to the disk; only then are the names changed. When a change of
    name fails, those before it are taken back. Raises as ``write_whole``.
    """
    targets = {Path(os.path.realpath(_sayable(path))): (Path(path), data) for path, data in files.items()}
    if len(targets) != len(files):
        raise ValueError("the same file is named twice")
    waiting: dict[Path, Path] = {}   # target -> its temporary
    older: dict[Path, Path] = {}     # target -> what it held before
    named: list[Path] = []
    made: list[Path] = []            # folders, outermost first
    shown = Path()
    try:
        for target, (shown, data) in targets.items():
            if target.is_dir():
                raise IsADirectoryError(errno.EISDIR, "is a directory")
            _make_folder(target.parent, made)
            waiting[target] = beside = _beside(target)
            _write(beside, data, like=target)
        for target, (shown, _) in targets.items():
            if len(targets) > 1 and target.exists():
                older[target] = _beside(target)
                _keep(target, older[target])
            os.replace(waiting[target], target)
            named.append(target)
        for folder in {target.parent for target in targets}:
            _flush_folder(folder)
    except BaseException as error:  # an interrupt must not leave half a file either
        for target in reversed(named):
            if target in older:
                os.replace(older.pop(target), target)
            else:
                target.unlink(missing_ok=True)
        _remove(waiting.values())
        for folder in reversed(made):
            try:
                folder.rmdir()
            except OSError:
                pass
        if isinstance(error, OSError):
            raise file_error(error, shown, writing=True) from None
        raise
    finally:
        _remove(older.values())


def file_error(error: OSError, path: Path, *, writing: bool) -> MockupError:
    """What an error of the operating system means to the person at the bench."""
    code = error.errno
    where = str(path)
    if code in (errno.ENOSPC, getattr(errno, "EDQUOT", None), errno.EFBIG):
        return MockupError("The disk is full, so nothing was written.",
                           fix="Free some space or choose another folder.", where=where)
    if writing and code in (errno.EACCES, errno.EPERM, errno.EROFS):
        return MockupError(f'The folder "{_parent(path)}" cannot be written to.',
                           fix="Choose another folder, or allow writing there.", where=where)
    if code in (errno.EACCES, errno.EPERM):
        return MockupError("This file may not be read.", fix="Allow reading it, or copy it to a folder of yours.",
                           where=where)
    if code == errno.EISDIR:
        return MockupError("This is a folder, not a file.",
                           fix="Add a file name to it." if writing else "Name a file in it.", where=where)
    if code in (errno.ENOTDIR, errno.EEXIST) and writing:
        return MockupError("A part of this path is a file, not a folder.", fix="Choose another folder.", where=where)
    if code in (errno.ENOENT, errno.ENOTDIR):
        return MockupError("There is no such file.", fix="Check the name and the folder.", where=where)
    if code in (errno.ENAMETOOLONG, errno.EINVAL, errno.ELOOP):
        return _unusable(path)
    reason = error.strerror or type(error).__name__
    verb = "written" if writing else "read"
    return MockupError(f"This file could not be {verb} ({reason}).", fix="Choose another place or try again.",
                       where=where)


def _sayable(path: Path) -> Path:
    """``path``, when the system can be asked for it at all."""
    if "\0" in str(path):
        raise _unusable(path)
    return Path(path)


def _unusable(path: Path) -> MockupError:
    return MockupError("This is not a usable file name.", fix="Choose a shorter, plain name.", where=str(path))


def _check_readable(path: Path, status: os.stat_result, limit: int) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise IsADirectoryError(errno.EISDIR, "is a directory")
    if not stat.S_ISREG(status.st_mode):
        raise MockupError("This is not an ordinary file.", fix="Name a file on a disk.", where=str(path))
    if status.st_size > limit:
        raise _too_large(path, status.st_size, limit)


def _too_large(path: Path, size: int, limit: int) -> MockupError:
    return MockupError(f"This file has {size / 1e6:.1f} MB; at most {limit / 1e6:g} MB are read.",
                       fix="Use a smaller one.", where=str(path))


def _parent(path: Path) -> Path:
    """The nearest folder above ``path`` that is there."""
    for folder in Path(os.path.abspath(path)).parents:
        if folder.is_dir():
            return folder
    return Path(os.path.abspath(path)).parent


def _make_folder(folder: Path, made: list[Path]) -> None:
    """Make ``folder`` and those above it that are missing; note each in ``made``."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for folder in reversed(missing):
        os.mkdir(folder)
        made.append(folder)


def _beside(target: Path) -> Path:
    """A new hidden name in the folder of ``target``: a rename across disks would not be whole."""
    return target.with_name(f".{target.name[:80]}.{secrets.token_hex(6)}.part")


def _write(path: Path, data: bytes, *, like: Path) -> None:
    # 0o666 less the umask, as an ordinary file; tempfile would make it private.
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666), "wb") as file:
        file.write(data)
        file.flush()
        if hasattr(os, "fchmod") and like.exists():
            os.fchmod(file.fileno(), stat.S_IMODE(like.stat().st_mode))
        os.fsync(file.fileno())


def _keep(target: Path, aside: Path) -> None:
    """A second name for what ``target`` holds, or a copy where the disk knows no second names."""
    try:
        os.link(target, aside)
    except OSError:
        shutil.copy2(target, aside)


def _flush_folder(folder: Path) -> None:
    """Make the new names last through a power cut, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _remove(paths) -> None:
    for path in paths:
        try:
            path.unlink(missing_ok=True)
        except OSError:
            pass
