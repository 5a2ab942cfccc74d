"""What differs between two tables of plain data, value by value."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

__all__ = ["NOTHING", "Change", "changes"]

NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Change:
    """A value by its key path, as it was and as it is; both as they would stand in the record."""

    path: str
    before: str
    after: str


def changes(before: Any, now: Any, path: str = "") -> tuple[Change, ...]:
    """Every value that differs, by its key path; items of lists count from 1, as in a scene. Both are plain JSON data."""
    if isinstance(before, dict) and isinstance(now, dict):
        keys = [*before, *(k for k in now if k not in before)]
        pairs = [(str(k), before.get(k, _Gone), now.get(k, _Gone)) for k in keys]
    elif isinstance(before, list) and isinstance(now, list) and any(isinstance(v, (dict, list)) for v in (*before, *now)):
        pairs = [(str(i + 1), before[i] if i < len(before) else _Gone, now[i] if i < len(now) else _Gone)
                 for i in range(max(len(before), len(now)))]
    else:
        return () if before == now and type(before) is type(now) or _same_number(before, now) else \
            (Change(path, _shown(before), _shown(now)),)
    return tuple(c for key, a, b in pairs for c in changes(a, b, f"{path}.{key}" if path else key))


class _Gone:
    """Stands for a value that is not there."""


def _same_number(a: Any, b: Any) -> bool:
    return all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (a, b)) and a == b


def _shown(value: Any) -> str:
    if value is _Gone:
        return NOTHING
    text = json.dumps(value, ensure_ascii=False, sort_keys=True)
    return text if len(text) <= 120 else text[:119] + "…"
