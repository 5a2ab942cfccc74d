"""A scene file to a frozen scene, all its problems told at once."""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..errors import MockupError, Problem
from ..outline.cut import width_at
from ..outline.shape import Shape
from .board import read_board
from .change import quoted_example, with_changes
from .desk import Desk
from .made import MAKES, NEEDS_NECK, WOODEN, Bench, bridge_kind, heel_line, made_shape, read_fitting
from .neck import Neck, read_neck
from .own import read_own
from .part import Cut, plain_part, read_outline_key, read_part
from .places import builtin_scenes
from .reader import Reader, clean, clean_path, offer, show
from .text import parse_toml, read_toml
from .values import BoardRef, Fitting, Part, Scene, Variant

__all__ = ["find_scene", "load_scene", "scene_of_text"]

MOST_PARTS, MOST_VARIANTS, MOST_BOARDS, MOST_CHANGES = 200, 64, 64, 200
MOST_TOLD = 40  # problems; more at once help nobody
GROUND = (88.0, 0.0, 0.0)
STANDS_ON = ("make", "outline", "strips", "height", "thickness", "side")  # what of a part below decides how a fitting lies on it


def load_scene(path_or_name: str | Path) -> Scene:
    """The scene in a TOML file, in a folder that holds scene.toml, or of a built-in name.

    Every value is checked, with every variant's changes in force too. Raises
    one MockupError whose problems read ``file: key.path: found what to do``.
    """
    file = find_scene(path_or_name)
    return _scene(read_toml(file), file)


def scene_of_text(text: str, file: Path) -> Scene:
    """The scene that ``file`` would hold with this text in it; as ``load_scene``, which reads what is there."""
    try:
        raw = parse_toml(text.encode("utf-8"))
    except MockupError as error:
        raise error.within(file.name, joint=": ") from None
    return _scene(raw, file.absolute())


def _name(file: Path) -> str:
    """What papers are called by: the file's name without ending, or, for ``scene.toml``, which says nothing, that of its folder."""
    if file.stem != "scene":
        return file.stem
    return re.sub(r"[^\w .-]+", "-", Path(os.path.abspath(file)).parent.name).strip(" .-")[:60] or file.stem


def _scene(raw: dict[str, Any], file: Path) -> Scene:
    desk = Desk(file.parent)
    base = _Check(raw, file, desk, None)
    problems = list(base.problems)
    variants = _variants(raw, problems)
    views: dict[str, Scene] = {}
    shared = MappingProxyType(views)
    for variant in variants:
        if len(problems) >= MOST_TOLD:
            break
        changed, errors = with_changes(raw, variant.changes)
        at = f"variants.{variant.name}"
        for path, error in errors.items():
            problems += error.within(f"{at}.set.{clean_path(path)}").problems
        check = _Check(changed, file, desk, variant)
        problems += _of_variant(check.problems, base.problems, variant, at)
        if check.scene:
            views[variant.name] = replace(check.scene, variants=variants, views=shared)
    if problems:
        raise _told(problems).within(file.name, joint=": ")
    assert base.scene is not None  # no problem noted, so every value was good
    return replace(base.scene, variants=variants, views=shared)


def _told(problems: list[Problem]) -> MockupError:
    unique = list(dict.fromkeys(problems))
    if len(unique) > MOST_TOLD:
        more = Problem(f"There are more problems, {len(unique) - MOST_TOLD} or over.", "Mend these first.")
        unique = [*unique[:MOST_TOLD], more]
    return MockupError.several(unique)


def find_scene(path_or_name: str | Path) -> Path:
    """The scene file meant by a path, a folder or a built-in name; a folder of one's own, such as the copy of a built-in scene, comes first."""
    text = str(path_or_name)
    if not text.strip() or "\0" in text:
        raise MockupError("No scene is named.", fix=f"Name a scene file. {offer('', builtin_scenes())}".strip())
    scenes = builtin_scenes() if isinstance(path_or_name, str) else {}
    path = Path(path_or_name)
    try:
        files = [p for p in (path / "scene.toml", path / f"{path.resolve().name}.toml") if p.is_file()] if path.is_dir() else []
        if not files and text in scenes:
            return scenes[text]
        if path.is_dir():
            if not files:
                raise MockupError(f'The folder "{clean(text, 200)}" holds no scene.toml.', fix="Name the scene file itself.")
            path = files[0]
        elif not path.exists():
            raise MockupError(f'There is no scene "{clean(text, 200)}".', fix=_instead(path, scenes))
    except OSError as error:
        raise MockupError(f'"{clean(text, 80)}" cannot be opened.', fix="Name a scene file.") from error
    return path.absolute()


