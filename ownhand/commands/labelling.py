"""Which character each cell of a page holds: what is asked for, what was decided, or what its neighbour asks for."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from numpy.typing import NDArray

from capture.read import CellInk, PageReading
from capture.units import MM_PER_INCH
from ownhand.hands.captures import PageCapture
from ownhand.hands.decisions import Decisions
from ownhand.hands.hand import Hand
from ownhand.hands.one_off import (
    DOUBTED,
    LEAST_CELLS,
    CellPlace,
    Run,
    find_run,
    is_borne_out,
    is_suspect,
    labels_to_try,
)
from ownhand.hands.storage import CellKey
from ownhand.review.session.review_session import ReviewSession
from ownhand.tracing_faults import DEFEATED
from ownhand.validation import Place
from skeleton.attempt import ONE_OFF
from skeleton.label_costs import label_costs
from skeleton.result import Reading

SUSPECT_CONFIDENCE = 0.85
"""Confidence under which a reading may be of another letter: more than are shown as doubtful, for the tracer follows
what ink there is."""

PageKey = tuple[str, int]
"""Sheet id, page."""


def labels_of(page: PageReading, decisions: Decisions) -> dict[CellPlace, str]:
    """Return what stands in each cell of a page: what was decided, or what is asked for."""
    out = {}
    for cell in page.cells:
        decided = decisions.attempts.get(f"{page.sheet.id}/{page.page.page}/{cell.row}.{cell.column}")
        out[cell.row, cell.column] = (decided.char if decided else "") or cell.char
    return out


def find_runs(
    pool: ProcessPoolExecutor,
    pages: Sequence[PageReading],
    decisions: Decisions,
    traced: Mapping[CellKey, Reading],
    handedness: str,
) -> dict[PageKey, Run]:
    """Return the runs of cells that were filled one cell off, by page."""
    runs = {}
    for page in pages:
        key = (page.sheet.id, page.page.page)
        written = {(c.row, c.column): c for c in page.cells if c.status == "written" and c.grey.size}
        labels = labels_of(page, decisions)
        read = {place: traced.get((*key, *place)) for place in written}
        doubtful = {place: r is None or r.confidence < SUSPECT_CONFIDENCE for place, r in read.items()}
        if not is_suspect(page.page.cells, labels, doubtful):
            continue
        tried = labels_to_try(page.page.cells, labels)
        several = {place for place in written if len(tried[place]) > 1}
        costs: dict[CellPlace, dict[str, float]] = {}
        # of most pages the doubtful cells alone say that nothing is amiss; comparing all takes as long as reading them
        for some, least in (({place for place in several if doubtful[place]}, DOUBTED), (several, LEAST_CELLS)):
            jobs = {p: pool.submit(_costs, written[p], tried[p], handedness) for p in sorted(some - costs.keys())}
            costs |= {place: job.result() for place, job in jobs.items()}
            if not is_borne_out(page.page.cells, labels, costs, least=least):
                break
        else:
            if run := find_run(page.page.cells, labels, costs):
                runs[key] = run
    return runs


def _costs(cell: CellInk, chars: Sequence[str], handedness: str) -> dict[str, float]:
    grey: NDArray[np.uint8] = cell.grey
    try:
        costs = label_costs(
            grey,
            cell.px_per_mm * MM_PER_INCH,
            chars,
            x_height_mm=cell.cell.x_height_mm,
            baseline_mm=cell.cell.baseline_mm - cell.top_mm,
            handedness=handedness,
        )
    except DEFEATED:
        return dict.fromkeys(chars, float("nan"))
    return dict(zip(chars, costs, strict=True))


def marked(traced: Mapping[CellKey, Reading], runs: Mapping[PageKey, Run]) -> dict[CellKey, Reading]:
    """Return the readings with those of the runs' cells marked."""
    out = dict(traced)
    for (sheet, page), run in runs.items():
        for place in run.labels:
            key = (sheet, page, *place)
            reading = out.get(key, Reading((), confidence=0.0))
            out[key] = dataclasses.replace(reading, findings=(*reading.findings, run.finding(place)))
    return out


def take_labels(hand: Hand, runs: Mapping[PageKey, Run]) -> None:
    """Decide that the runs' cells hold what their neighbours ask for: one step of the review, which can be undone."""
    for (sheet, page), run in runs.items():
        book = ReviewSession(hand)
        mends = [
            {"attempt": key, "do": "label", "char": char}
            for (row, column), char in run.labels.items()
            if (key := f"{sheet}/{page}/{row}.{column}") in book.attempts
        ]
        if mends:
            words = f"{sheet} page {page}: filled one cell {run.words}"
            book.take(book.decisions.version, Place(mends, "mends", []), words)


def answered(page: PageCapture) -> PageCapture:
    """Return a page whose cells are asked about no more."""
    attempts = tuple(
        dataclasses.replace(a, findings=tuple(f for f in a.findings if f.kind != ONE_OFF)) for a in page.attempts
    )
    return dataclasses.replace(page, attempts=attempts)
