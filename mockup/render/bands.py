"""Work in bands of rows on all cores, so that big pictures never stand in memory as floats."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import cv2

__all__ = ["BAND_PIXELS", "BAND_ROWS", "band_list", "in_bands", "single_threaded_cv2"]

# Fewer, larger bands cost less in calls than they lose in the caches.
BAND_PIXELS = 1 << 19
BAND_ROWS = 128


@contextmanager
def single_threaded_cv2():
    """OpenCV without threads of its own, which spin while they wait: where ours are at work they would fight them for the cores."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)


def band_list(rows: int, columns: int) -> list[tuple[int, int]]:
    """The bands (first, last) of rows that a picture of this size is worked in."""
    height = min(max(16, BAND_PIXELS // max(columns, 1)), BAND_ROWS)
    return [(y, min(y + height, rows)) for y in range(0, rows, height)]


def in_bands(work: Callable[[int, int], None], rows: int, columns: int,
             report: Callable[[float], None] | None = None, *, beside: int = 0) -> None:
    """Call ``work(first, last)`` for bands of rows that cover 0..rows; bands may run at the same time.

    ``report`` hears the share done, 0..1. The first error stops the rest.
    ``beside`` cores are left to what else is being done.
    """
    bands = band_list(rows, columns)
    with single_threaded_cv2(), ThreadPoolExecutor(max(min(os.cpu_count() or 1, 8) - beside, 1)) as pool:
        jobs = [pool.submit(work, *band) for band in bands]
        try:
            for done, job in enumerate(jobs, 1):
                job.result()
                if report is not None:
                    report(done / len(bands))
        except BaseException:
            for job in jobs:
                job.cancel()
            raise
