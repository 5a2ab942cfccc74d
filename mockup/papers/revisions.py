"""Revisions of one variant kept in a folder, and what changed from one to the next, in words and as a map of ΔE00."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from ..colour.difference import ciede2000
from ..colour.spaces import srgb8_to_lab
from ..errors import MockupError
from ..files.photo import photo_size
from ..files.picture import encode_picture
from ..files.whole import read_bytes
from ..render.colours import colours
from ..render.kept import Kept
from ..render.picture import picture, scene_box
from ..scene.values import Scene
from .approval import approval_notes
from .changes import Change, changes
from .record import fingerprint, make_record, pixel_hash, read_record, record_bytes

__all__ = ["Difference", "Revision", "difference", "difference_map", "kept_revisions", "ramp", "revision_of", "revision_words"]

SIDE_PIXELS = 900.0  # of the longer side of a kept picture
LARGEST_PICTURE = 30_000_000  # bytes
MOST_PIXELS = 20_000_000
SEEN = 2.0           # ΔE00 above which a change is told to be seen
STOPS = ((0.0, (246, 246, 246)), (1.0, (232, 232, 228)), (3.0, (250, 214, 120)), (6.0, (228, 110, 40)), (10.0, (140, 20, 30)))


@dataclass(frozen=True, eq=False)
class Revision:
    """One revision: its record and its picture, (H, W, 3) uint8 sRGB. ``number`` counts from 1 in the order they were kept."""

    number: int
    label: str
    record: Mapping[str, Any]
    pixels: np.ndarray

    def files(self, stem: str) -> dict[str, bytes]:
        """Its two files, by name."""
        name = f"{stem}.revision-{self.number:02d}"
        return {f"{name}.json": record_bytes(dict(self.record)),
                f"{name}.png": encode_picture(self.pixels, ".png", px_per_mm=float(self.record["picture"]["scale"]))}


@dataclass(frozen=True, eq=False)
class Difference:
    """What changed between two revisions.

    apart  (H, W) float32, ΔE00 of each pixel; None when the two pictures are not of one size.
    mean, high, share  of the pixels: mean, 95th percentile, and the share above ΔE00 2.
    """

    words: tuple[str, ...]
    values: tuple[Change, ...]
    apart: np.ndarray | None
    mean: float
    high: float
    share: float


def kept_revisions(folder: Path, stem: str) -> tuple[Revision, ...]:
    """The revisions kept in a folder, first to last. MockupError for one that was edited or cannot be read."""
    found = []
    pattern = re.compile(re.escape(stem) + r"\.revision-(\d{2,4})\.json")
    names = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
    for name in names:
        if match := pattern.fullmatch(name):
            found.append(_read(folder, name, int(match[1])))
    return tuple(sorted(found, key=lambda r: r.number))


def _read(folder: Path, name: str, number: int) -> Revision:
    record = read_record(folder / name)
    if fingerprint(record) != record["fingerprint"]:
        raise MockupError("This kept revision was edited: it does not match its own fingerprint.",
                          fix="Put back the file as it was written, or take it out of the folder.", where=name)
    width, height = photo_size((folder / name).with_suffix(".png"))
    if width * height > MOST_PIXELS:
        raise MockupError("The picture of this kept revision is too large.", fix="Put back the picture as it was written.",
                          where=Path(name).with_suffix(".png").name)
    data = read_bytes((folder / name).with_suffix(".png"), limit=LARGEST_PICTURE)
    read = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if read is None or pixel_hash(pixels := np.ascontiguousarray(read[..., ::-1])) != record["picture"]["sha256"]:
        raise MockupError("The picture of this kept revision is not the one its record names.",
                          fix="Put back the picture as it was written.", where=Path(name).with_suffix(".png").name)
    return Revision(number, str(record.get("revision") or number), record, pixels)


def revision_of(scene: Scene, before: Sequence[Revision], *, folder: Path, stem: str, today: str, side: str = "front",
                kept: Kept | None = None) -> tuple[Revision, bool]:
    """The scene's present revision and whether it is new: the last one kept when nothing changed since.

    MockupError when something changed but the scene's revision is still called as the last one.
    """
    kept = Kept() if kept is None else kept
    box = scene_box(scene, side)
    scale = int(min(SIDE_PIXELS / max(box[2] - box[0], box[3] - box[1]), 4.0) * 100) / 100
    made = picture(scene, side=side, scale=scale, kept=kept)
    number = before[-1].number + 1 if before else 1
    record = make_record(scene, made, colours(scene, kept=kept), side=side, today=today, notes=approval_notes(scene, made.notes),
                         folder=folder, image=f"{stem}.revision-{number:02d}.png", at=(0, 0))
    now = Revision(number, scene.revision or str(number), record, made.pixels)
    if not before:
        return now, True
    last = before[-1]
    same = last.record["picture"]["sha256"] == record["picture"]["sha256"] and not _values(last.record, record)
    if same and last.record.get("revision", "") == scene.revision:
        return last, False
    if scene.revision and any(r.record.get("revision") == scene.revision for r in before):
        raise MockupError(f'Revision "{scene.revision}" was kept on {last.record.get("date", "another day")} and has changed since.',
                          fix="Give the scene its next revision: [scene] revision.", where=scene.file.name)
    return now, True


def _values(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Change, ...]:
    plain = json.loads(json.dumps([before["resolved"], now["resolved"]]))
    return tuple(c for c in changes(*plain) if c.path not in ("scene.revision", "scene.date"))


def difference(before: Revision, now: Revision) -> Difference:
    """What changed from one revision to another."""
    values = _values(before.record, now.record)
    if before.pixels.shape != now.pixels.shape:
        return Difference(revision_words(before.record, now.record), values, None, 0.0, 0.0, 0.0)
    apart = _apart(before.pixels, now.pixels)
    return Difference(revision_words(before.record, now.record), values, apart, float(apart.mean()), float(np.percentile(apart, 95)),
                      float((apart > SEEN).mean()))


def _apart(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """ΔE00 of each pixel, a little blurred: dither is not a change."""
    labs = [srgb8_to_lab(cv2.blur(p, (3, 3))) for p in (a, b)]
    return ciede2000(*labs).astype(np.float32)


def ramp(apart: np.ndarray) -> np.ndarray:
    """ΔE00 as a colour, (..., 3) uint8: pale grey where nothing is seen, yellow at 3, orange at 6, dark red at 10 and over."""
    at, colour = np.array([s[0] for s in STOPS]), np.array([s[1] for s in STOPS], float)
    return np.rint(np.stack([np.interp(apart, at, colour[:, k]) for k in range(3)], axis=-1)).astype(np.uint8)


def difference_map(found: Difference) -> np.ndarray | None:
    """The map of ΔE00 as a picture; None when there is none."""
    return None if found.apart is None else ramp(found.apart)


def revision_words(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[str, ...]:
    """What changed, one sentence each, in a maker's words: finishes whole, other values by name."""
    a, b = before["resolved"], now["resolved"]
    told: list[str] = []
    parts_a, parts_b = a.get("parts", {}), b.get("parts", {})
    title = {name: part.get("title", name) for name, part in {**parts_a, **parts_b}.items() if isinstance(part, Mapping)}
    for name in parts_b:
        if name in parts_a and parts_a[name].get("finish") != parts_b[name].get("finish"):
            told.append(f"{title[name]}: {_finish_words(parts_b[name].get('finish', []))}; before: {_finish_words(parts_a[name].get('finish', []))}.")
    for c in _values(before, now):
        keys = c.path.split(".")
        if keys[0] == "parts" and len(keys) > 2 and keys[2] == "finish":
            continue
        if keys[0] == "parts" and len(keys) > 1:
            what = f"{title.get(keys[1], keys[1])}, {' '.join(keys[2:]).replace('_', ' ')}" if len(keys) > 2 else title.get(keys[1], keys[1])
        else:
            what = " ".join(keys).replace("_", " ").capitalize()
        told.append(f"{what}: {c.after}; before: {c.before}.")
    changed = [n for n in sorted({*before["inputs"], *now["inputs"]}) if before["inputs"].get(n) != now["inputs"].get(n)
               and ":" not in n and not n.endswith(".toml")]  # stains and films are told with the finish
    told += [f'File "{n}": {"new" if n not in before["inputs"] else "no longer used" if n not in now["inputs"] else "changed"}.' for n in changed]
    return tuple(told) or ("Nothing that shows.",)


def _finish_words(steps: Sequence[Mapping[str, Any]]) -> str:
    said = []
    for step in steps:
        name = next(iter(step), "")
        value = step.get(name)
        strength = step.get("strength")
        share = f" at {float(strength) * 100:.0f} %" if isinstance(strength, (int, float)) and strength != 1 else ""
        if name == "coat":
            said.append(f"{step.get('coats', 1)} coat{'' if step.get('coats') == 1 else 's'} of {value}")
        elif isinstance(value, str):
            said.append(f"{value}{'' if name == 'stain' else ' ' + name.replace('_', ' ')}{share}")
        else:
            said.append(f"{name.replace('_', ' ')}{f' {value:g}' if isinstance(value, (int, float)) else ''}{share}")
    return ", ".join(said) or "bare"
