"""The record that goes with an approval: plain JSON that says what was approved, made from what.

Lengths are mm, colours CIE Lab D65. The fingerprint is the SHA-256 of the
record without it, as JSON with sorted keys and no blanks, in UTF-8. What is
added later, the ``comparisons`` with photographs of the finished wood, stands
outside it; each of them has a fingerprint of its own, which also covers the
one before it.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from .. import __version__
from ..errors import MockupError
from ..files.whole import file_error, read_bytes, sha256
from ..render.colours import PartColour
from ..render.picture import Picture
from ..scene.places import builtin_scenes
from ..scene.values import Scene

__all__ = ["COMPARISONS", "FORMAT", "KIND", "comparisons_intact", "file_hash", "fingerprint", "input_hashes", "is_relative",
           "make_record", "pixel_hash", "read_record", "record_bytes", "scene_name", "scene_path", "short", "with_comparison"]

KIND, FORMAT = "mockup approval", 1
COMPARISONS = "comparisons"
LARGEST = 20_000_000  # bytes of a record
AGAIN = "Take the record from where it was first saved."
LIBRARIES = ("numpy", "opencv-python-headless", "opencolorio")

# What a record must hold, and of which kind.
SHAPE: dict[str, type] = {"scene": dict, "variant": str, "inputs": dict, "picture": dict, "image": dict, "resolved": dict,
                          "colours": list, "version": str, "fingerprint": str}
PICTURE: dict[str, tuple[type, ...]] = {"side": (str,), "scale": (int, float), "width": (int,), "height": (int,), "sha256": (str,)}
IMAGE: dict[str, tuple[type, ...]] = {"file": (str,), "x": (int,), "y": (int,)}


def make_record(scene: Scene, picture: Picture, colours: Sequence[PartColour], *, side: str, today: str, notes: Sequence[str],
                folder: Path, image: str, at: tuple[int, int], choice: dict[str, Any] | None = None) -> dict[str, Any]:
    """The record of one variant, its fingerprint included.

    image, at  name of the approval picture, and the pixel at which the instrument's picture begins in it.
    choice     the client's own answer, where there is one: JSON-ready.
    """
    assert scene.variant is not None
    height, width = picture.pixels.shape[:2]
    record: dict[str, Any] = {
        "kind": KIND, "format": FORMAT, "version": __version__, "libraries": _libraries(),
        "scene": scene_name(scene, folder), "variant": scene.variant.name,
        "title": scene.title, "variant_title": scene.variant.title, "revision": scene.revision, "client": scene.client,
        "date": scene.date or today,
        "inputs": input_hashes(scene),
        "picture": {"side": side, "scale": picture.px_per_mm, "width": width, "height": height, "sha256": pixel_hash(picture.pixels)},
        "image": {"file": image, "x": at[0], "y": at[1]},
        "colours": [{**asdict(c), "area_mm2": round(c.area_mm2, 1)} for c in colours],
        "notes": list(notes),
        "resolved": scene.resolved,
    }
    if choice is not None:
        record["choice"] = choice
    record = json.loads(_canonical(record))  # tuples become lists, as they will be read back
    record["fingerprint"] = fingerprint(record)
    return record


def fingerprint(record: dict[str, Any]) -> str:
    """SHA-256 of what was approved: the record without its own fingerprint and later comparisons; 64 hexadecimal digits."""
    return sha256(_canonical({k: v for k, v in record.items() if k not in ("fingerprint", COMPARISONS)}))


def with_comparison(record: dict[str, Any], entry: dict[str, Any]) -> dict[str, Any]:
    """The record with one more comparison (JSON-ready), fingerprinted; what was approved is not touched."""
    before = record.get(COMPARISONS, [])
    entry = json.loads(_canonical(entry))
    last = before[-1]["fingerprint"] if before else record["fingerprint"]
    return {**record, COMPARISONS: [*before, {**entry, "fingerprint": _chained(entry, last)}]}


def comparisons_intact(record: dict[str, Any]) -> bool:
    """Whether the comparisons are as they were added, none left out between the first and the last."""
    last, found = record["fingerprint"], record.get(COMPARISONS, [])
    if not isinstance(found, list):
        return False
    for entry in found:
        if not isinstance(entry, dict) or entry.get("fingerprint") != _chained({k: v for k, v in entry.items() if k != "fingerprint"}, last):
            return False
        last = entry["fingerprint"]
    return True


def _chained(entry: dict[str, Any], last: str) -> str:
    return sha256(_canonical({"entry": entry, "after": last}))


def short(digest: str) -> str:
    """The first twelve digits of a fingerprint in threes of four, for paper."""
    return " ".join(digest[i:i + 4] for i in (0, 4, 8))


def _canonical(value: Any) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode("utf-8")


def record_bytes(record: dict[str, Any]) -> bytes:
    """The record as it is written: sorted, indented, UTF-8."""
    return (json.dumps(record, sort_keys=True, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def pixel_hash(rgb: np.ndarray) -> str:
    """SHA-256 of (H, W, 3) uint8 pixels, row by row from the top left, red first."""
    return hashlib.sha256(np.ascontiguousarray(rgb).data).hexdigest()


def input_hashes(scene: Scene) -> dict[str, str]:
    """SHA-256 of every file read for the scene, by the name the scene uses."""
    return {name: file_hash(path) for name, path in sorted(scene.sources.items())}


def file_hash(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise file_error(error, path, writing=False) from None


def _libraries() -> dict[str, str]:
    """Versions of what computes the pixels: said for information."""
    found = {}
    for name in LIBRARIES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not known"
    return found


def scene_name(scene: Scene, folder: Path) -> dict[str, str]:
    """How the record finds its scene again, without a path of this machine.

    A built-in scene by its name; a file from the record's own folder where one
    folder holds the other or both lie side by side; else the file's name alone.
    """
    if builtin_scenes().get(scene.name) == scene.file:
        return {"builtin": scene.name}
    home, here = scene.file.resolve(), Path(os.path.realpath(folder))
    for base in (here, here.parent):
        if home.is_relative_to(base):
            return {"file": Path(os.path.relpath(home, here)).as_posix()}
    if here.is_relative_to(home.parent):
        return {"file": Path(os.path.relpath(home, here)).as_posix()}
    return {"file": scene.file.name}


def scene_path(record: dict[str, Any], folder: Path) -> Path | str:
    """What a record calls its scene: the path from the record's ``folder``, or a built-in name.

    MockupError when it is not a name from that folder, or nothing is there.
    """
    named = record["scene"]
    if isinstance(name := named.get("builtin"), str):
        if name not in builtin_scenes():
            raise MockupError(f'There is no built-in scene "{name[:60]}".', fix="Name the scene file to compare with.")
        return name
    name = named.get("file")
    if not isinstance(name, str) or not is_relative(name):
        raise MockupError("The record names no scene file that can be used.", fix="Name the scene file to compare with.")
    path = folder / name
    if not path.is_file():
        raise MockupError(f'The scene "{name[:120]}" is not where the record says.',
                          fix="Put it back, or name the scene file to compare with.")
    return path


def is_relative(name: str) -> bool:
    """Whether a name leads from one folder to a file, on any system."""
    return 0 < len(name) < 1000 and not any(c in name for c in '\\:\0') and not name.startswith(("/", "~")) and \
        all(len(part) < 200 for part in name.split("/"))


def read_record(path: Path) -> dict[str, Any]:
    """A record from its file, its shape checked. MockupError, one sentence, when it is none."""
    data = read_bytes(path, limit=LARGEST)
    wrong = "Name the .json file that was written with the approval picture."
    try:
        record = json.loads(data.decode("utf-8"), parse_constant=_refused)
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise MockupError("This file is not JSON, so it is no record of an approval.", fix=wrong, where=Path(path).name) from None
    if not isinstance(record, dict) or record.get("kind") != KIND:
        raise MockupError("This file is JSON, but no record of an approval.", fix=wrong, where=Path(path).name)
    if record.get("format") != FORMAT:
        shown = json.dumps(record.get("format"))[:20]
        raise MockupError(f"The record has format {shown}, and this version reads {FORMAT}.",
                          fix="Use the version that wrote it.", where=Path(path).name)
    for name, kinds, table in (*((k, (v,), record) for k, v in SHAPE.items()),
                               *((k, v, record.get("picture")) for k, v in PICTURE.items()),
                               *((k, v, record.get("image")) for k, v in IMAGE.items())):
        value = table.get(name) if isinstance(table, dict) else None
        if not isinstance(value, kinds) or isinstance(value, bool):
            raise _unusable(name, path)
    picture = record["picture"]
    for name, value, low, high in (("scale", picture["scale"], 0.05, 100), ("width", picture["width"], 1, 10**6),
                                   ("height", picture["height"], 1, 10**6), ("x", record["image"]["x"], 0, 10**6),
                                   ("y", record["image"]["y"], 0, 10**6)):
        if not low <= value <= high:
            raise _unusable(name, path)
    if picture["side"] not in ("front", "back"):
        raise _unusable("side", path)
    try:
        _canonical(record)
    except (ValueError, RecursionError):  # an endless number, or half a character
        raise MockupError("The record holds a value that JSON has no place for.", fix=AGAIN, where=Path(path).name) from None
    return record


def _refused(constant: str) -> None:
    raise ValueError(f"{constant} is not JSON")


def _unusable(name: str, path: Path) -> MockupError:
    return MockupError(f'The record has no usable value for "{name}".', fix=AGAIN, where=Path(path).name)
