"""The parts of a build that do not wait for each other, in processes of their own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import Any


def side_by_side(pool: ProcessPoolExecutor) -> Callable[[Callable[..., Any], Iterable[tuple[Any, ...]]], Iterator[Any]]:
    """Return a `fontbuild.letterwise.Letterwise` whose calls are made in the processes of a pool."""

    def work(function: Callable[..., Any], jobs: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        begun = [pool.submit(function, *job) for job in jobs]
        return (one.result() for one in begun)

    return work
