"""Change the text of a scene file and keep what its author wrote around the change: remarks, order, layout.

Every function takes the text and gives a new one, checked to say exactly what
was meant: the values asked for, and no other, have changed.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..errors import MockupError
from .lines import Section, sections

__all__ = ["toml_value", "with_order", "with_values", "with_variant", "without"]

Path = tuple[str, ...]
MARK = "\ufeff"  # some editors put one before the first letter
BARE = re.compile(r"[A-Za-z0-9_-]+")
WIDE = 96  # letters of a list in one line


def with_values(text: str, values: Mapping[Path, Any]) -> str:
    """The text with values set; tables that are missing are made.

    A list of tables (a finish) keeps the remark beside each item that stays.
    MockupError when the file is written so that this cannot be done.
    """
    for path, value in values.items():
        text = _checked(text, _put(path, value), lambda t, p=path, v=value: _replaced(t, p, v), lambda t, p=path, v=value: _added(t, p, v),
                        lambda t, p=path, v=value: _by_document(t, p, v), what=".".join(path))
    return text


def without(text: str, path: Path) -> str:
    """The text less one value, or less a table and all tables below it; as it is when there is none."""
    if _get(tomllib.loads(text.removeprefix(MARK)), path) is None:
        return text

    def drop(data: dict) -> None:
        del _get(data, path[:-1])[path[-1]]

    return _checked(text, drop, lambda t: _cut(t, path), lambda t: _cut_by_document(t, path), what=".".join(path))


def with_variant(text: str, name: str, title: str, why: str, changes: Mapping[str, Any]) -> str:
    """The text with one more variant at its end; ``changes`` by their paths, as ``parts.top.sheen``."""
    lines = [f"[variants.{_key(name)}]", f"title = {toml_value(title)}"]
    if why:
        lines.append(f"why = {toml_value(why)}")
    if changes:
        lines.append(f"[variants.{_key(name)}.set]")
        lines += [f"{toml_value(path)} = {toml_value(value)}" for path, value in changes.items()]

    def add(data: dict) -> None:
        data.setdefault("variants", {})[name] = {"title": title, **({"why": why} if why else {}), **({"set": copy.deepcopy(dict(changes))} if changes else {})}

    return _checked(text, add, lambda t: f"{t.rstrip()}\n\n" + "\n".join(lines) + "\n", what=f"variants.{name}")


def with_order(text: str, names: Sequence[str]) -> str:
    """The text with its variants in this order, each with the remarks above it; all of them must be named."""
    order = list(tomllib.loads(text.removeprefix(MARK)).get("variants", {}))
    if sorted(order) != sorted(names):
        raise MockupError("The order does not name each variant once.", fix=f"Name {', '.join(order)}.")
    if order == list(names):
        return text
    try:
        changed = _reordered(text, names)
        if tomllib.loads(changed.removeprefix(MARK)) == tomllib.loads(text.removeprefix(MARK)) and \
                list(tomllib.loads(changed.removeprefix(MARK))["variants"]) == list(names):
            return changed
    except (tomllib.TOMLDecodeError, KeyError):
        pass
    raise MockupError("The variants could not be put in this order in the file.", fix="Move their tables by hand.")


def toml_value(value: Any) -> str:
    """A value as TOML in one line; a list of tables, or a long list, one item a line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return tomlkit.string(value).as_string()
    if isinstance(value, float):
        return f"{value + 0.0:.12g}"  # + 0.0 turns -0.0 into 0.0
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {toml_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    if isinstance(value, Sequence):
        items = [toml_value(v) for v in value]
        one = f"[{', '.join(items)}]"
        if items and (any(isinstance(v, Mapping) for v in value) and len(items) > 1 or len(one) > WIDE):
            return "[\n" + "".join(f"  {item},\n" for item in items) + "]"
        return one
    return tomlkit.item(value).as_string()


def _key(name: str) -> str:
    return name if BARE.fullmatch(name) else tomlkit.string(name).as_string()


def _checked(text: str, wanted: Callable[[dict], None], *ways: Callable[[str], str | None], what: str) -> str:
    """The first of several ways to change a text that says what was wanted and nothing else."""
    mark, text = (MARK, text[1:]) if text.startswith(MARK) else ("", text)
    data = tomllib.loads(text)
    wanted(data)
    for way in ways:
        try:
            changed = way(text)
            if changed is not None and tomllib.loads(changed) == data:
                return mark + changed
        except (TOMLKitError, tomllib.TOMLDecodeError, KeyError, TypeError, IndexError):
            pass
    raise MockupError(f'"{what}" could not be changed in the file without touching other values.', fix="Change it there by hand.")


def _get(data: Any, path: Path) -> Any:
    for key in path:
        if not isinstance(data, Mapping) or key not in data:
            return None
        data = data[key]
    return data


def _put(path: Path, value: Any) -> Callable[[dict], None]:
    def put(data: dict) -> None:
        for key in path[:-1]:
            data = data.setdefault(key, {})
        data[path[-1]] = copy.deepcopy(value)

    return put


def _owner(text: str, path: Path) -> tuple[Section, Path] | None:
    """The section in which the value at a path stands by itself, and its key there."""
    for section in sections(text):
        if section.keys is not None and section.keys == path[:len(section.keys)] and path[len(section.keys):] in section.values:
            return section, path[len(section.keys):]
    return None


def _end(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _replaced(text: str, path: Path, value: Any) -> str | None:
    """A value in place of another: its key, the space around it and the remark behind it stay."""
    if (owner := _owner(text, path)) is None:
        return None
    section, key = owner
    first, last = section.values[key]
    lines = text.splitlines(keepends=True)
    old = "".join(lines[first:last])
    head = re.match(r"[^=]*=[ \t]*", old)[0] if '"' not in old.split("=")[0] else re.match(r"""[ \t]*(?:"(?:[^"\\\n]|\\.)*"|[^="])*=[ \t]*""", old)[0]
    data = _get(tomllib.loads(text), path)
    tail = _remark(lines[last - 1]) if last == first + 1 or "]" in lines[last - 1] else ""
    written = _listed(lines[first:last], data, value) if _is_steps(data) and _is_steps(value) else toml_value(value)
    new = head + written.replace("\n", _end(text)) + tail
    if tail and last == first + 1 and "\n" not in written:
        # The remark stays in its column where it can.
        room = len(old.rstrip("\r\n")) - len(tail.lstrip()) - len(head + written)
        new = head + written + " " * max(room, 2) + tail.lstrip()
    return "".join(lines[:first]) + new + _end(text) + "".join(lines[last:])


def _is_steps(value: Any) -> bool:
    return isinstance(value, list) and len(value) > 0 and all(isinstance(v, Mapping) for v in value)


def _remark(line: str) -> str:
    """What stands behind the value in a line, with the space before it."""
    bare = re.sub(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', lambda m: "x" * len(m[0]), line.rstrip("\r\n"))
    at = bare.find("#")
    return "" if at < 0 else line.rstrip("\r\n")[len(bare[:at].rstrip()):]


def _listed(lines: Sequence[str], old: list, new: list) -> str:
    """A list of steps, one a line, each that was there with the remark that stood beside it."""
    rows = [line for line in lines if line.lstrip().startswith("{")]
    if len(rows) != len(old) or len(lines) < 2:
        return toml_value(new)
    free = list(range(len(old)))
    out = ["["]
    for step in new:
        same = [i for i in free if old[i] == step] or [i for i in free if set(old[i]) & set(step) - {"strength", "amount"}]
        remark = ""
        if same:
            free.remove(same[0])
            remark = _remark(rows[same[0]]).strip()
        item = f"  {toml_value(step)},"
        out.append(f"{item.ljust(max(len(item) + 2, _column(rows)))}{remark}" if remark else item)
    return "\n".join(out) + "\n]"


def _column(rows: Sequence[str]) -> int:
    """The column in which most remarks begin."""
    at = [len(r.rstrip("\r\n")) - len(_remark(r).lstrip()) for r in rows if _remark(r)]
    return max(set(at), key=at.count) if at else 0


def _added(text: str, path: Path, value: Any) -> str | None:
    """A new value below the last one of its table; a table that is missing below the last of its kin."""
    end, all_ = _end(text), sections(text)
    home = [s for s in all_ if s.keys == path[:-1]]
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += end
    new = f"{_key(path[-1])} = {toml_value(value)}".replace("\n", end) + end
    if home:
        at = home[0].filled
        return "".join(lines[:at]) + new + "".join(lines[at:])
    if isinstance(_get(tomllib.loads(text), path[:-1]), Mapping) and not any(s.keys and s.keys[:len(path) - 1] == path[:-1] for s in all_):
        return None  # an inline table, or points in keys: for the document to change
    kin = [s for s in all_ if s.keys and s.keys[:len(path) - 2] == path[:-2] and len(path) > 2] or \
        [s for s in all_ if s.keys and s.keys[0] == path[0]] or all_
    at = kin[-1].filled
    header = f"[{'.'.join(map(_key, path[:-1]))}]{end}"
    blank = "" if len(path) > 2 and path[-2] == "set" else end
    return "".join(lines[:at]) + blank + header + new + "".join(lines[at:])


def _by_document(text: str, path: Path, value: Any) -> str:
    document = tomlkit.parse(text)
    at: Any = document
    for key in path[:-1]:
        if key not in at:
            at[key] = tomlkit.table()
        at = at[key]
    at[path[-1]] = tomlkit.parse(f"x = {toml_value(value)}")["x"]
    return tomlkit.dumps(document)


def _cut(text: str, path: Path) -> str | None:
    lines = text.splitlines(keepends=True)
    if (owner := _owner(text, path)) is not None:
        first, last = owner[0].values[owner[1]]
        return "".join(lines[:first] + lines[last:])
    gone = [s for s in sections(text) if s.keys is not None and s.keys[:len(path)] == path]
    if not gone:
        return None
    for section in reversed(gone):
        first, last = _block(lines, section)
        del lines[first:last]
    return "".join(lines)


def _cut_by_document(text: str, path: Path) -> str:
    document = tomlkit.parse(text)
    at: Any = document
    for key in path[:-1]:
        at = at[key]
    del at[path[-1]]
    return tomlkit.dumps(document)


def _block(lines: Sequence[str], section: Section) -> tuple[int, int]:
    """The lines of a table with the remarks right above its header, less those right above the next one's."""
    first, last = section.start, section.stop
    while first > 0 and lines[first - 1].lstrip().startswith("#"):
        first -= 1
    if last < len(lines):
        while last > section.filled and lines[last - 1].lstrip().startswith("#"):
            last -= 1
    return first, last


def _reordered(text: str, names: Sequence[str]) -> str:
    lines = text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += _end(text)
    blocks: dict[str, list[str]] = {name: [] for name in names}
    places: list[tuple[int, int]] = []
    for section in sections(text):
        if section.keys and section.keys[0] == "variants":
            first, last = _block(lines, section)
            blocks[section.keys[1]] += lines[first:last]
            places.append((first, last))
    kept = list(lines)
    for first, last in reversed(places):
        del kept[first:last]
    whole = [line for name in names for line in ([*blocks[name], _end(text)] if blocks[name] and blocks[name][-1].strip() else blocks[name])]
    return "".join(kept[:places[0][0]] + whole + kept[places[0][0]:])
