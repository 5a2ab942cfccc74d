"""Variants: named changes to values of the file, by their paths.

A path is what the file's tables spell, joined by points; items of a list
count from 1: ``parts.top.finish.1.strength``. A change puts a value in place
of another, fills in a key that was left to its default, or, with the number
after a list's last, adds an item. Nothing is altered in place: a changed file
shares what did not change with the original.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..errors import MockupError
from .reader import clean_path, offer, show

__all__ = ["paths", "quoted_example", "with_changes"]

MOST_PATHS = 1500  # searched for the nearest
MOST_ERRORS = 20


def with_changes(raw: Mapping[str, Any], changes: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, MockupError]]:
    """``raw`` with every change made that can be, and the errors of the others by path."""
    data, errors = dict(raw), dict[str, MockupError]()
    for path, value in changes.items():
        try:
            data = _replaced(data, path.split("."), value, path, raw)
        except MockupError as error:
            errors[path] = error
            if len(errors) == MOST_ERRORS:
                break
    return data, errors


def _replaced(node: Any, keys: list[str], value: Any, path: str, raw: Mapping[str, Any]) -> Any:
    if not keys:
        return value
    key, rest = keys[0], keys[1:]
    if isinstance(node, dict):
        if key in node:
            return {**node, key: _replaced(node[key], rest, value, path, raw)}
        if key and not rest and node is not raw:
            return {**node, key: value}  # a key left to its default; the check knows if there is such a key
    elif isinstance(node, list) and key.isascii() and key.isdigit() and len(key) < 6:
        place = int(key) - 1
        if 0 <= place < len(node):
            return [*node[:place], _replaced(node[place], rest, value, path, raw), *node[place + 1:]]
        if place == len(node) and not rest:
            return [*node, value]
        above = path.split(".")[: -len(rest) - 1]
        raise MockupError(f"{clean_path('.'.join(above))} has {len(node)} item{'' if len(node) == 1 else 's'}, "
                          f"and this names item {key}.",
                          fix=f"Count from 1; {len(node) + 1} adds one.")
    raise MockupError("The scene has no such value.", fix=offer(path, paths(raw)))


def paths(raw: Mapping[str, Any]) -> list[str]:
    """The path of every value in the file, variants left out."""
    found: list[str] = []
    for path in _walk(raw, ""):
        found.append(path)
        if len(found) == MOST_PATHS:
            break
    return found


def _walk(node: Any, at: str) -> Iterator[str]:
    if isinstance(node, dict):
        items = [(k, v) for k, v in node.items() if at or k != "variants"]
    elif isinstance(node, list):
        items = [(str(i), v) for i, v in enumerate(node, 1)]
    else:
        return
    for key, value in items:
        path = f"{at}.{key}" if at else key
        if at:
            yield path
        yield from _walk(value, path)


def quoted_example(name: str, value: Any) -> str:
    """How to write a change whose path was left without quotes: ``"parts.top.sheen" = ...``."""
    while isinstance(value, dict) and value:
        key = next(iter(value))
        name, value = f"{name}.{key}", value[key]
    return f'"{clean_path(name)}" = {show(value) if isinstance(value, (str, int, float, bool)) else "..."}'
