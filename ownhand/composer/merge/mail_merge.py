"""A run: one text for everybody in a table, a file for each, every copy different but each reproducible.

A run can be stopped at any moment and started again: files are whole or absent, and those that are there are left
alone. `run.json` in its folder says from which text each file was made, so that a changed row is noticed.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from capture.errors import InputError, OutputError
from capture.files import make_folder, write_json, write_text
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats import SUFFIXES
from ownhand.composer.merge.lacks import Lack, lacks_of
from ownhand.composer.merge.run_notices import told_together
from ownhand.composer.merge.table import Row, Table
from ownhand.composer.merge.template import Template, key
from ownhand.composer.merge.workers import Job, Run, worked
from ownhand.composer.text.characters import Notice

__all__ = ["Fault", "Job", "Progress", "Run", "RunReport", "plan", "run_table", "safe_name"]

Progress = Callable[[str, int, int], None]

RECORD = "run.json"
ROWS = "rows.csv"
"""Beside the cards: what each row lacked, and which were not written."""

FORMAT = 1
LONGEST_NAME = 80
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)$")


@dataclass(frozen=True)
class Fault:
    """A row that could not be written."""

    line: int
    """In the table."""

    message: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.message}"


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
    """Name and PNG of every card, where they were asked for."""


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
        If the folder cannot be written to.
    """
    run = run or Run()
    tell = progress or (lambda step, done, total: None)
    every, faults = plan(table, template, run, font, name_field=name_field, seed=seed)
    jobs = gathered(every, run)
    missing = lacks_of(every, Ensemble(font, run.others), run.settings)
    skipped, everyone = 0, {job.name for job in jobs}
    left_over: tuple[str, ...] = ()
    if missing and strict:
        return RunReport(0, 0, 0, tuple(faults), {}, missing)
    if not check:
        make_folder(out)
        jobs, skipped, refused = _open_run(jobs, out, run, force=force)
        faults += refused
        left_over = _left_over(everyone, out)
    total = len(jobs)
    tell("write" if not check else "check", 0, total)
    written = pages = done = 0
    notices: list[Notice] = []
    thumbnails: list[tuple[str, bytes]] = []
    target = None if check else out
    for results in worked(jobs, font, run, target, workers or os.cpu_count() or 1):
        for result in results:
            done += 1
            faults += [Fault(line, message) for line, message in result.faults]
            thumbnails += result.thumbnails
            notices += result.notices
            if result.pages:
                written, pages = written + (0 if check else 1), pages + result.pages
        tell("write" if not check else "check", done, total)
    faults.sort(key=lambda f: f.line)
    if not check:
        write_text(out / ROWS, rows_report(every, faults, missing))
    thumbnails.sort()
    return RunReport(
        written, skipped, pages, tuple(faults), told_together(notices), missing, left_over, tuple(thumbnails)
    )


def plan(
    table: Table, template: Template, run: Run, font: Font, *, name_field: str = "", seed: int = 0
) -> tuple[list[Job], list[Fault]]:
    """Return the files to make, and the rows that cannot become one.

    Raises
    ------
    InputError
        If the template or the name asks for a column that the table lacks.
    """
    lacking = sorted(template.fields - set(table.columns))
    if lacking or (name_field and key(name_field) not in table.columns):
        what = lacking[0] if lacking else name_field
        names = ", ".join(table.columns)
        raise InputError("template", f"the table has no column '{what}'", f"Its columns are: {names}.")
    common = _digest(repr(run.settings), run.formats, repr(run.machine), run.dpi, _font_digest(font), *_others(run))
    used: Counter[str] = Counter()
    jobs, faults = [], []
    digits = max(4, len(str(len(table.rows))))
    for row in table.rows:
        stem, fault = _stem(row, name_field, digits)
        if row.fault or fault:
            faults.append(Fault(row.line, row.fault or fault))
            continue
        name = _unused(stem, used)
        own_seed = int.from_bytes(hashlib.sha256(f"{seed}/{name}".encode()).digest()[:8], "big")
        try:
            text = template.fill(row.values)
        except InputError as error:
            faults.append(Fault(row.line, str(error)))
            continue
        jobs.append(Job(name, row.line, text, own_seed, _digest(common, json.dumps(text), own_seed)))
    return jobs, faults


