"""Scans to captures: pages read, attempts traced together, all kept in the hand's folder.

Pages are read in processes of their own, then all attempts of a character are traced together. A page that cannot be
read is reported and the others go on. What was captured before is only replaced by something better.
"""

from __future__ import annotations

import dataclasses
import itertools
import multiprocessing
import os
import threading
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import skeleton
from capture.code import CodedPage, sheet_from_coded
from capture.errors import NotAScanError, OutputError, OwnhandError
from capture.files import is_vacant, sweep
from capture.read import PageReading, Verdict, read_page
from capture.report import Finding
from capture.scan import count_scans, load_scans
from capture.sheet import Sheet
from capture.units import MM_PER_INCH
from ownhand.hands.decisions import known_ways
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.hand import Hand, PageCapture, load_sheets, open_hand, open_or_create
from ownhand.hands.locking import locked
from ownhand.hands.storage import CellKey, keep_page, keep_scan, keep_sheets, printed_scale
from skeleton.geometry.stroke import Stroke
from skeleton.result import Reading

Progress = Callable[[str, int, int], None]
OnPage = Callable[[dict[str, Any]], None]
"""Told of every page the moment it was looked at: `scan`, and `page` and `sheet` or `where`, `what`, `remedy`."""

PAGE_COLUMNS = ("page", "scan", "cells", "read", "blank", "spoiled", "doubtful", "dpi", "pen mm", "off mm")
FINDING_COLUMNS = ("character", "page", "row", "column", "why")


@dataclass(frozen=True, eq=False)
class Taken:
    """A page that was read, with its strokes."""

    capture: PageCapture
    contact: Path
    verdict: Verdict
    pen_mm: float
    lines: int
    """Ruled lines with writing on them."""


@dataclass(frozen=True, eq=False)
class ReadReport:
    """What a run of reading found."""

    pages: tuple[Taken, ...]
    refused: tuple[OwnhandError, ...]
    notices: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All that a person should look at."""
        return tuple(f for page in self.pages for a in page.capture.attempts for f in a.findings)


def read_scans(
    path: Path,
    scans: Sequence[Path],
    *,
    adopt: bool = False,
    jobs: int = 0,
    progress: Progress | None = None,
    on_page: OnPage | None = None,
) -> ReadReport:
    """Read scans into the hand at `path`, which is begun from the sheet's own code where it does not exist.

    Parameters
    ----------
    adopt
        Take in sheets that were not made for this hand.
    jobs
        Processes; 0: one for each core.

    Raises
    ------
    OwnhandError
        If no page at all could be read, the first reason; or the folder cannot be written to, or another command is
        writing into it.
    """
    for scan in scans:
        if not scan.is_file():
            list(load_scans(scan))
    known = open_hand(path) if path.exists() and not is_vacant(path) else None
    with locked(path):
        tell, on_page = progress or (lambda *_: None), on_page or (lambda _: None)
        return _read_into(path, known, scans, adopt, jobs or os.cpu_count() or 1, tell, on_page)


def _read_into(
    path: Path, known: Hand | None, scans: Sequence[Path], adopt: bool, jobs: int, tell: Progress, on_page: OnPage
) -> ReadReport:
    finder = SheetFinder(load_sheets(known) if known else {}, adopt=adopt)
    with ProcessPoolExecutor(jobs, initializer=_end_with_parent) as pool:
        read, refused = _read_pages(pool, scans, finder, 2 * jobs, tell, on_page)
        if not read:
            raise refused[0] if refused else OutputError(str(path), "there was nothing to read", "Give a scan.")
        # only now, so that nothing is left behind by what was no sheet
        hand = known or open_or_create(path)
        sweep(hand.path)
        traced = _trace_all(pool, hand, [r for r, _ in read], tell)
    notices = [str(error) for error in refused]
    for reading, _ in read:
        finder.learn(reading.sheet)
    notices += keep_sheets(hand, finder.sheets)
    notices += told(hand.decisions_file, load_decisions(hand.decisions_file))
    taken = []
    for number, (reading, scan) in enumerate(read):
        tell("keep captures", number, len(read))
        copy = keep_scan(hand, scan)
        kept, contact = keep_page(hand, reading, copy, traced)
        pen_mm = reading.pen_mm * printed_scale(reading)
        taken.append(Taken(kept, contact, reading.verdict, pen_mm, len(reading.lines)))
    tell("keep captures", len(read), len(read))
    return ReadReport(tuple(taken), tuple(refused), tuple(notices))


class SheetFinder:
    """Which sheet a page's code belongs to; rebuilds it from the code for a hand that has none yet."""

    def __init__(self, sheets: Mapping[str, Sheet], *, adopt: bool) -> None:
        self.sheets = dict(sheets)
        self._open = adopt or not sheets
        self._known = frozenset(sheets)

    def __call__(self, coded: CodedPage) -> Sheet | None:
        """Return the sheet of a page, None if it is not this hand's."""
        sheet = self.sheets.get(coded.sheet_id)
        if sheet is None:
            return sheet_from_coded([coded]) if self._open else None
        if all(p.page != coded.page.page for p in sheet.pages):
            pages = sorted((*sheet.pages, coded.page), key=lambda p: p.page)
            sheet = dataclasses.replace(sheet, pages=tuple(pages))
        return sheet

    def learn(self, sheet: Sheet) -> None:
        """Remember the pages of a sheet that were rebuilt from paper."""
        old = self.sheets.get(sheet.id)
        pages = {p.page: p for p in (*sheet.pages, *(old.pages if old else ()))}
        self.sheets[sheet.id] = dataclasses.replace(sheet, pages=tuple(pages[n] for n in sorted(pages)))


