"""Scans to captures: pages read, attempts traced together, all kept in the hand's folder.

Pages are read in processes of their own, then all attempts of a character are traced together. A page that cannot be
read is reported and the others go on. What was captured before is only replaced by something better.
"""

from __future__ import annotations

import dataclasses
import os
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
from capture.read import PageReading
from capture.report import Finding
from capture.sheet import Sheet
from capture.units import MM_PER_INCH
from capture.user_cache import FOLDER_VARIABLE
from ownhand.commands.labelling import PageKey, answered, find_runs, labels_of, marked, take_labels
from ownhand.commands.line_reading import read_lines
from ownhand.commands.read_report import ReadReport, Taken, one_off_line
from ownhand.commands.reading_pool import read_pages, worker_pool
from ownhand.commands.sheets_of_pages import of_one_sheet, pages_to_come
from ownhand.hands.copies import as_copies
from ownhand.hands.decisions import Decisions, known_ways
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.hand import Hand, load_sheets, open_hand, open_or_create
from ownhand.hands.line_letters import left_out_of
from ownhand.hands.locking import locked
from ownhand.hands.lost_characters import lost_characters, told_of_lost
from ownhand.hands.one_off import Run
from ownhand.hands.storage import (
    CellKey,
    keep_page,
    keep_scan,
    keep_sheets,
    printed_scale,
    write_contact,
)
from ownhand.tracing_faults import DEFEATED
from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import find_ink_of_words
from skeleton.precompile import Prepared, load_kept, prepare
from skeleton.result import Reading
from skeleton.words.line_reading import LineReading
from skeleton.words.word_reading import nothing_read

Progress = Callable[[str, int, int], None]
OnPage = Callable[[dict[str, Any]], None]
"""Told of every page the moment it was looked at: `scan`, and `page` and `sheet` or `where`, `what`, `remedy`."""

UNTRACED = "could not be traced"


def read_scans(
    path: Path,
    scans: Sequence[Path],
    *,
    adopt: bool = False,
    same_writer: bool = False,
    one_off: bool = False,
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
    one_off
        Where a run of cells was filled one cell off, take each letter for what its neighbour asks for.
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
        said = _Said(adopt, same_writer, one_off)
        return _read_into(path, known, scans, said, jobs or os.cpu_count() or 1, tell, on_page)


@dataclass(frozen=True)
class _Said:
    """What the person says of the pages: see `read_scans`."""

    adopt: bool
    same_writer: bool
    one_off: bool


def _read_into(
    path: Path,
    known: Hand | None,
    scans: Sequence[Path],
    said: _Said,
    jobs: int,
    tell: Progress,
    on_page: OnPage,
) -> ReadReport:
    finder = SheetFinder(load_sheets(known) if known else {}, adopt=said.adopt)
    read, refused = read_pages(scans, finder, jobs, tell, on_page, load_kept)
    if not read:
        raise refused[0] if refused else OutputError(str(path), "there was nothing to read", "Give a scan.")
    if not finder.sheets and not said.adopt:
        read, strangers = of_one_sheet(read)
        for scan, error in strangers:
            refused.append(error)
            on_page({"scan": scan.name, "where": error.where, "what": error.what, "remedy": error.remedy})
    # only now, so that nothing is left behind by what was no sheet
    hand = known or open_or_create(path)
    sweep(hand.path)
    for reading, _ in read:
        finder.learn(reading.sheet)
    read, copied = as_copies(hand, read)
    # before the processes start, so that they have the loops instead of compiling them, each for itself
    prepared = prepare(tell)
    with worker_pool(jobs, at_once=jobs) as pool:
        pages, decisions = [r for r, _ in read], load_decisions(hand.decisions_file)
        traced = _trace_all(pool, hand, pages, decisions, tell)
        runs = find_runs(pool, pages, decisions, traced, hand.record.handedness)
        if said.one_off and runs:
            traced |= _trace_all(pool, hand, pages, decisions, tell, runs)
        traced = marked(traced, runs)
        written = _read_all_lines(pool, pages, tell)
        notices: list[str] = [*unkept_lines(prepared), *copied]
        notices += keep_sheets(hand, finder.sheets)
        notices += told(hand.decisions_file, decisions)
        taken = []
        contacts: dict[Path, Future[Path]] = {}
        for number, (reading, scan) in enumerate(read):
            tell("keep captures", number, len(read))
            try:
                copy = keep_scan(hand, scan)
                kept, contact = keep_page(hand, reading, copy, traced, written[number], same_writer=said.same_writer)
            except InputError as error:  # one page costs itself; a full disk, an OutputError, all that come after it
                refused.append(error)
                on_page({"scan": scan.name, "where": error.where, "what": error.what, "remedy": error.remedy})
                continue
            if contact in contacts:  # of a page that was scanned twice the later capture holds the better of both
                contacts[contact].result()
            x_height_mm = reading.sheet.x_height_mm
            contacts[contact] = pool.submit(
                write_contact, reading.page, kept, reading.lines, written[number], x_height_mm, contact
            )
            pen_mm = reading.pen_mm * printed_scale(reading)
            rows = [1 + reading.page.ruled.index(ink.line) for ink in reading.lines]
            gone = tuple(w for row, line in zip(rows, written[number], strict=True) for w in left_out_of(line, row))
            taken.append(Taken(kept, contact, reading.verdict, pen_mm, len(reading.lines), gone))
            if run := runs.get((kept.sheet, kept.page)):
                notices.append(one_off_line(hand.path, kept, run, scan, taken=said.one_off))
        for drawn in contacts.values():
            drawn.result()
        tell("keep captures", len(read), len(read))
    if not taken:
        raise refused[0]
    if said.one_off:
        kept_pages = {(t.capture.sheet, t.capture.page) for t in taken}
        take_labels(hand, {key: run for key, run in runs.items() if key in kept_pages})
        taken = [dataclasses.replace(t, capture=answered(t.capture)) for t in taken]
        if not runs:
            notices.append("--one-off: no run of cells was found that holds what its neighbours ask for.")
    notices = [*map(str, refused), *notices, *pages_to_come(hand, [r for r, _ in read])]
    lost = lost_characters((w for t in taken for w in t.left_out), hand)
    if lost:
        notices.append(told_of_lost(lost, hand.path))
    report = ReadReport(tuple(taken), tuple(refused), tuple(notices), lost)
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
    pool: ProcessPoolExecutor,
    hand: Hand,
    pages: Sequence[PageReading],
    decisions: Decisions,
    tell: Progress,
    only: Mapping[PageKey, Run] | None = None,
) -> dict[CellKey, Reading]:
    """Return the reading of every written cell by sheet, page, row and column: a character's attempts together.

    Where `only` some runs are given, just their cells are read, as what their neighbours ask for.
    """
    ways = known_ways(decisions)
    groups: dict[tuple[str, float], list[tuple[CellKey, NDArray[np.uint8]]]] = defaultdict(list)
    for page in pages:
        sheet, number = page.sheet.id, page.page.page
        if only is not None and (sheet, number) not in only:
            continue
        labels = labels_of(page, decisions) if only is None else only[sheet, number].labels
        for cell in page.cells:
            place = (cell.row, cell.column)
            if cell.grey.size and place in labels:
                groups[labels[place], round(cell.px_per_mm, 6)].append(((sheet, number, *place), cell.grey))
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
    inks = [find_ink_of_words(line.grey, line.px_per_mm * MM_PER_INCH) for line in lines]
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
