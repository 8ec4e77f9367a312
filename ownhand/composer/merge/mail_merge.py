"""A run: one text for everybody in a table, a file for each, every copy different but each reproducible.

A run can be stopped at any moment and started again: files are whole or absent, and those that are there are left
alone. `run.json` in its folder says from which text each file was made, so that a changed row is noticed.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from capture.errors import OutputError
from capture.files import make_folder, write_text
from fontbuild.font import Font
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.merge.lacks import Lack, lacks_of
from ownhand.composer.merge.run_folder import left_over_files, open_run
from ownhand.composer.merge.run_notices import told_together
from ownhand.composer.merge.run_plan import Fault, gathered, plan
from ownhand.composer.merge.table import Table
from ownhand.composer.merge.template import Template
from ownhand.composer.merge.workers import Job, Run, worked
from ownhand.composer.text.fitter import Notice

Progress = Callable[[str, int, int], None]

ROWS = "rows.csv"
"""Beside the cards: what each row lacked, and which were not written."""


HEAD = ("line", "name", "lacked", "not written")
"""Columns of that report."""


@dataclass(frozen=True)
class RunReport:
    """What a run did."""

    written: int
    skipped: int
    """Already there, from the same text."""

    pages: int
    faults: tuple[Fault, ...]
    notices: Mapping[str, int] = field(default_factory=dict)
    """What the pages' makers should know, and of how many rows it is true; not what the hand lacks."""

    missing: tuple[Lack, ...] = ()
    """Characters that the texts need and the hand lacks."""

    left_over: tuple[str, ...] = ()
    """Files of earlier runs into the folder that are no row's any more: of a guest who was renamed or taken out."""

    thumbnails: tuple[tuple[str, bytes], ...] = ()
    """Name and PNG of every card, where they were asked for; in the table's order."""

    def told(self) -> list[str]:
        """Return the notices in words, a line each."""
        return [f"{notice} (in {rows} row{'s' if rows > 1 else ''})" for notice, rows in self.notices.items()]


def run_table(
    font: Font,
    table: Table,
    template: Template,
    out: Path,
    run: Run | None = None,
    *,
    name_field: str = "",
    seed: int = 0,
    check: bool = False,
    force: bool = False,
    strict: bool = False,
    workers: int = 0,
    progress: Progress | None = None,
) -> RunReport:
    """Write a file for each row of a table; with `check` set every text and write nothing.

    Parameters
    ----------
    name_field
        Column that names the files; '': their number.
    force
        Replace files that were made from another text; else their rows are faults.
    strict
        Write nothing if the hand lacks any character of any row.
    workers
        Processes; 0: one for each core.
    progress
        Called as `progress(step, done, total)`.

    Raises
    ------
    InputError
        If the template wants a column that the table does not have.
    OutputError
        If the folder cannot be written to, or holds a file of the name of the report on its rows that is none.
    """
    run = run or Run()
    tell = progress or (lambda step, done, total: None)
    every, faults = plan(table, template, run, font, name_field=name_field, seed=seed)
    jobs = gathered(every, run)
    missing = lacks_of(every, Ensemble(font, run.others), run.settings)
    there: list[Job] = []
    left_over: tuple[str, ...] = ()
    if missing and strict:
        return RunReport(0, 0, 0, tuple(faults), {}, missing)
    if not check:
        make_folder(out)
        _check_report(out / ROWS, force=force)
        folder = open_run(jobs, out, run, force=force)
        left_over = left_over_files(jobs, out)
        jobs, there = list(folder.left), list(folder.there)
        faults += folder.refused
    # the pictures are of all cards, also of those that are there
    drawn = [replace(job, there=True) for job in there] if run.thumbnail_dpi else []
    total = len(jobs) + len(drawn)
    tell("write" if not check else "check", 0, total)
    written = pages = done = 0
    notices = [_gap(name) for job in every for name in job.unfilled]
    thumbnails: list[tuple[str, bytes]] = []
    target = None if check else out
    for results in worked([*jobs, *drawn], font, run, target, workers or os.cpu_count() or 1):
        for result in results:
            done += 1
            thumbnails += result.thumbnails
            if result.job.there:
                continue
            faults += [Fault(line, message) for line, message in result.faults]
            notices += result.notices
            if result.pages:
                written, pages = written + (0 if check else 1), pages + result.pages
        tell("write" if not check else "check", done, total)
    faults.sort(key=lambda f: f.line)
    if not check:
        write_text(out / ROWS, rows_report(every, faults, missing))
    # processes finish as they can, and names need not be in the table's order
    place = {job.name: k for k, job in enumerate(every)}
    thumbnails.sort(key=lambda card: place[card[0]])
    return RunReport(
        written, len(there), pages, tuple(faults), told_together(notices), missing, left_over, tuple(thumbnails)
    )


def _check_report(file: Path, *, force: bool) -> None:
    """Refuse to write over a table of the person's own that is called as the report is."""
    try:
        ours = not file.exists() or file.read_text("utf-8").startswith(",".join(HEAD))
    except (OSError, ValueError):
        ours = False
    if not ours and not force:
        what = "is there already, and no report of an earlier run"
        raise OutputError(str(file), what, "Choose another folder, or move it away; --force replaces it.")


def _gap(field: str) -> Notice:
    return Notice("unfilled", f"the column '{field}'", f"empty, a gap is left; {{{field}, else …}} would fill it")


def rows_report(jobs: Sequence[Job], faults: Sequence[Fault], missing: Sequence[Lack]) -> str:
    """Return a CSV (RFC 4180) with each row's line, name, what the hand lacked for it, and why it was not written."""
    lacked: dict[int, str] = {}
    for lack in missing:
        for line in lack.lines:
            lacked[line] = lacked.get(line, "") + lack.char
    wrong = {fault.line: fault.message for fault in faults}
    names = {job.line: job.name for job in jobs}
    table = io.StringIO()
    rows = csv.writer(table)
    rows.writerow(HEAD)
    for line in sorted({*names, *wrong}):
        rows.writerow([line, names.get(line, ""), lacked.get(line, ""), wrong.get(line, "")])
    return table.getvalue()