def _end_with_parent() -> None:
    """Make a worker end when the command is killed: it would wait for work for ever, and hold the hand."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait_and_end() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait_and_end, daemon=True).start()


def _read_pages(
    pool: ProcessPoolExecutor, paths: Sequence[Path], finder: SheetFinder, most: int, tell: Progress, on_page: OnPage
) -> tuple[list[tuple[PageReading, Path]], list[OwnhandError]]:
    """Return the pages read, and what was refused, each in the order given."""
    pages = [(path, number) for path in paths for number in range(1, count_scans(path) + 1)]
    to_do = iter(enumerate(pages))
    waiting: dict[Future[PageReading], int] = {}
    read: dict[int, tuple[PageReading, Path]] = {}
    refused: dict[int, OwnhandError] = {}
    tell("read pages", 0, len(pages))
    while len(read) + len(refused) < len(pages):
        for place, (path, number) in itertools.islice(to_do, most - len(waiting)):
            waiting[pool.submit(_read_one, path, number, finder)] = place
        done, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in done:
            place = waiting.pop(future)
            try:
                found = future.result()
                read[place] = (found, pages[place][0])
                on_page({"scan": pages[place][0].name, "sheet": found.sheet.id, "page": found.page.page})
            except OwnhandError as error:
                refused[place] = error
                said = {"where": error.where, "what": error.what, "remedy": error.remedy}
                on_page({"scan": pages[place][0].name, **said})
        tell("read pages", len(read) + len(refused), len(pages))
    return [read[place] for place in sorted(read)], [refused[place] for place in sorted(refused)]


def _read_one(path: Path, number: int, finder: SheetFinder) -> PageReading:
    """Return what is on one picture of a file; decoded where it is read, so that no picture is handed about."""
    for scan in load_scans(path, only=number):
        return read_page(scan, finder)
    raise NotAScanError(path.name, f"its page {number} cannot be found", "Scan the page again.")


def _trace_all(
    pool: ProcessPoolExecutor, hand: Hand, pages: Sequence[PageReading], tell: Progress
) -> dict[CellKey, Reading]:
    """Return the reading of every written cell by sheet, page, row and column: a character's attempts together."""
    ways = known_ways(load_decisions(hand.decisions_file))
    groups: dict[tuple[str, float], list[tuple[CellKey, NDArray[np.uint8]]]] = defaultdict(list)
    for page in pages:
        for cell in page.cells:
            if cell.grey.size:
                key = (page.sheet.id, page.page.page, cell.row, cell.column)
                groups[cell.char, round(cell.px_per_mm, 6)].append((key, cell.grey))
    done, total = 0, sum(len(g) for g in groups.values())
    tell("trace strokes", 0, total)
    jobs = {}
    for (char, px_per_mm), group in sorted(groups.items(), key=lambda item: -len(item[1])):
        known = (ways[char],) if char in ways else ()
        images = [image for _, image in group]
        job = pool.submit(_trace_group, images, px_per_mm * MM_PER_INCH, char, known, hand.record.handedness)
        jobs[job] = [key for key, _ in group]
    traced: dict[CellKey, Reading] = {}
    while jobs:
        finished, _ = wait(jobs, return_when=FIRST_COMPLETED)
        for job in finished:
            keys = jobs.pop(job)
            traced.update(zip(keys, job.result(), strict=True))
            done += len(keys)
            tell("trace strokes", done, total)
    return traced


def _trace_group(
    images: Sequence[NDArray[np.uint8]],
    dpi: float,
    char: str,
    known: Sequence[Sequence[Stroke]],
    handedness: str,
) -> list[Reading]:
    """Return the readings of one character's attempts; an image that defeats the tracer costs only itself."""
    try:
        return skeleton.read_together(images, dpi, char, known=known, handedness=handedness, alternatives=0)
    except Exception:
        if len(images) == 1:
            return [Reading((), confidence=0.0, findings=(Finding("could not be traced"),))]
        return [r for image in images for r in _trace_group([image], dpi, char, known, handedness)]


def page_rows(done: ReadReport) -> list[list[str]]:
    """Return a row for each page, for `PAGE_COLUMNS`."""
    rows = []
    for taken in done.pages:
        attempts = taken.capture.attempts
        status = [a.status for a in attempts]
        doubtful = sum(1 for a in attempts if a.findings and a.status == "written")
        rows.append(
            [
                f"{taken.capture.sheet} {taken.capture.page}",
                taken.capture.scan,
                str(len(status)) if status else f"{taken.lines} lines",
                str(status.count("written")),
                str(status.count("blank")),
                str(status.count("spoiled")),
                str(doubtful),
                f"{taken.verdict.dpi:.0f}",
                f"{taken.pen_mm:.2f}",
                f"{taken.verdict.local_error_mm:.3f}",
            ]
        )
    return rows


def finding_rows(done: ReadReport) -> list[list[str]]:
    """Return a row for each doubtful cell, for `FINDING_COLUMNS`."""
    return [
        [f.char, str(f.page), str(f.row), str(f.column), f.kind + (f", {f.detail}" if f.detail else "")]
        for f in done.findings
    ]
