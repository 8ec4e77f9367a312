"""The processes that write a run's files: each loads the font once and takes a few rows at a time."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.errors import OwnhandError, UsageError
from capture.files import write_bytes
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.composer.composer import Composer
from ownhand.composer.formats import FORMATS, SUFFIXES, page_bytes
from ownhand.composer.plot.machine import Machine
from ownhand.composer.settings.settings import Settings

if TYPE_CHECKING:
    from concurrent.futures import Future

BATCH = 4


@dataclass(frozen=True)
class Job:
    """One file to make."""

    name: str
    """Of the file, without suffix."""

    line: int
    text: str | dict[str, str]
    seed: int
    digest: str
    """Of everything that the file depends on."""


@dataclass(frozen=True, eq=False)
class Run:
    """What a run makes of every row."""

    settings: Settings = field(default_factory=Settings)
    formats: tuple[str, ...] = ("svg",)
    machine: Machine | None = None
    dpi: float = 150.0

    def __post_init__(self) -> None:
        for kind in self.formats:
            if kind not in FORMATS:
                raise UsageError("format", f"no format '{kind}'", f"Use {', '.join(FORMATS)}.")
        if not self.formats:
            raise UsageError("format", "none was asked for", f"Use {', '.join(FORMATS)}.")


Result = tuple[Job, int, list[str], str]


def worked(jobs: Sequence[Job], font: Font, run: Run, out: Path | None, workers: int) -> Iterator[list[Result]]:
    """Yield the results of all jobs, as they come."""
    batches = [list(jobs[i : i + BATCH]) for i in range(0, len(jobs), BATCH)]
    if workers <= 1 or len(batches) <= 1:
        worker = _Worker(font, run, out)
        for batch in batches:
            yield worker.work(batch)
        return
    # here, because a single text needs no processes
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait

    # few batches wait at a time, so that memory stays flat however long the table is
    with ProcessPoolExecutor(min(workers, len(batches)), initializer=_begin, initargs=(font, run, out)) as pool:
        waiting: set[Future[list[Result]]] = set()
        try:
            for batch in batches:
                waiting.add(pool.submit(_work, batch))
                if len(waiting) >= 4 * workers:
                    finished, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    for future in finished:
                        yield future.result()
            while waiting:
                finished, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in finished:
                    yield future.result()
        finally:
            for future in waiting:
                future.cancel()


class _Worker:
    """Composes and writes in one process."""

    def __init__(self, font: Font, run: Run, out: Path | None) -> None:
        self._composer, self._run, self._out = Composer(font), run, out

    def work(self, batch: Sequence[Job]) -> list[Result]:
        return [self._one(job) for job in batch]

    def _one(self, job: Job) -> Result:
        try:
            made = self._composer.compose(job.text, self._run.settings, job.seed)
            files: list[tuple[str, bytes]] = []
            for kind in self._run.formats:
                for page in made.pages:
                    more = "" if page.number == 1 else f".p{page.number}"
                    data = page_bytes(page, kind, self._run.machine, dpi=self._run.dpi)
                    files.append((job.name + more + SUFFIXES[kind], data))
            # the first page of the first format comes last: where it is, all the others are
            for name, data in reversed(files) if self._out is not None else ():
                assert self._out is not None
                write_bytes(path_inside(self._out, name), data)
            return job, len(made.pages), [str(replace(n, count=1)) for n in made.notices if n.kind != "missing"], ""
        except OwnhandError as error:
            return job, 0, [], str(error)


def watch_parent() -> None:
    """End this process soon after its parent: a killed parent leaves its workers waiting for ever."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


_worker: _Worker | None = None


def _begin(*arguments: Any) -> None:
    global _worker
    _worker = _Worker(*arguments)
    watch_parent()


def _work(batch: Sequence[Job]) -> list[Result]:
    assert _worker is not None
    return _worker.work(batch)
