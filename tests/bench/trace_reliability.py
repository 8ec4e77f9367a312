"""Whether confidence is the share of readings that are right: a reliability diagram as a table.

Readings in ten bins of confidence, each with the share that is right in paths, order and direction (*full*) and its
95 % interval (Wilson 1927); the expected calibration error is the mean gap between the two, weighed by readings
(Naeini, Cooper & Hauskrecht 2015). Few readings have some by chance, however true their confidence: what that would be
stands beside it (consistency resampling, Broecker & Smith 2007).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from skeleton.pipeline import read
from tests.bench.trace_data import Case
from tests.bench.trace_rows import Map, Setting, picture
from tests.bench.trace_score import score

BINS = 10
LEAST_SURE_SHARE = 0.1
DRAWS = 500
"""How often outcomes are drawn by lot that are right as often as the confidence says."""

Z95 = 1.959964
"""Quantile of the normal distribution for an interval of 95 %."""

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Bin:
    """Readings whose confidence lies between two bounds."""

    count: int
    confidence: float
    """Mean."""

    right: float
    """Share that is right."""

    low: float
    high: float
    """Ends of the 95 % interval of that share."""


def bins(confidence: Floats, right: Flags) -> list[Bin]:
    """Return the bins that hold any reading, the least sure first; confidence, right: shape (n,)."""
    number = np.minimum((confidence * BINS).astype(int), BINS - 1)
    out = []
    for k in np.unique(number):
        here = number == k
        n, share = int(here.sum()), float(right[here].mean())
        middle = (share + Z95**2 / (2 * n)) / (1 + Z95**2 / n)
        half = Z95 / (1 + Z95**2 / n) * np.sqrt(share * (1 - share) / n + Z95**2 / (4 * n * n))
        out.append(Bin(n, float(confidence[here].mean()), share, float(middle - half), float(middle + half)))
    return out


def calibration_error(confidence: Floats, right: Flags) -> float:
    """Return the expected calibration error in `BINS` bins."""
    every = bins(confidence, right)
    return sum(b.count * abs(b.confidence - b.right) for b in every) / max(sum(b.count for b in every), 1)


def calibration_error_by_chance(confidence: Floats) -> float:
    """Return the mean calibration error of as many readings of which each is right as often as its confidence says."""
    rng = np.random.default_rng(0)
    drawn = rng.random((DRAWS, len(confidence))) < confidence
    return float(np.mean([calibration_error(confidence, right) for right in drawn]))


def wrong_among_least_sure(confidence: Floats, right: Flags) -> float:
    """Return the share of the wrong readings that the least sure tenth holds; nan where none is wrong."""
    if right.all():
        return float("nan")
    rank = np.argsort(confidence, kind="stable")[: max(1, round(LEAST_SURE_SHARE * len(confidence)))]
    return float((~right[rank]).sum() / (~right).sum())


def judged(run: Map, cases: Sequence[Case], setting: Setting) -> tuple[Floats, Flags]:
    """Return the confidence of every reading, and whether it is right in full, each of shape (n,)."""
    found = np.array(list(run(partial(_judged, setting), enumerate(cases)))).reshape(-1, 2)
    return found[:, 0], found[:, 1] > 0


def _judged(setting: Setting, numbered: tuple[int, Case]) -> tuple[float, float]:
    i, case = numbered
    image, off = picture(case, setting, i)
    r = read(image, setting.dpi, case.char if case.known else None, handedness="right", known=())
    found = score([s.points_mm for s in r.strokes], [s + off for s in case.strokes], setting.pen_mm)
    return r.confidence, float(found.full)


def report(name: str, confidence: Floats, right: Flags) -> str:
    """Return the table of a data set."""
    lines = [f"{name}: confidence of {len(right)} readings and the share that is right"]
    lines += [
        f"  {b.confidence:.3f}  {b.right:.3f} ({b.low:.2f} to {b.high:.2f})  {b.count:>5}"
        for b in bins(confidence, right)
    ]
    error, chance = calibration_error(confidence, right), calibration_error_by_chance(confidence)
    lines.append(f"  expected calibration error {error:.3f}, of true confidences {chance:.3f} by chance")
    wrong = wrong_among_least_sure(confidence, right)
    share = "none is wrong" if np.isnan(wrong) else f"{wrong:.3f} of the wrong ones"
    lines.append(f"  the least sure tenth holds {share}")
    return "\n".join(lines)
