"""Rows of the tracer's bench: every character inked, read by both pipelines and scored, on all cores."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.stroke import Stroke
from skeleton.joint_reading import read_together
from skeleton.options import Options
from skeleton.pipeline import read
from tests.bench.trace_data import OWN_DPI, Case
from tests.bench.trace_ink import ink
from tests.bench.trace_reference import reference
from tests.bench.trace_score import Score, score, summary

COLUMNS = ("mean", "p95", "worst", "count", "paths", "order", "full")
OWN = "own"
"""Ink that a data set brings itself."""

DISCS = "discs"

ALL_PARTS = Options()

Picture = tuple[NDArray[np.uint8], Points]
"""Grey image, and the offset of its frame (mm)."""


@dataclass(frozen=True)
class Setting:
    """The pen and the scan."""

    pen_mm: float = 0.5
    dpi: float = 300.0
    kind: str = "noisy"
    """Of `trace_ink.ink`; 'discs': noisy, drawn by a drawing library's discs."""


@dataclass(frozen=True, eq=False)
class Result:
    """What one pipeline made of one character."""

    strokes: list[Points]
    score: Score
    ms: float
    """CPU time."""


Reader = Callable[[Sequence[Case], Sequence[Picture], Setting], list[list[Points]]]
"""Reads all attempts of one writer at one character."""

Map = Callable[..., Iterator[list[Result]]]


def picture(case: Case, setting: Setting, seed: int) -> Picture:
    """Return the image of a case."""
    if setting.kind == OWN and case.grey is not None:
        return case.grey, np.zeros(2)
    discs = setting.kind == DISCS
    kind = "noisy" if discs else setting.kind
    return ink(case.strokes, dpi=setting.dpi, pen_mm=setting.pen_mm, kind=kind, seed=seed, discs=discs)


def by_reference(cases: Sequence[Case], images: Sequence[Picture], setting: Setting) -> list[list[Points]]:
    """Read with the plain pipeline."""
    return [reference(im, setting.dpi) for im, _ in images]


def by_tracer(
    cases: Sequence[Case], images: Sequence[Picture], setting: Setting, options: Options = ALL_PARTS
) -> list[list[Points]]:
    """Read every image by itself."""
    return [_one(c, im, setting.dpi, (), options) for c, (im, _) in zip(cases, images, strict=True)]


def by_all(cases: Sequence[Case], images: Sequence[Picture], setting: Setting) -> list[list[Points]]:
    """Read all attempts together."""
    found = read_together([im for im, _ in images], setting.dpi, cases[0].char, alternatives=0)
    return [[s.points_mm for s in r.strokes] for r in found]


def by_known(cases: Sequence[Case], images: Sequence[Picture], setting: Setting) -> list[list[Points]]:
    """Read every image with the strokes of another attempt known."""
    known = [[[Stroke(s) for s in cases[i - 1].strokes]] for i in range(len(cases))]
    return [_one(c, im, setting.dpi, k, ALL_PARTS) for c, (im, _), k in zip(cases, images, known, strict=True)]


def _one(
    case: Case, image: NDArray[np.uint8], dpi: float, known: Sequence[Sequence[Stroke]], options: Options
) -> list[Points]:
    char = case.char if case.known else None
    r = read(image, dpi, char, handedness="right", known=known, options=options, judged=False)
    return [s.points_mm for s in r.strokes]


def groups(cases: list[Case]) -> list[list[tuple[int, Case]]]:
    """Return the attempts of one writer at one character, at least two, with their numbers in the set."""
    found: dict[tuple[str, str], list[tuple[int, Case]]] = {}
    for i, c in enumerate(cases):
        if c.known:
            found.setdefault((c.writer, c.char), []).append((i, c))
    return [g for g in found.values() if len(g) > 1]


@contextmanager
def cores(count: int | None = None) -> Iterator[Map]:
    """Yield a map over processes of one thread each, compiled code ready in each of them."""
    before = cv2.getNumThreads()
    # before the processes part from this one: a second thread spins, and its time would be counted
    cv2.setNumThreads(1)
    try:
        with ProcessPoolExecutor(count or os.cpu_count() or 1, initializer=_warm) as pool:
            yield partial(pool.map, chunksize=4)
    finally:
        cv2.setNumThreads(before)


def _warm() -> None:
    """Compile and import what is needed: not a part of any row's time."""
    line = np.stack([np.linspace(0, 5, 40), np.linspace(0, 6, 40)], axis=1)
    arch = np.stack([np.linspace(0, 5, 40), 3 + 2 * np.sin(np.linspace(0, 3, 40))], axis=1)
    case = Case("x", "x", [line, arch])
    for _ in range(2):
        image = [picture(case, Setting(), 1)]
        by_tracer([case], image, Setting())
        by_reference([case], image, Setting())


def row(run: Map, reader: Reader, batches: Sequence[Sequence[tuple[int, Case]]], setting: Setting) -> list[Result]:
    """Return the results for all cases, batch by batch."""
    return [r for batch in run(partial(_batch, reader, setting), batches) for r in batch]


def _batch(reader: Reader, setting: Setting, batch: Sequence[tuple[int, Case]]) -> list[Result]:
    cases = [c for _, c in batch]
    images = [picture(c, setting, i) for i, c in batch]
    start = time.process_time()
    found = reader(cases, images, setting)
    ms = 1e3 * (time.process_time() - start) / len(batch)
    return [
        Result(f, score(f, [s + off for s in c.strokes], setting.pen_mm), ms)
        for f, c, (_, off) in zip(found, cases, images, strict=True)
    ]


def heading() -> str:
    """Return the table's first line."""
    names = "".join(f"{c:>8}" for c in (*COLUMNS, "in turn", "ms", "times"))
    return f"{'data':<24}{'n':>5}{'pen':>5}{'dpi':>5} {'ink':<9}{'read by':<12}{names}"


def line(name: str, setting: Setting, label: str, results: list[Result], ref_ms: float | None = None) -> str:
    """Return one line: um, shares, CPU ms a character and how many times the reference's that is."""
    m = summary([r.score for r in results])
    ms = mean_ms(results)
    head = f"{name:<24}{len(results):>5}{setting.pen_mm:>5}{setting.dpi:>5.0f} {setting.kind:<9}{label:<12}"
    of_right = f"{m['full'] / m['paths']:>8.3f}" if m["paths"] else f"{'-':>8}"
    times = f"{ms / ref_ms:>8.1f}" if ref_ms else ""
    return (
        head
        + "".join(f"{m[c]:>8.1f}" for c in COLUMNS[:3])
        + "".join(f"{m[c]:>8.3f}" for c in COLUMNS[3:])
        + of_right
        + f"{ms:>8.2f}"
        + times
    )


def mean_ms(results: list[Result]) -> float:
    """Return the mean CPU time of a character."""
    return float(np.mean([r.ms for r in results]))


def own_setting(cases: list[Case]) -> Setting | None:
    """Return the setting of a set that brings its own ink."""
    mine = [c for c in cases if c.grey is not None]
    return Setting(cases[0].pen_mm, OWN_DPI, OWN) if len(mine) == len(cases) else None
