"""Keep what the picture libraries say about odd files off the reader's screen.

The error we raise says it in one sentence. Both settings belong to the whole
process, so they hold while any thread is reading and are put back by the last.
"""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["quiet_opencv", "quiet_pillow"]


class _Shared:
    """A process-wide setting, made by the first who needs it and undone by the last."""

    def __init__(self, make: Callable[[], Callable[[], None]]) -> None:
        self._make = make  # makes the setting and returns what undoes it
        self._lock = threading.Lock()
        self._users = 0

    @contextmanager
    def __call__(self) -> Iterator[None]:
        with self._lock:
            if not self._users:
                self._undo = self._make()
            self._users += 1
        try:
            yield
        finally:
            with self._lock:
                self._users -= 1
                if not self._users:
                    self._undo()


def _no_warnings() -> Callable[[], None]:
    caught = warnings.catch_warnings()
    caught.__enter__()
    warnings.simplefilter("ignore")
    return lambda: caught.__exit__(None, None, None)


def _no_log() -> Callable[[], None]:
    from cv2.utils import logging

    before = logging.setLogLevel(logging.LOG_LEVEL_SILENT)
    return lambda: logging.setLogLevel(before)


quiet_pillow = _Shared(_no_warnings)
quiet_opencv = _Shared(_no_log)
