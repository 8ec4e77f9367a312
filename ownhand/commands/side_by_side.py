"""The parts of a build that do not wait for each other, in processes of their own."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any

from ownhand.subprocesses import end_with_parent


def side_by_side(pool: ProcessPoolExecutor) -> Callable[[Callable[..., Any], Iterable[tuple[Any, ...]]], Iterator[Any]]:
    """Return a `fontbuild.letterwise.Letterwise` whose calls are made in the processes of a pool."""

    def work(function: Callable[..., Any], jobs: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        begun = [pool.submit(function, *job) for job in jobs]
        return (one.result() for one in begun)

    return work


@contextmanager
def processes(count: int = 0) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes, one for each core, that end with this one."""
    with ProcessPoolExecutor(count or os.cpu_count() or 1, initializer=end_with_parent) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
