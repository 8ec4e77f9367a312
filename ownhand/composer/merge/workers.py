"""The processes that write a run's files: each loads the font once and takes a few rows at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.errors import OwnhandError, UsageError
from capture.files import write_bytes
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats import FORMATS, SUFFIXES, for_machine, page_bytes
from ownhand.composer.formats.gcode import gcode_job
from ownhand.composer.formats.png import png_bytes
from ownhand.composer.plot.imposition import sheet_of
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.settings import Settings
from ownhand.composer.text.fitter import Notice
from ownhand.subprocesses import processes

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

    parts: tuple[Job, ...] = ()
    """The cards on one sheet, or in one file; empty for a file that is one text."""

    unfilled: tuple[str, ...] = ()
    """Fields that leave a gap in the text: their columns are empty, and nothing is to stand for them."""

    there: bool = False
    """The file is there already: only its cards' small pictures are made."""


@dataclass(frozen=True, eq=False)
class Run:
    """What a run makes of every row."""

    settings: Settings = field(default_factory=Settings)
    formats: tuple[str, ...] = ("svg",)
    machine: Machine | None = None
    dpi: float = 150.0
    others: Mapping[str, Font] = field(default_factory=dict)
    """Further hands by the names that boxes call them."""

    one_file: bool = False
    """All in one file, with a pause before each next sheet of paper; G-code only."""

    thumbnail_dpi: float | None = None
    """Small pictures of all first pages at this resolution; None: none."""

    def __post_init__(self) -> None:
        for kind in self.formats:
            if kind not in FORMATS:
                raise UsageError("format", f"no format '{kind}'", f"Use {', '.join(FORMATS)}.")
        if not self.formats:
            raise UsageError("format", "none was asked for", f"Use {', '.join(FORMATS)}.")
        if self.one_file and set(self.formats) != {"gcode"}:
            raise UsageError("one file", "only G-code knows a pause with a prompt", "Add --format gcode.")


@dataclass(frozen=True, eq=False)
class Result:
    """What became of a job."""

    job: Job
    pages: int
    """Sheets of paper; 0 where nothing was made."""

    notices: tuple[Notice, ...] = ()
    faults: tuple[tuple[int, str], ...] = ()
    """Lines of the table, and what is wrong with their rows."""

    thumbnails: tuple[tuple[str, bytes], ...] = ()
    """Name and PNG of every card, where asked for."""


def worked(jobs: Sequence[Job], font: Font, run: Run, out: Path | None, workers: int) -> Iterator[list[Result]]:
    """Yield the results of all jobs, as they come."""
    batches = [list(jobs[i : i + BATCH]) for i in range(0, len(jobs), BATCH)]
    if workers <= 1 or len(batches) <= 1:
        worker = _Worker(font, run, out)
        for batch in batches:
            yield worker.work(batch)
        return
    # here, because a single text needs no processes
    from concurrent.futures import FIRST_COMPLETED, wait

    # few batches wait at a time, so that memory stays flat however long the table is
    with processes(min(workers, len(batches)), _begin, font, run, out) as pool:
        waiting: set[Future[list[Result]]] = set()
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


class _Worker:
    """Composes and writes in one process."""

    def __init__(self, font: Font, run: Run, out: Path | None) -> None:
        self._ensemble, self._run, self._out = Ensemble(font, run.others), run, out

    def work(self, batch: Sequence[Job]) -> list[Result]:
        return [self._one(job) for job in batch]

    def _one(self, job: Job) -> Result:
        notices: list[Notice] = []
        faults: list[tuple[int, str]] = []
        thumbnails: list[tuple[str, bytes]] = []
        try:
            pages = self._pages(job, notices, faults, thumbnails)
            files: list[tuple[str, bytes]] = []
            for kind in self._run.formats if pages and not job.there else ():
                if self._run.one_file:
                    machine = self._run.machine
                    led = [(name, for_machine(page, machine)) for name, page in pages]
                    data = gcode_job(led, machine).encode("ascii")
                    files.append((job.name + SUFFIXES[kind], data))
                    continue
                for number, (_, page) in enumerate(pages, 1):
                    more = "" if number == 1 else f".p{number}"
                    data = page_bytes(page, kind, self._run.machine, dpi=self._run.dpi)
                    files.append((job.name + more + SUFFIXES[kind], data))
            # the first page of the first format comes last: where it is, all the others are
            for name, data in reversed(files) if self._out is not None else ():
                assert self._out is not None
                write_bytes(path_inside(self._out, name), data)
            return Result(job, len(pages), tuple(notices), tuple(faults), tuple(thumbnails))
        except OwnhandError as error:
            return Result(job, 0, (), (*faults, (job.line, str(error))), tuple(thumbnails))

    def _pages(
        self, job: Job, notices: list[Notice], faults: list[tuple[int, str]], thumbnails: list[tuple[str, bytes]]
    ) -> list[tuple[str, PlotPage]]:
        """Return the sheets of paper of a job with their names; what there is to say of it goes into the lists."""
        if not job.parts:
            made = self._ensemble.compose(job.text, self._run.settings, job.seed)
            notices += [n for n in made.notices if n.kind != "missing"]
            if self._run.thumbnail_dpi and made.pages:
                thumbnails.append((job.name, png_bytes(made.pages[0], dpi=self._run.thumbnail_dpi)))
            return [(job.name, page) for page in made.pages]
        whole: list[tuple[str, PlotPage]] = []
        cards: list[PlotPage | None] = []
        for part in job.parts:
            try:
                pages = self._pages(part, notices, faults, thumbnails)
                if not part.parts and self._run.settings.impose is not None and len(pages) > 1:
                    raise UsageError(part.name, f"it needs {len(pages)} pages, a card has one", "Shorten its text.")
            except OwnhandError as error:
                faults.append((part.line, str(error)))
                pages = []
            whole += pages
            cards.append(pages[0][1] if pages else None)
        imposition = self._run.settings.impose
        if imposition is None or any(part.parts for part in job.parts) or not any(cards):
            return whole
        return [(job.name, sheet_of(cards, imposition))]


_worker: _Worker | None = None


def _begin(*arguments: Any) -> None:
    global _worker
    _worker = _Worker(*arguments)


def _work(batch: Sequence[Job]) -> list[Result]:
    assert _worker is not None
    return _worker.work(batch)
