"""Boards that several tests look at, sawn once."""

import functools

import pytest

from mockup.wood import make_board


@functools.lru_cache(maxsize=None)
def _board(name, seed, px_per_mm, faults):
    return make_board(name, size_mm=(70, 70), seed=seed, px_per_mm=px_per_mm, faults=faults)


@pytest.fixture(scope="session")
def board_of():
    """board_of(name, seed=..., px_per_mm=..., faults=...): a board of 70 x 70 mm."""
    return lambda name, seed=5, px_per_mm=6, faults="none": _board(name, seed, px_per_mm, faults)
