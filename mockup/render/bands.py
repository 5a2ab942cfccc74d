"""Work in bands of rows on all cores, so that big pictures never stand in memory as floats."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from typing import Any

import cv2

__all__ = ["BAND_PIXELS", "BAND_ROWS", "Turns", "band_list", "cores", "in_bands", "single_threaded_cv2"]

# Fewer, larger bands cost less in calls than they lose in the caches.
BAND_PIXELS = 1 << 19
BAND_ROWS = 128


_single = threading.Lock()
_inside = {"now": 0, "before": 0}  # who is in ``single_threaded_cv2``, and the threads before the first of them


@contextmanager
def single_threaded_cv2():
    """OpenCV without threads of its own, which spin while they wait: where ours are at work they would fight them for the cores."""
    # The setting is the whole program's: of pictures drawn at the same time the first sets it and the last puts it back.
    with _single:
        if _inside["now"] == 0:
            _inside["before"] = cv2.getNumThreads()
            cv2.setNumThreads(1)
        _inside["now"] += 1
    try:
        yield
    finally:
        with _single:
            _inside["now"] -= 1
            if _inside["now"] == 0:
                cv2.setNumThreads(_inside["before"])


def band_list(rows: int, columns: int) -> list[tuple[int, int]]:
    """The bands (first, last) of rows that a picture of this size is worked in."""
    height = min(max(16, BAND_PIXELS // max(columns, 1)), BAND_ROWS)
    return [(y, min(y + height, rows)) for y in range(0, rows, height)]


def cores() -> int:
    """Threads that are worth starting."""
    return min(os.cpu_count() or 1, 8)


class Turns:
    """Jobs that are done in turn by whoever runs them: by one thread as a rule, and by one more once that has nothing else to do."""

    def __init__(self) -> None:
        self._jobs: deque[tuple[Future, Callable[[], Any]]] = deque()
        self._all: list[Future] = []

    def add(self, work: Callable[[], Any]) -> Future:
        """Put a job last; its result, or its error, will be in what is returned."""
        future: Future = Future()
        self._all.append(future)
        self._jobs.append((future, work))
        return future

    def run(self) -> None:
        """Do what nobody has begun yet, until nothing is left."""
        while True:
            try:
                future, work = self._jobs.popleft()
            except IndexError:
                return
            try:
                if future.set_running_or_notify_cancel():
                    future.set_result(work())
            except BaseException as error:
                if not future.done():
                    future.set_exception(error)  # it is raised where the result is asked for
                if not isinstance(error, Exception):
                    raise

    def give_up(self) -> None:
        """Cancel what nobody has begun: after an error, or Ctrl-C, nobody will, and a thread may be waiting for it."""
        for future in self._all:
            future.cancel()


def in_bands(work: Callable[[int, int], None], rows: int, columns: int,
             report: Callable[[float], None] | None = None, *, pool: ThreadPoolExecutor | None = None) -> None:
    """Call ``work(first, last)`` for bands of rows that cover 0..rows; bands may run at the same time.

    ``report`` hears the share done, 0..1. The first error stops the rest.
    The threads of a ``pool`` take bands as they come free from what else they
    do, while the one that calls works its way up from the last.
    """
    bands, jobs, broken = band_list(rows, columns), [], threading.Event()

    def do(first: int, last: int) -> None:
        if broken.is_set():
            return
        try:
            work(first, last)
        except BaseException:
            broken.set()
            raise

    with single_threaded_cv2(), nullcontext(pool) if pool is not None else ThreadPoolExecutor(cores()) as threads:
        try:
            for band in bands:
                jobs.append(threads.submit(do, *band))
            for band, job in zip(reversed(bands), reversed(jobs), strict=True):
                if pool is not None and job.cancel():  # nobody has taken it yet
                    do(*band)
            for done, job in enumerate(jobs, 1):
                if not job.cancelled():
                    job.result()
                if report is not None:
                    report(done / len(bands))
        except BaseException:
            broken.set()
            for job in jobs:
                job.cancel()
            raise
