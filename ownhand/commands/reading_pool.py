"""Pages read in processes of their own: whatever one file does to its process, the others are read."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path

import cv2

from capture.blas import limited_threads
from capture.code import CodedPage
from capture.errors import NotAScanError, OwnhandError
from capture.read import PageReading, read_page
from capture.scan import count_scans, load_scans
from capture.sheet import Sheet
from ownhand.subprocesses import processes

Finder = Callable[[CodedPage], "Sheet | None"]
Place = tuple[Path, int]
"""A file, and which of its pictures, from 1."""

_REMEDY_ENDED = "Scan it at 300 dpi and read it again; if memory is short, read fewer at once with --jobs 1."


def read_pages(
    paths: Sequence[Path],
    finder: Finder,
    jobs: int,
    tell: Callable[[str, int, int], None],
    on_page: Callable[[dict[str, object]], None],
    meanwhile: Callable[[], object] = lambda: None,
) -> tuple[list[tuple[PageReading, Path]], list[OwnhandError]]:
    """Return the pages read, and what was refused, each in the order given.

    A process that dies takes with it what waits in its pool, and does not say over which page it died: those pages are
    read once more, each in a process of its own.

    meanwhile: called once, when the processes have begun.
    """
    pages = [(path, number) for path in paths for number in range(1, count_scans(path) + 1)]
    read: dict[int, tuple[PageReading, Path]] = {}
    refused: dict[int, OwnhandError] = {}

    def note(place: int, found: PageReading | OwnhandError) -> None:
        name = pages[place][0].name
        if isinstance(found, OwnhandError):
            refused[place] = found
            on_page({"scan": name, "where": found.where, "what": found.what, "remedy": found.remedy})
        else:
            read[place] = (found, pages[place][0])
            on_page({"scan": name, "sheet": found.sheet.id, "page": found.page.page})
        tell("read pages", len(read) + len(refused), len(pages))

    tell("read pages", 0, len(pages))
    for place in _read_together(pages, finder, jobs, note, meanwhile):
        with processes(1) as alone:
            try:
                note(place, _outcome(alone.submit(_read_one, *pages[place], finder)))
            except BrokenProcessPool:
                what = "the process that read it was ended, by the system or a fault in a decoder"
                note(place, NotAScanError(pages[place][0].name, what, _REMEDY_ENDED))
    return [read[place] for place in sorted(read)], [refused[place] for place in sorted(refused)]


def _read_together(
    pages: Sequence[Place],
    finder: Finder,
    jobs: int,
    note: Callable[[int, PageReading | OwnhandError], None],
    meanwhile: Callable[[], object],
) -> list[int]:
    """Read pages side by side; return those whose process died, or that were not begun when one did."""
    to_do = iter(range(len(pages)))
    waiting: dict[Future[PageReading], int] = {}
    lost: list[int] = []
    begun = False
    with worker_pool(jobs, at_once=len(pages)) as pool:
        while True:
            try:
                for place in itertools.islice(to_do, 0 if lost else 2 * jobs - len(waiting)):
                    lost.append(place)
                    waiting[pool.submit(_read_one, *pages[place], finder)] = place
                    lost.pop()
            except BrokenProcessPool:
                pass
            if not begun:
                begun = True
                meanwhile()
            if not waiting:
                return sorted([*lost, *to_do])
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                place = waiting.pop(future)
                try:
                    note(place, _outcome(future))
                except BrokenProcessPool:
                    lost.append(place)


def _outcome(future: Future[PageReading]) -> PageReading | OwnhandError:
    try:
        return future.result()
    except OwnhandError as error:
        return error


def _read_one(path: Path, number: int, finder: Finder) -> PageReading:
    """Return what is on one picture of a file; decoded where it is read, so that no picture is handed about."""
    for scan in load_scans(path, only=number):
        return read_page(scan, finder)
    raise NotAScanError(path.name, f"its page {number} cannot be found", "Scan the page again.")


@contextmanager
def worker_pool(jobs: int, *, at_once: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of `jobs` processes that share the cores between them, and end when the command is killed.

    As long as it is open this process, too, uses no more threads than each of them.

    at_once: how many tasks there are; a single one has all cores for itself.
    """
    # one thread for each core: more of them, of two processes, only get in each other's way
    threads = max(1, (os.cpu_count() or 1) // max(1, min(jobs, at_once)))
    before = cv2.getNumThreads()
    # here, not in the processes: they have no part of the threads that OpenCV would wait for to change their number
    cv2.setNumThreads(threads)
    try:
        with limited_threads(threads), processes(jobs) as pool:
            yield pool
    finally:
        cv2.setNumThreads(before)
