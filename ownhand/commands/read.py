"""Scans to captures: pages read, attempts traced together, all kept in the hand's folder.

Pages are read in processes of their own, then all attempts of a character are traced together. A page that cannot be
read is reported and the others go on. What was captured before is only replaced by something better.
"""

from __future__ import annotations

import dataclasses
import os
import shlex
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
from capture.errors import InputError, OutputError, OwnhandError
from capture.files import is_vacant, sweep
from capture.read import PageReading, Verdict
from capture.report import Finding
from capture.sheet import Page, Sheet
from capture.units import MM_PER_INCH
from ownhand.commands.line_reading import read_lines
from ownhand.commands.reading_pool import end_with_parent, read_pages
from ownhand.hands.copies import as_copies
from ownhand.hands.decisions import known_ways
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.hand import Hand, PageCapture, load_sheets, open_hand, open_or_create
from ownhand.hands.line_letters import DOUBTFUL_WORD, left_out_of
from ownhand.hands.locking import locked
from ownhand.hands.storage import (
    TRUE_SCALE,
    CellKey,
    keep_page,
    keep_scan,
    keep_sheets,
    printed_scale,
    write_contact,
    written_lines,
)
from ownhand.pictures.writing_contact import WrittenLine
from ownhand.tracing_faults import DEFEATED
from skeleton.geometry.loop_store import FOLDER_VARIABLE
from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import find_ink
from skeleton.precompile import Prepared, prepare
from skeleton.result import Reading
from skeleton.words.line_reading import LineReading
from skeleton.words.word_reading import nothing_read

Progress = Callable[[str, int, int], None]
OnPage = Callable[[dict[str, Any]], None]
"""Told of every page the moment it was looked at: `scan`, and `page` and `sheet` or `where`, `what`, `remedy`."""

PAGE_COLUMNS = ("page", "scan", "cells", "read", "blank", "spoiled", "doubtful", "dpi", "pen mm", "off mm")
UNTRACED = "could not be traced"

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

    left_out: tuple[str, ...] = ()
    """Words of these lines that do not suit their ink: 'line 3: lamp'."""


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

    @property
    def untraced(self) -> tuple[Taken, ...]:
        """Pages with written cells of which not one could be traced."""
        return tuple(page for page in self.pages if _untraced(page.capture))


def _untraced(capture: PageCapture) -> bool:
    written = [a for a in capture.attempts if a.status == "written"]
    return bool(written) and not any(a.strokes for a in written)


def read_scans(
    path: Path,
    scans: Sequence[Path],
    *,
    adopt: bool = False,
    same_writer: bool = False,
    jobs: int = 0,
    progress: Progress | None = None,
    on_page: OnPage | None = None,
) -> ReadReport:
    """Read scans into the hand at `path`, which is begun from the sheet's own code where it does not exist.

    Parameters
    ----------
    adopt
        Take in sheets that were not made for this hand.
    same_writer
        Take in a page that was read before from other paper: it is the same person's.
    jobs
        Processes; 0: one for each core.

    Raises
    ------
    OwnhandError
        If no page at all could be read, the first reason; or the folder cannot be written to, or another command is
        writing into it.
    """
    known = open_hand(path) if path.exists() and not is_vacant(path) else None
    with locked(path):
        tell, on_page = progress or (lambda *_: None), on_page or (lambda _: None)
        return _read_into(path, known, scans, adopt, same_writer, jobs or os.cpu_count() or 1, tell, on_page)


def _read_into(
    path: Path,
    known: Hand | None,
    scans: Sequence[Path],
    adopt: bool,
    same_writer: bool,
    jobs: int,
    tell: Progress,
    on_page: OnPage,
) -> ReadReport:
    finder = SheetFinder(load_sheets(known) if known else {}, adopt=adopt)
    read, refused = read_pages(scans, finder, jobs, tell, on_page)
    if not read:
        raise refused[0] if refused else OutputError(str(path), "there was nothing to read", "Give a scan.")
    # only now, so that nothing is left behind by what was no sheet
    hand = known or open_or_create(path)
    sweep(hand.path)
    for reading, _ in read:
        finder.learn(reading.sheet)
    read, copied = as_copies(hand, read)
    # before the processes start, so that they have the loops instead of compiling them, each for itself
    prepared = prepare(tell)
    with ProcessPoolExecutor(jobs, initializer=end_with_parent) as pool:
        traced = _trace_all(pool, hand, [r for r, _ in read], tell)
        written = _read_all_lines(pool, [r for r, _ in read], tell)
        notices: list[str] = [*unkept_lines(prepared), *copied]
        notices += keep_sheets(hand, finder.sheets)
        notices += told(hand.decisions_file, load_decisions(hand.decisions_file))
        taken = []
        # of a page that was scanned twice the later capture holds the better of both
        contacts: dict[Path, tuple[Page, PageCapture, list[WrittenLine]]] = {}
        for number, (reading, scan) in enumerate(read):
            tell("keep captures", number, len(read))
            try:
                copy = keep_scan(hand, scan)
                kept, contact = keep_page(hand, reading, copy, traced, written[number], same_writer=same_writer)
            except InputError as error:  # one page costs itself; a full disk, an OutputError, all that come after it
                refused.append(error)
                on_page({"scan": scan.name, "where": error.where, "what": error.what, "remedy": error.remedy})
                continue
            contacts[contact] = (reading.page, kept, written_lines(reading, written[number]))
            pen_mm = reading.pen_mm * printed_scale(reading)
            rows = [1 + reading.page.ruled.index(ink.line) for ink in reading.lines]
            gone = tuple(w for row, line in zip(rows, written[number], strict=True) for w in left_out_of(line, row))
            taken.append(Taken(kept, contact, reading.verdict, pen_mm, len(reading.lines), gone))
        drawn = [pool.submit(write_contact, page, kept, to, shown) for to, (page, kept, shown) in contacts.items()]
        for picture in drawn:
            picture.result()
        tell("keep captures", len(read), len(read))
    if not taken:
        raise refused[0]
    notices = [*map(str, refused), *notices]
    report = ReadReport(tuple(taken), tuple(refused), tuple(notices))
    for page in report.untraced:
        where = f"Sheet '{page.capture.sheet}', page {page.capture.page}"
        notices.append(f"{where}: not one of its letters could be traced. See its contact sheet: {page.contact}")
    return dataclasses.replace(report, notices=tuple(notices))