def gathered(jobs: Sequence[Job], run: Run) -> list[Job]:
    """Return the files to make of jobs: as they are, or so many on a sheet, or all in one."""
    out = list(jobs)
    if run.settings.impose is not None:
        each = len(run.settings.impose.places(run.settings.size_mm))
        digits = max(3, len(str(-(-len(out) // each))))
        out = [_of_parts(f"sheet-{1 + i // each:0{digits}d}", out[i : i + each]) for i in range(0, len(out), each)]
    if run.one_file and out:
        out = [_of_parts("all", out)]
    return out


def _of_parts(name: str, parts: Sequence[Job]) -> Job:
    return Job(name, parts[0].line, "", 0, _digest(name, [p.digest for p in parts]), tuple(parts))


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
    rows.writerow(["line", "name", "lacked", "not written"])
    for line in sorted({*names, *wrong}):
        rows.writerow([line, names.get(line, ""), lacked.get(line, ""), wrong.get(line, "")])
    return table.getvalue()


def safe_name(text: str) -> str:
    """Return a text as the name of a file that every system takes; '' if nothing is left.

    Examples
    --------
    >>> safe_name(" Íñigo / Zubialde. ")
    'Íñigo-Zubialde'
    """
    kept = re.sub(r"[^\w-]+", "-", unicodedata.normalize("NFC", text)).strip("-_")
    while len(kept.encode()) > LONGEST_NAME:
        kept = kept[:-1]
    return f"{kept}-" if _RESERVED.match(kept) else kept


def _stem(row: Row, name_field: str, digits: int) -> tuple[str, str]:
    if not name_field:
        return f"{row.number:0{digits}d}", ""
    raw = row.values.get(key(name_field), "")
    stem = safe_name(raw)
    return stem, "" if stem else f"'{raw}' in '{name_field}' gives no file name"


def _unused(stem: str, used: Counter[str]) -> str:
    """Return the stem, with a number where an earlier row took it; without regard to case."""
    name = stem
    while used[name.casefold()]:
        used[stem.casefold()] += 1
        name = f"{stem}-{used[stem.casefold()]}"
    used[name.casefold()] += 1
    return name


def _digest(*parts: object) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:32]


def _others(run: Run) -> list[tuple[str, str]]:
    return [(name, _font_digest(other)) for name, other in sorted(run.others.items())]


def _font_digest(font: Font) -> str:
    h = hashlib.sha256(repr((font.record, font.metrics, font.mm_per_unit, sorted(font.kerning.items()))).encode())
    for char in sorted(font.glyphs):
        for glyph in font.glyphs[char]:
            h.update(repr((char, glyph.advance, glyph.ductus)).encode())
            for stroke in glyph.strokes:
                h.update(stroke.round(3).tobytes())
    return h.hexdigest()


def _open_run(jobs: Sequence[Job], out: Path, run: Run, *, force: bool) -> tuple[list[Job], int, list[Fault]]:
    """Return the files still to be made, how many are there already, and rows whose file is another's."""
    path = out / RECORD
    known = _read_record(path)
    _sweep(jobs, out)
    left, refused, skipped = [], [], 0
    for job in jobs:
        first = path_inside(out, job.name + SUFFIXES[run.formats[0]])
        there = [p for kind in run.formats for p in [path_inside(out, job.name + SUFFIXES[kind])] if p.exists()]
        if first.exists() and known.get(job.name) == job.digest:
            skipped += 1
            continue
        if there and known.get(job.name) != job.digest and not force:
            refused.append(
                Fault(job.line, f"{there[0]} is there already, made from another text or setting; --force replaces it")
            )
            continue
        if there and force:
            for old in (*there, *_further_pages(out, job.name)):
                old.unlink(missing_ok=True)
        left.append(job)
    # said before anything is written: a file that is there later was made from this
    write_json(path, {"format": FORMAT, "files": {**known, **{job.name: job.digest for job in left}}})
    return left, skipped, refused


def _left_over(names: set[str], out: Path) -> tuple[str, ...]:
    """Return the files of earlier runs that none of `names` makes, by name."""
    gone = [name for name in _read_record(out / RECORD) if name not in names]
    return tuple(
        sorted(f.name for name in gone for f in out.glob(f"{_escaped(name)}.*") if f.suffix in SUFFIXES.values())
    )


def _sweep(jobs: Sequence[Job], out: Path) -> None:
    """Remove what an interrupted run left half written beside its files."""
    names = {job.name for job in jobs} | {Path(RECORD).stem}
    for part in out.glob(".*.part"):
        if part.name[1:].split(".")[0] in names:
            part.unlink(missing_ok=True)


def _further_pages(out: Path, name: str) -> list[Path]:
    return [p for p in out.glob(f"{_escaped(name)}.p*.*") if re.fullmatch(r"\.p\d+\.\w+", p.name[len(name) :])]


def _escaped(name: str) -> str:
    return re.sub(r"([\[\]*?])", r"[\1]", name)


def _read_record(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    try:
        data = json.loads(path.read_text("utf-8"))
        if data["format"] != FORMAT:
            raise ValueError
        return {str(name): str(digest) for name, digest in data["files"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise OutputError(
            str(path), "is not the record of a run", "Choose another folder, or move that file away."
        ) from None
