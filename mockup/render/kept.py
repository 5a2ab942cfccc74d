"""What earlier pictures left behind, so that changing a stain redoes only what comes after the bare layer."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

__all__ = ["Kept"]


class Kept:
    """Values by the key of what went into them, the oldest dropped first once ``limit`` bytes are held.

    Pass the same one to every picture of a sheet or a page. Safe to share
    between threads; a value may be made twice, never wrongly.
    """

    def __init__(self, limit: int = 700_000_000) -> None:
        self.limit = limit
        self._values: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()
        self._held = 0
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], Any], size: Callable[[Any], int]) -> Any:
        """The value under ``key``, made by ``make()`` if it is not there; ``size(value)`` is its bytes."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
                return self._values[key][0]
        value = make()
        bytes_ = size(value)
        with self._lock:
            if key not in self._values and bytes_ <= self.limit:
                self._values[key] = (value, bytes_)
                self._held += bytes_
                while self._held > self.limit:
                    _, (_, freed) = self._values.popitem(last=False)
                    self._held -= freed
        return value
