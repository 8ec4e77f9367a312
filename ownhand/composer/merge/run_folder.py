"""The folder of a run: which of its files are there already, from which text, and what earlier runs left."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from capture.errors import OutputError
from capture.files import SCRAP, SCRAP_NAME, write_json
from capture.safe_paths import path_inside
from ownhand.composer.formats import SUFFIXES
from ownhand.composer.merge.run_plan import Fault
from ownhand.composer.merge.workers import Job, Run

RECORD = "run.json"
FORMAT = 1


@dataclass(frozen=True)
class OpenRun:
    """What is to be done in a run's folder."""

    left: tuple[Job, ...]
    """Files still to be made."""

    there: tuple[Job, ...]
    """Files that are there already, from the same text."""

    refused: tuple[Fault, ...]
    """Rows whose file is another's."""


def open_run(jobs: Sequence[Job], out: Path, run: Run, *, force: bool) -> OpenRun:
    """Return what is left to be done in a folder, once it is noted there.

    Raises
    ------
    OutputError
        If the folder holds another record than a run's, or cannot be written to.
    """
    path = out / RECORD
    known = _read_record(path)
    _sweep(jobs, out)
    left, there_already, refused = [], [], []
    for job in jobs:
        first = path_inside(out, job.name + SUFFIXES[run.formats[0]])
        there = [p for kind in run.formats for p in [path_inside(out, job.name + SUFFIXES[kind])] if p.exists()]
        if first.exists() and known.get(job.name) == job.digest:
            there_already.append(job)
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
    return OpenRun(tuple(left), tuple(there_already), tuple(refused))


def left_over_files(jobs: Sequence[Job], out: Path) -> tuple[str, ...]:
    """Return the files of earlier runs that none of all a run's jobs makes, by name."""
    names = {job.name for job in jobs}
    gone = [name for name in _read_record(out / RECORD) if name not in names]
    return tuple(
        sorted(f.name for name in gone for f in out.glob(f"{_escaped(name)}.*") if f.suffix in SUFFIXES.values())
    )


def _sweep(jobs: Sequence[Job], out: Path) -> None:
    """Remove what an interrupted run left half written beside its files."""
    names = {name[:SCRAP_NAME] for name in (*(job.name for job in jobs), Path(RECORD).stem)}
    for part in out.glob(f".*{SCRAP}"):
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