def unkept_lines(prepared: Prepared) -> list[str]:
    """Return what to tell where compiled loops could not be kept: one line, or none."""
    if not prepared.unkept:
        return []
    remedy = f"Set {FOLDER_VARIABLE} to a folder that can, and it is done once for all."
    return [f"The tracer was compiled for this run alone: {prepared.unkept}. {remedy}"]


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
            traced.update(zip(keys, _result(job), strict=True))
            done += len(keys)
            tell("trace strokes", done, total)
    return traced


def _read_all_lines(pool: ProcessPoolExecutor, pages: Sequence[PageReading], tell: Progress) -> list[list[LineReading]]:
    """Return the ruled lines of every page, read letter by letter; all lines together know the writer's own letters."""
    lines = [line for page in pages for line in page.lines]
    inks = [find_ink(line.grey, line.px_per_mm * MM_PER_INCH) for line in lines]
    found = [n for n, ink in enumerate(inks) if ink is not None]
    texts = [line.line.text for line in lines]
    out = [LineReading(tuple(nothing_read() for _ in t.split()), tuple(t.split()), 0.0) for t in texts]
    if found:
        read = read_lines(pool, [ink for ink in inks if ink is not None], [texts[n] for n in found], tell)
        for n, reading in zip(found, read, strict=True):
            out[n] = reading
    ends = np.cumsum([len(page.lines) for page in pages]).tolist()
    return [out[end - len(page.lines) : end] for end, page in zip(ends, pages, strict=True)]


def _result(job: Future[list[Reading]]) -> list[Reading]:
    """Return what a process traced; a fault that is not the ink's ends the command, in one line."""
    try:
        return job.result()
    except OwnhandError:
        raise
    except Exception as error:
        what = f"{type(error).__name__}: {error}"
        remedy = (
            "Nothing was changed. The scan is not at fault: see that the program is installed whole, then read again."
        )
        raise OwnhandError("tracing failed", what, remedy) from error


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
    except DEFEATED as error:
        if len(images) == 1:
            said = f"{type(error).__name__}: {error}"[:120]
            return [Reading((), confidence=0.0, findings=(Finding(UNTRACED, detail=said),))]
        return [r for image in images for r in _trace_group([image], dpi, char, known, handedness)]


SHOWN_WORDS = 12
"""Words left out that are listed by name."""

SHOWN_BLANK = 15
"""Blank cells that are listed by name."""


def next_steps(path: Path, done: ReadReport) -> list[str]:
    """Return what to tell after reading: what was printed off size or left blank, where to look, what comes next."""
    lines = []
    for taken in done.pages:
        scale, where = taken.verdict.print_scale, f"{taken.capture.sheet} page {taken.capture.page}"
        if scale and abs(scale - 1) > TRUE_SCALE:
            lines.append(
                f"{where} was printed at {100 * scale:.0f} % of its size; its letters are taken in their true size. "
                "Print the next sheet at 100 %."
            )
        if taken.left_out:
            listed = "; ".join(taken.left_out[:SHOWN_WORDS]) + (" …" if len(taken.left_out) > SHOWN_WORDS else "")
            lines.append(f"{where}: {len(taken.left_out)} words left out, their ink does not suit them: {listed}")
        blank = [a for a in taken.capture.attempts if a.status == "blank"]
        if blank and len(blank) < len(taken.capture.attempts):
            listed = ", ".join(f"{a.char} ({a.id.rsplit('/', 1)[-1]})" for a in blank[:SHOWN_BLANK])
            more = f" and {len(blank) - SHOWN_BLANK} more" if len(blank) > SHOWN_BLANK else ""
            lines.append(f"{where}: {len(blank)} cells taken as blank, by row.column: {listed}{more}")
    if not done.pages:
        return lines
    hand = shlex.quote(str(path))
    contacts = ", ".join(str(p) for p in sorted({str(t.contact.parent) for t in done.pages}))
    return [
        *lines,
        "read: cells with strokes; blank: nothing written; spoiled: ticked by the writer; doubtful: to be looked at; "
        "off mm: how far the paper's print lay from where it should.",
        f"Look at what was read: {contacts}/page-…-contact.png, or mend it: ownhand review {hand}",
        f"Then build the font: ownhand build {hand}",
    ]


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
                f"{taken.lines} lines" if taken.lines else str(len(status)),
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
    """Return a row for each doubtful cell, letter or word, for `FINDING_COLUMNS`."""
    rows: dict[tuple[object, ...], list[str]] = {}
    for number, f in enumerate(done.findings):
        # the letters of a doubtful word are one doubt
        key = (f.kind, f.page, f.row, f.detail) if f.kind == DOUBTFUL_WORD else (number,)
        row = [f.char, str(f.page), str(f.row), str(f.column), f.kind + (f", {f.detail}" if f.detail else "")]
        if key in rows:
            rows[key][0] += f.char
        else:
            rows[key] = row
    return list(rows.values())