def _instead(path: Path, scenes: Mapping[str, Path]) -> str:
    if path.suffix or path.parent != Path("."):
        beside = [p.name for p in sorted(path.parent.glob("*.toml"))[:200]] if path.parent.is_dir() else []
        return offer(path.name, beside) or "Check the path."
    return f"{offer(path.name, scenes)} Or give the path of a scene file."


class _Check:
    """One pass over the tables of a file; ``scene`` is None when anything was wrong."""

    def __init__(self, raw: Mapping[str, Any], file: Path, desk: Desk, variant: Variant | None) -> None:
        self.problems: list[Problem] = []
        self.sources: dict[str, Path] = {file.name: file}
        self.desk, self.file, self.variant = desk, file, variant
        root = Reader(raw, (), self.problems)
        root.raw("variants")
        head = root.table("scene")
        self.boards = {name: read_board(read, name, desk, self.sources)
                       for name, read in root.tables("boards", MOST_BOARDS, "board").items()}
        tables = root.tables("parts", MOST_PARTS, "part")
        names: dict[str, str] = {}
        for name, read in tables.items():  # pictures are named after parts, and some disks know no capitals
            if (other := names.setdefault(name.lower(), name)) != name:
                read.note("", f"It is named {show(name)}, and so is parts.{other}.", "Give each its own.")
        if not root.raw("boards") and not root.raw("parts"):
            root.note("", "The scene has no boards and no parts.", "Add [boards.NAME] and [parts.NAME].")
        elif not root.raw("parts"):
            root.note("parts", "The scene has no parts.", "Add at least one, as [parts.body].")
        self.scene = self._read(head, tables, root)
        root.close()
        if self.problems:
            self.scene = None

    def _read(self, head: Reader, tables: Mapping[str, Reader], root: Reader) -> Scene | None:
        self.desk.units = head.choice("units", ("mm", "inch"), "mm") if head.has("units") else None
        cuts = {name: self._cut(read) for name, read in tables.items()}
        drawn = [cut[2].bounds for cut in cuts.values() if cut]
        middle = (min(b[0] for b in drawn) + max(b[2] for b in drawn)) / 2 if drawn else 0.0
        title = head.text("title", _name(self.file).replace("-", " ").replace("_", " ").capitalize())
        revision = _revision(head)
        client, date = head.text("client", ""), head.date("date")
        hand = head.choice("hand", ("right", "left"), "right")
        centre = head.number("centre", -10_000, 10_000, round(middle, 4) + 0.0, unit="mm")
        ground = head.colour("ground", GROUND)
        head.close()
        neck: Neck | None = None
        self.neck_given, self.raw_neck = root.has("neck"), None
        if self.neck_given:
            neck = self._neck(root, centre)
        order: list[tuple[Part | Fitting, str]] = []
        self._order(tables, cuts, neck, centre, hand, order)
        if self.problems:
            return None
        boards: dict[str, BoardRef] = {n: b for n, b in self.boards.items() if b}
        parts = tuple(p for p, _ in order if isinstance(p, Part))
        plain = {
            "scene": {"title": title, "revision": revision, "client": client, "date": date, "hand": hand,
                      "centre": centre, "ground": list(ground)},
            "variant": None if self.variant is None else
            {"name": self.variant.name, "title": self.variant.title, "why": self.variant.why},
            "boards": {n: self._plain_board(b) for n, b in boards.items()},
            "parts": {part.name: plain_part(part, outline, tables[part.name].data) for part, outline in order if isinstance(part, Part)},
        }
        # What only whole instruments have is left out of the records of bodies.
        if self.neck_given:
            plain["neck"] = root.raw("neck")
        if self.desk.units is not None:
            plain["scene"]["units"] = self.desk.units
        if fittings := {p.part: dict(tables[p.part].data) for p, _ in order if isinstance(p, Fitting)}:
            plain["fittings"] = fittings
        return Scene(name=_name(self.file), title=title, revision=revision, client=client, date=date, hand=hand,
                     centre=centre, ground=ground, folder=self.file.parent, file=self.file,
                     boards=MappingProxyType(boards), parts=parts, variants=(), order=tuple(p for p, _ in order), notes=tuple(self.desk.notes),
                     sources=MappingProxyType(dict(self.sources)), resolved=plain, variant=self.variant)

    def _cut(self, read: Reader) -> Cut | None:
        """The outline a table names; None when it has none, or what it has cannot be read."""
        if read.broken:
            return None
        given = [key for key in ("make", "outline", "drawing", "photo") if read.has(key)]
        if len(given) > 1:
            read.note("", f"The part has both {given[0]} and {given[1]}.", "Give it one of them.")
        elif not given or given == ["outline"]:
            return read_outline_key(read, self.desk, self.sources)
        return None

    def _neck(self, root: Reader, centre: float) -> Neck | None:
        read, self.raw_neck = root.table("neck"), root.raw("neck")
        key = (repr(self.raw_neck), centre, self.desk.units)
        if key in self.desk.necks:
            read.skip()
            if "#" in str(self.raw_neck.get("head")):
                self._head_outline(read, "head")  # it is a source of this variant too
            return self.desk.necks[key]
        before = len(self.problems)
        neck = read_neck(read, centre, self._head_outline)
        if neck is not None and len(self.problems) == before:
            self.desk.necks[key] = neck
        return neck

    def _head_outline(self, read: Reader, key: str) -> Shape | None:
        cut = read_outline_key(read, self.desk, self.sources, key)
        return cut[2] if cut else None

    def _order(self, tables: Mapping[str, Reader], cuts: Mapping[str, Cut | None], neck: Neck | None, centre: float, hand: str,
               order: list[tuple[Part | Fitting, str]]) -> None:
        """Every part and fitting with its outline's name, back to front, into ``order``."""
        kind = bridge_kind(tables)
        for name, read in tables.items():
            if read.broken:
                continue
            cut = cuts[name]
            make = read.choice("make", MAKES, MAKES[0]) if read.has("make") else None
            if make is not None and read.data["make"] != make:
                read.skip()
                continue
            if make in NEEDS_NECK and neck is None and self.neck_given:
                read.skip()  # what is wrong with the neck is told there, once
                continue
            if read.has("drawing") or read.has("photo"):
                bench = Bench(neck, tuple(p for p, _ in order if isinstance(p, Part)), kind, hand, centre)
                order += [(f, "") for f in read_own(read, name, self.desk, bench, self.sources)]
                continue
            if make in WOODEN or (make is None and not (read.has("material") or read.has("colour"))) or read.has("board"):
                if make is not None and make not in WOODEN:
                    read.note("board", f"A {make} is not made of a board.", 'Give it a material, as "chrome".')
                    continue
                if read.has("board") and (read.has("material") or read.has("colour")):
                    read.skip()
                    read.note("", f"The part has both a board and a {'material' if read.has('material') else 'colour'}.", "Give it one of them.")
                    continue
                under = Bench(neck, tuple(p for p, _ in order if isinstance(p, Part)), kind, hand, centre)
                shape, edged = made_shape(read, make, neck, under) if make is not None else (cut[2] if cut else None, None)
                heel = heel_line(neck, under) if make in ("neck", "head piece") else None
                part = read_part(read, name, shape, self.boards, centre=centre, hand=hand, sources=self.sources, desk=self.desk,
                                 make=make, neck=neck, heel=heel, edged=edged)
                if part:
                    if make == "fretboard":
                        _refuse_wider(read, part, [p for p, _ in order if isinstance(p, Part)])
                    order.append((part, f"{cut[0]}#{cut[1]}" if cut else str(make)))
                continue
            stand = tuple((n, *(repr(table.data.get(k)) for k in STANDS_ON)) for n, table in itertools.takewhile(lambda pair: pair[0] != name, tables.items()))
            key = (name, repr(read.data), stand, repr(self.raw_neck), kind, hand, centre, self.desk.units)
            if key in self.desk.made:
                read.skip()
            else:
                below = tuple(p for p, _ in order if isinstance(p, Part))
                found = read_fitting(read, name, make, cut[2] if cut else None, Bench(neck, below, kind, hand, centre))
                if not found:  # its mistakes are told each time
                    continue
                self.desk.made[key] = found
            order += [(f, "") for f in self.desk.made[key]]

    def _plain_board(self, board: BoardRef) -> dict[str, Any]:
        picture = next(name for name, path in self.sources.items() if path == board.path)
        return {"picture": picture, "mm_per_pixel": board.mm_per_pixel, "wood": board.wood, "actual": board.actual,
                "grain": board.grain, "size_mm": list(board.size_mm)}


