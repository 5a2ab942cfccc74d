"""Work shared between threads: each band and each job is done once, and an error comes out where it is waited for."""

import threading
import time
from collections import Counter
from concurrent.futures import CancelledError, ThreadPoolExecutor

import cv2
import pytest

from mockup.render.bands import Turns, band_list, in_bands, single_threaded_cv2

ROWS, COLUMNS = 1000, 3000


def test_bands_cover_all_rows_once():
    bands = band_list(ROWS, COLUMNS)
    assert bands[0][0] == 0 and bands[-1][1] == ROWS
    assert all(a[1] == b[0] for a, b in zip(bands, bands[1:], strict=False))


def test_a_pool_that_is_busy_elsewhere_leaves_the_bands_to_who_asks():
    done, busy = Counter(), threading.Event()
    with ThreadPoolExecutor(1) as pool:
        pool.submit(busy.wait)
        try:
            in_bands(lambda first, last: done.update([(first, last, threading.get_ident())]), ROWS, COLUMNS, pool=pool)
        finally:
            busy.set()
    assert done == Counter((first, last, threading.get_ident()) for first, last in band_list(ROWS, COLUMNS))


def test_a_pool_that_is_free_takes_its_share():
    done, met = Counter(), threading.Barrier(2, timeout=20)
    waiting = {band_list(ROWS, COLUMNS)[0][0], band_list(ROWS, COLUMNS)[-1][0]}

    def work(first, last):
        done.update([(first, last)])
        if first in waiting:  # the first band and the last are at work at the same time, or this breaks
            met.wait()

    heard = []
    with ThreadPoolExecutor(1) as pool:
        in_bands(work, ROWS, COLUMNS, heard.append, pool=pool)
    assert done == Counter(band_list(ROWS, COLUMNS))
    assert heard == sorted(heard) and heard[-1] == 1


@pytest.mark.parametrize("shared", [False, True])
def test_the_error_of_a_band_stops_the_rest(shared):
    done = []

    def work(first, last):
        done.append(first)
        raise ValueError(f"rows {first} to {last}")

    with ThreadPoolExecutor(1) as pool, pytest.raises(ValueError, match="rows"):
        in_bands(work, 100_000, COLUMNS, pool=pool if shared else None)
    assert len(done) < len(band_list(100_000, COLUMNS))


@pytest.mark.parametrize("shared", [False, True])
def test_the_error_of_another_thread_stops_the_rest(shared):
    """The first band breaks in a thread of the pool, while the one that asks is at the last."""
    bands, done, broken = band_list(100_000, COLUMNS), [], threading.Event()

    def work(first, last):
        if first == 0:
            broken.set()
            raise ValueError("the first band")
        if len(done) > 1:
            broken.wait(20)
            time.sleep(0.005)  # until it has been heard of
        done.append(first)

    with ThreadPoolExecutor(1) as pool, pytest.raises(ValueError, match="the first band"):
        in_bands(work, 100_000, COLUMNS, pool=pool if shared else None)
    assert len(done) < len(bands) / 4


def test_what_is_drawn_at_the_same_time_gives_cv2_its_threads_back():
    """Two pictures of the bench page overlap: the one that began first ends first."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(3)
    try:
        first, second = single_threaded_cv2(), single_threaded_cv2()
        first.__enter__()
        second.__enter__()
        first.__exit__(None, None, None)
        assert cv2.getNumThreads() == 1  # the second is still at work
        second.__exit__(None, None, None)
        assert cv2.getNumThreads() == 3
    finally:
        cv2.setNumThreads(before)


def test_what_nobody_has_begun_when_all_is_given_up_is_not_waited_for():
    turns, begun, go = Turns(), threading.Event(), threading.Event()
    held = turns.add(lambda: begun.set() or go.wait(20))
    never = [turns.add(lambda: pytest.fail("done after all")) for _ in range(3)]
    with ThreadPoolExecutor(2) as pool:
        other = pool.submit(turns.run)
        waiting = pool.submit(never[-1].result)
        assert begun.wait(20)
        turns.give_up()
        with pytest.raises(CancelledError):
            waiting.result(20)
        go.set()
        other.result(20)
    assert held.result() is True


def test_turns_are_taken_in_order_and_once():
    turns, done = Turns(), []
    results = [turns.add(lambda n=n: done.append(n) or n * n) for n in range(50)]
    turns.run()
    assert done == list(range(50)) and [r.result() for r in results] == [n * n for n in range(50)]
    turns.run()
    assert len(done) == 50


def test_two_threads_share_the_turns():
    turns, done, met = Turns(), Counter(), threading.Barrier(2, timeout=20)
    for n in range(200):
        turns.add(lambda n=n: (done.update([n]), met.wait() if n < 2 else None))
    with ThreadPoolExecutor(1) as pool:
        other = pool.submit(turns.run)
        turns.run()
        other.result()
    assert done == Counter(range(200))


def test_the_error_of_a_turn_comes_out_where_its_result_is_asked_for():
    turns = Turns()
    broken, sound = turns.add(lambda: 1 / 0), turns.add(lambda: "done")
    turns.run()
    assert sound.result() == "done"
    with pytest.raises(ZeroDivisionError):
        broken.result()
