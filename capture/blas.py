"""Multiplying small matrices by one thread: done before a second one wakes, which then only spins for nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

from threadpoolctl import LibController, ThreadpoolController


@contextmanager
def limited_threads(count: int = 1) -> Iterator[None]:
    """Multiply matrices by `count` threads, in this process and those forked off it, as long as the context lasts."""
    pools = _pools()
    before = [p.get_num_threads() for p in pools]
    for p in pools:
        p.set_num_threads(count)
    try:
        yield
    finally:
        for p, n in zip(pools, before, strict=True):
            p.set_num_threads(n)


@lru_cache(maxsize=1)
def _pools() -> list[LibController]:
    """Return what multiplies matrices; threadpoolctl's own way to limit it costs as much as a layer of a network."""
    found: list[LibController] = ThreadpoolController().select(user_api="blas").lib_controllers
    return found