def _refuse_wider(read: Reader, board: Part, below: list[Part]) -> None:
    """Note where a fretboard is wider than the neck it lies on: the part below it whose name or title says so."""
    x0, y0, x1, y1 = board.shape.bounds
    for neck in (p for p in below if "neck" in (p.name.lower(), p.title.lower())):
        for y in (y0 + 0.02 * (y1 - y0), y0 + 0.3 * (y1 - y0)):
            upper, lower = width_at(board.shape, y), width_at(neck.whole or neck.shape, y)
            if upper and lower and (upper[0] < lower[0] - 0.2 or upper[1] > lower[1] + 0.2):
                read.note("", f"The fretboard is {upper[1] - upper[0]:.1f} mm wide at y = {y:.0f}, and the neck under it {lower[1] - lower[0]:.1f}.",
                          "Widen the neck, or make nut_width and heel_width smaller.")
                return


def _revision(head: Reader) -> str:
    """Text, or a whole number such as 2."""
    value = head.raw("revision")
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**6:
        return str(value)
    return head.text("revision", "", longest=20, fix='Use text or a whole number, as revision = "B".')


def _variants(raw: Mapping[str, Any], problems: list[Problem]) -> tuple[Variant, ...]:
    root = Reader(raw, (), problems)
    variants: list[Variant] = []
    names: dict[str, str] = {}
    titles: dict[str, str] = {}
    if not root.has("variants"):
        return ()
    for name, read in root.tables("variants", MOST_VARIANTS, "variant").items():
        if read.broken:
            continue
        title = read.text("title", name.replace("-", " ").replace("_", " ").capitalize(), longest=60)
        why = read.text("why", "", longest=400)
        changes = _changes(read)
        read.close()
        # File names come from variant names, and some disks know no capitals.
        for kind, key, seen in (("named", name, names), ("titled", title, titles)):
            if (other := seen.setdefault(key.lower(), name)) != name:
                read.note("" if kind == "named" else "title",
                          f"It is {kind} {show(key)}, and so is variants.{other}.", "Give each its own.")
        variants.append(Variant(name=name, title=title, why=why, changes=MappingProxyType(changes)))
    return tuple(variants)


def _changes(read: Reader) -> dict[str, Any]:
    """The table ``set``: paths in quotes to values."""
    table = read.table("set")
    changes: dict[str, Any] = {}
    if len(table.data) > MOST_CHANGES:
        table.note("", f"There are {len(table.data)} changes.", f"Use at most {MOST_CHANGES}.")
        return {}
    for path, value in table.data.items():
        top = path.split(".")[0]
        if "." not in path and isinstance(value, dict):
            table.note(path, "The path of a change is not in quotes.", f"Write {quoted_example(path, value)}.")
        elif top == "variants":
            table.note(path, "A variant cannot change variants.", "Name a value of the scene, its boards or parts.")
        else:
            changes[path] = value
    return changes


def _of_variant(problems: list[Problem], base: list[Problem], variant: Variant, at: str) -> list[Problem]:
    """Problems that the variant brings, placed at the change that brought them."""
    known, own = set(base), []
    for problem in problems:
        if problem in known:
            continue
        changed = any(problem.where == p or problem.where.startswith(f"{p}.") for p in map(clean_path, variant.changes))
        own.append(replace(problem, where=f"{at}.set.{problem.where}" if changed else
                           f"{at}: {problem.where}" if problem.where else at))
    return own
