"""What reading found, and how it is told: tables, what to look at, what comes next."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from capture.errors import OwnhandError
from capture.glare import GLARE
from capture.read import Verdict
from capture.report import Finding
from ownhand.hands.captures import PageCapture, of_earlier_scans
from ownhand.hands.line_letters import DOUBTFUL_WORD
from ownhand.hands.one_off import Run
from ownhand.hands.storage import TRUE_SCALE
from skeleton.attempt import Attempt

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

    left_out: tuple[str, ...] = ()
    """Words of these lines that do not suit their ink: 'line 3: lamp'."""


@dataclass(frozen=True, eq=False)
class ReadReport:
    """What a run of reading found."""

    pages: tuple[Taken, ...]
    refused: tuple[OwnhandError, ...]
    notices: tuple[str, ...]
    lost: tuple[str, ...] = ()
    """Characters that only words left out have: the hand lacks them."""

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


SHOWN_WORDS = 12
"""Words left out that are listed by name."""

SHOWN_BLANK = 15
"""Blank cells that are listed by name."""


def told_of_pages(done: ReadReport) -> list[str]:
    """Return what to tell of the pages: printed off size, left out, left blank, or read better before."""
    lines = []
    for taken in done.pages:
        scale, where = taken.verdict.print_scale, f"{taken.capture.sheet} page {taken.capture.page}"
        if scale and abs(scale - 1) > TRUE_SCALE:
            lines.append(
                f"{where} was printed at {100 * scale:.0f} % of its size; its letters are taken in their true size. "
                "Print the next sheet at 100 %."
            )
        if kept := of_earlier_scans(taken.capture):
            lines.append(
                f"{where}: {kept} of its letters stay as an earlier scan had them, which were read better there"
            )
        glared = [a for a in taken.capture.attempts if any(f.kind == GLARE for f in a.findings)]
        if glared:
            lines.append(
                f"{where}: {len(glared)} cell(s) burnt out by glare, by row.column: {_listed(glared)}. Take the "
                "picture again without the lamp or flash on it, or scan it; what is read already is kept."
            )
        if taken.left_out:
            listed = "; ".join(taken.left_out[:SHOWN_WORDS]) + (" …" if len(taken.left_out) > SHOWN_WORDS else "")
            lines.append(f"{where}: {len(taken.left_out)} word(s) left out, their ink does not suit them: {listed}")
        blank = [a for a in taken.capture.attempts if a.status == "blank" and a not in glared]
        if blank and len(blank) < len(taken.capture.attempts):
            lines.append(f"{where}: {len(blank)} cell(s) taken as blank, by row.column: {_listed(blank)}")
    return lines


def next_steps(path: Path, done: ReadReport) -> list[str]:
    """Return what to tell after reading: of its pages, where to look, what comes next."""
    lines = told_of_pages(done)
    if not done.pages:
        return lines
    if not any(a.status == "written" for t in done.pages for a in t.capture.attempts):
        return [
            *lines,
            "Nothing is written on these pages, as far as can be seen: fill them in with a pen, scan again.",
        ]
    hand = shlex.quote(str(path))
    contacts = ", ".join(str(p) for p in sorted({str(t.contact.parent) for t in done.pages}))
    return [
        *lines,
        "read: cells with strokes; blank: nothing written; spoiled: ticked by the writer; doubtful: to be looked at; "
        "off mm: how far the paper's print lay from where it should.",
        f"Look at what was read: {contacts}/page-…-contact.png, or mend it: ownhand review {hand}",
        f"Then build the font: ownhand build {hand}",
    ]


def _listed(attempts: Sequence[Attempt]) -> str:
    """Return characters with their cells, not too many of them."""
    listed = ", ".join(f"{a.char} ({a.id.rsplit('/', 1)[-1]})" for a in attempts[:SHOWN_BLANK])
    return listed + (f" and {len(attempts) - SHOWN_BLANK} more" if len(attempts) > SHOWN_BLANK else "")


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


def one_off_line(folder: Path, page: PageCapture, run: Run, scan: Path, *, taken: bool) -> str:
    """Return what to tell of a run of cells that was filled one cell off: asked about, or taken so."""
    where, letters = f"{page.sheet} page {page.page}", f"{len(run.labels)} letters"
    if taken:
        return f"{where}: filled one cell {run.words}: {letters} taken for what the cells beside theirs ask for."
    hand = shlex.quote(str(folder))
    command = f"ownhand read {hand} {shlex.quote(str(scan))} --one-off"
    return (
        f"{where}: filled one cell {run.words}? {letters} suit what the cells beside theirs ask for far better, and "
        f"stay out of the font till you say. If so: {command}; if not, keep them: ownhand review {hand}"
    )
