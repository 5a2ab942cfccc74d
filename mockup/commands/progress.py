"""One line of progress with the time left, on a terminal only, for work that takes over a second."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["Progress", "progress", "span", "waiting"]

PATIENCE = 1.0  # s before anything is shown
EVERY = 0.1     # s between lines


class Progress:
    """Call it with the share done, 0..1; it writes over its own line on ``stream``."""

    def __init__(self, title: str, stream=None, clock: Callable[[], float] = time.monotonic) -> None:
        self.title, self.stream, self.clock = title, stream or sys.stderr, clock
        self.shown = self.stream.isatty()
        self.start = self.last = clock()
        self.width = 0

    def __call__(self, share: float) -> None:
        now = self.clock()
        if not self.shown or now - self.start < PATIENCE or now - self.last < EVERY:
            return
        self.last = now
        share = min(max(share, 0.0), 1.0)
        text = f"{self.title}  {share * 100:3.0f} %"
        if share > 0.02:
            text += f"  {_time((now - self.start) * (1 - share) / share)} left"
        self._write(text)

    def beat(self) -> None:
        """Show that work goes on, where nobody knows how long it takes."""
        if self.shown:
            self._write(f"{self.title}  {self.clock() - self.start:.0f} s")

    def clear(self) -> None:
        """Take the line away."""
        if self.width:
            self._write("")
            self.stream.write("\r")
            self.stream.flush()
            self.width = 0

    def _write(self, text: str) -> None:
        self.stream.write("\r" + text.ljust(self.width))
        self.stream.flush()
        self.width = len(text.rstrip()) if text else self.width


@contextmanager
def progress(title: str) -> Iterator[Progress]:
    """A progress line around a block; gone again when the block ends, however it ends."""
    line = Progress(title)
    try:
        yield line
    finally:
        line.clear()


@contextmanager
def waiting(title: str, stream=None) -> Iterator[None]:
    """A line with the seconds gone by, around work that cannot tell how far it is."""
    line = Progress(title, stream)
    done = threading.Event()

    def count() -> None:
        while not done.wait(PATIENCE):
            line.beat()

    thread = threading.Thread(target=count, daemon=True)
    if line.shown:
        thread.start()
    try:
        yield
    finally:
        done.set()
        if line.shown:
            thread.join()
        line.clear()


def span(report: Callable[[float], None], first: float, last: float) -> Callable[[float], None]:
    """A report for one step that is ``first`` to ``last`` of the whole."""
    return lambda share: report(first + (last - first) * share)


def _time(seconds: float) -> str:
    seconds = max(1, round(seconds))
    return f"{seconds} s" if seconds < 100 else f"{round(seconds / 60)} min"
