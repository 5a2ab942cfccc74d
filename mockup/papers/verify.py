"""What, if anything, has changed since an approval: its record against the same picture made again."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .. import __version__
from ..colour.difference import ciede2000
from ..colour.spaces import srgb8_to_lab
from ..errors import MockupError
from ..files.photo import photo_size
from ..files.whole import read_bytes
from ..render.canvas import MAX_PIXELS
from ..render.colours import colours
from ..render.kept import Kept
from ..render.picture import picture
from ..scene.load import load_scene
from ..scene.places import builtin_scenes
from ..scene.values import Scene
from .changes import Change, changes
from .record import comparisons_intact, file_hash, fingerprint, input_hashes, is_relative, pixel_hash, read_record, scene_path

__all__ = ["Change", "Findings", "PixelChange", "approved_pixels", "verify"]

MOST_TOLD = 20
LARGEST_PICTURE = 1_000_000_000  # bytes


@dataclass(frozen=True, slots=True)
class PixelChange:
    """How the picture made again differs from the approved one.

    total, differ  pixels in all, and how many have another code; ``differ`` is None when the approved picture is not there to
                   compare with, or is itself not the approved one.
    mean, most     CIEDE2000 over the pixels that differ.
    """

    total: int
    differ: int | None
    mean: float
    most: float


@dataclass(frozen=True, slots=True)
class Findings:
    """What has changed since a record was written; nothing, when ``unchanged``.

    edited   the record does not match its own fingerprint.
    scene    why the scene cannot be read or drawn now, "" when it can.
    inputs   name of each input that is not as it was: "changed", "missing" or "new".
    values   resolved values of the recipe that differ.
    targets  colours that differ.
    version  of this program, then and now, when they differ.
    pixels   None when they are the same, or could not be made.
    image    what is wrong with the approval picture beside the record, "" when it shows what was approved.
    count    pixels compared, 0 when they could not be made.
    """

    edited: bool
    scene: str
    inputs: Mapping[str, str]
    values: tuple[Change, ...]
    targets: tuple[Change, ...]
    version: tuple[str, str] | None
    pixels: PixelChange | None
    image: str
    count: int

    @property
    def unchanged(self) -> bool:
        return not (self.edited or self.scene or self.inputs or self.values or self.targets or self.version or self.pixels
                    or self.image)

    def lines(self) -> list[str]:
        """The findings in words, one sentence a line."""
        if self.unchanged:
            return [f"Nothing changed: inputs, recipe, version and all {self.count} pixels are as approved."]
        said = []
        if self.edited:
            said.append("The record was edited: it does not match its own fingerprint.")
        said += [f'Input "{name}": {what}.' for name, what in self.inputs.items()]
        if self.scene:
            said.append(f"The picture cannot be made again. {self.scene}")
        said += _told("Recipe", self.values) + _told("Colour", self.targets)
        if self.version:
            said.append(f"Version: {self.version[0]} then, {self.version[1]} now.")
        if self.pixels:
            said.append(_pixel_words(self.pixels))
        elif self.count:
            said.append(f"Pixels: all {self.count} are as approved.")
        if self.image:
            said.append(self.image)
        return said


def _told(kind: str, found: tuple[Change, ...]) -> list[str]:
    said = [f"{kind} {c.path}: {c.before} before, {c.after} now." for c in found[:MOST_TOLD]]
    return said + ([f"{kind}: {len(found) - MOST_TOLD} more."] if len(found) > MOST_TOLD else [])


def _pixel_words(pixels: PixelChange) -> str:
    if pixels.differ is None:
        return f"Pixels: the {pixels.total} are not all as approved; how many differ cannot be said without the approved picture."
    return (f"Pixels: {pixels.differ} of {pixels.total} differ, by ΔE00 {pixels.mean:.2f} on average and {pixels.most:.2f} at most.")


def verify(record_path: Path, scene: Path | str | None = None, *, kept: Kept | None = None,
           report: Callable[[float], None] | None = None) -> Findings:
    """Make the approved picture again and compare everything with the record.

    scene   a scene file or built-in name to compare with; None for the one the record names.
    report  hears the share done, 0..1.

    Raises MockupError when the file is no record of an approval, or there is
    no scene; whatever else is wrong is a finding.
    """
    record_path = Path(record_path)
    record = read_record(record_path)
    folder = record_path.absolute().parent
    try:
        named = scene_path(record, folder) if scene is None else scene if str(scene) in builtin_scenes() else Path(scene)
    except MockupError as error:
        raise error.within(record_path.name) from None
    # A named scene that is not there at all is a mistake of the person, not a change.
    if isinstance(named, Path) and not named.exists():
        raise MockupError(f'There is no scene "{named.name}".', fix="Check the path.")

    edited = record["fingerprint"] != fingerprint(record) or not comparisons_intact(record)
    version = (record["version"], __version__) if record["version"] != __version__ else None
    approved, image = approved_pixels(record, folder)
    try:
        loaded = load_scene(named).with_variant(record["variant"])
    except MockupError as error:
        return Findings(edited, str(error), _inputs_of_broken(record, named), (), (), version, None, image, 0)
    inputs = _input_changes(record["inputs"], input_hashes(loaded))
    values = changes(record["resolved"], _plain(loaded.resolved))
    return _with_pixels(record, loaded, Findings(edited, "", inputs, values, (), version, None, image, 0), approved, kept, report)


def _with_pixels(record: dict[str, Any], scene: Scene, findings: Findings, approved: np.ndarray | None, kept: Kept | None,
                 report: Callable[[float], None] | None) -> Findings:
    told, kept = report or (lambda share: None), Kept() if kept is None else kept
    wanted = record["picture"]
    try:
        made = picture(scene, side=wanted["side"], scale=float(wanted["scale"]), kept=kept, report=lambda share: told(0.7 * share))
        found = colours(scene, kept=kept)
    except MockupError as error:
        return replace(findings, scene=str(error))
    told(0.9)
    changed, total = None, made.pixels.shape[0] * made.pixels.shape[1]
    if pixel_hash(made.pixels) != wanted["sha256"]:
        changed = _pixel_change(made.pixels, approved)
    before = {c.get("part"): c for c in record["colours"] if isinstance(c, dict) and isinstance(c.get("part"), str)}
    after = {c.part: _plain(asdict(c)) for c in found}
    keys = ("bare_lab", "finished_lab", "spread", "basis", "error")
    told(1.0)
    return replace(findings, pixels=changed, count=total,
                targets=changes({p: {k: c.get(k) for k in keys} for p, c in before.items()},
                                 {p: {k: c[k] for k in keys} for p, c in after.items()}))


def _pixel_change(now: np.ndarray, before: np.ndarray | None) -> PixelChange:
    total = now.shape[0] * now.shape[1]
    if before is None or before.shape != now.shape:
        return PixelChange(total, None, 0.0, 0.0)
    where = (now != before).any(axis=2)
    # Few pairs of codes are met many times over: each is reckoned once.
    pairs = np.concatenate([before[where], now[where]], axis=1).astype(np.uint64)
    codes, counts = np.unique(pairs @ (np.uint64(256) ** np.arange(6, dtype=np.uint64)), return_counts=True)
    back = ((codes[:, None] >> (np.uint64(8) * np.arange(6, dtype=np.uint64))) & np.uint64(255)).astype(np.uint8)
    apart = ciede2000(srgb8_to_lab(back[:, :3]), srgb8_to_lab(back[:, 3:]))
    return PixelChange(total, int(where.sum()), float(np.average(apart, weights=counts)), float(apart.max()))


def approved_pixels(record: dict[str, Any], folder: Path) -> tuple[np.ndarray | None, str]:
    """The instrument's picture out of the approval picture, when that still shows what was approved; or what is wrong with it."""
    named, wanted = record["image"], record["picture"]
    name = named["file"]
    if not is_relative(name) or "/" in name:
        return None, "The record names no approval picture that can be used."
    path = folder / name
    try:
        size = photo_size(path)
        if size[0] * size[1] > MAX_PIXELS:
            return None, f'The approval picture "{name}" is too large to be read.'
        read = cv2.imdecode(np.frombuffer(read_bytes(path, limit=LARGEST_PICTURE), np.uint8), cv2.IMREAD_COLOR)
    except MockupError:
        missing = not path.exists()
        return None, f'The approval picture "{name}" is {"missing" if missing else "not a readable picture"}.'
    x, y = named["x"], named["y"]
    if read is not None and min(x, y) >= 0:
        cut = np.ascontiguousarray(read[y:y + wanted["height"], x:x + wanted["width"], ::-1])
        if pixel_hash(cut) == wanted["sha256"]:
            return cut, ""
    return None, f'The approval picture "{name}" does not show what the record says: one of the two was changed.'


def _input_changes(before: Mapping[str, Any], now: Mapping[str, str]) -> dict[str, str]:
    return {name: "new" if name not in before else "no longer used" if name not in now else "changed"
            for name in sorted({*before, *now}) if before.get(name) != now.get(name)}


def _inputs_of_broken(record: dict[str, Any], named: Path | str) -> dict[str, str]:
    """Inputs of the scene's own folder that are missing or changed, for a scene that cannot be read."""
    found: dict[str, str] = {}
    if not isinstance(named, Path):
        return found
    file = named if named.is_file() else named / "scene.toml"
    for name, digest in sorted(record["inputs"].items()):
        if not is_relative(name) or ".." in name:  # of a library, or of no scene
            continue
        path = file.parent / name
        try:
            if not path.is_file():
                found[name] = "missing"
            elif file_hash(path) != digest:
                found[name] = "changed"
        except MockupError:
            found[name] = "not readable"
    return found


def _plain(value: Any) -> Any:
    """As it comes back from JSON."""
    return json.loads(json.dumps(value))
