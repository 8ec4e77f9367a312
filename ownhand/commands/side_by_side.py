"""The parts of a build that do not wait for each other, in processes of their own."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager

from fontbuild.variants import AttemptStrokes, Variant, variants_of
from ownhand.composer.merge.workers import watch_parent


class FitAhead:
    """Fits the attempts of all characters in the processes of a pool; asked for one, waits for that one."""

    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self._pool = pool
        self._begun: dict[str, tuple[Sequence[AttemptStrokes], Future[list[Variant]]]] = {}

    def begin(self, letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float) -> None:
        """Begin to fit characters, those with the most attempts first."""
        for char, group in sorted(letters.items(), key=lambda item: -len(item[1])):
            self._begun[char] = (group, self._pool.submit(variants_of, char, group, x_height_mm=x_height_mm))

    def __call__(self, char: str, written: Sequence[AttemptStrokes], *, x_height_mm: float) -> list[Variant]:
        """Return what `variants_of` does."""
        group, job = self._begun.pop(char, ((), None))
        if job is not None and group is written:
            return job.result()
        return variants_of(char, written, x_height_mm=x_height_mm)


@contextmanager
def processes(count: int = 0) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes, one for each core, that end with this one."""
    with ProcessPoolExecutor(count or os.cpu_count() or 1, initializer=watch_parent) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
