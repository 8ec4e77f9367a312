"""How far recovered strokes are from written ones: distance of the lines, and whether the strokes are the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from capture.units import Points
from tests.bench.trace_ink import even

STEP_MM = 0.05
FINE_MM = 0.005
"""The line that distances are taken to; at 0.05 mm the points' own spacing would count as an error of 12 um."""

SAMPLES = 64


@dataclass(frozen=True)
class Score:
    """The result for one character; distances in mm, nearest line, both ways."""

    mean: float
    p95: float
    worst: float
    count: bool
    """The right number of strokes."""

    paths: bool
    """... and every stroke the right path, in any order and direction."""

    order: bool
    """... and in the order written."""

    full: bool
    """... and in the direction written."""


def score(found: list[Points], true: list[Points], pen_mm: float) -> Score:
    """Return the score of found strokes against the written ones (both mm, one frame)."""
    if not found:
        return Score(np.inf, np.inf, np.inf, False, False, False, False)
    a, b = (np.concatenate([even(s, STEP_MM) for s in strokes]) for strokes in (found, true))
    fine_a, fine_b = (np.concatenate([even(s, FINE_MM) for s in strokes]) for strokes in (found, true))
    d = np.concatenate([cKDTree(fine_b).query(a)[0], cKDTree(fine_a).query(b)[0]])
    geometry = float(d.mean()), float(np.quantile(d, 0.95)), float(d.max())
    if len(found) != len(true):
        return Score(*geometry, False, False, False, False)
    within = max(0.35, 0.6 * pen_mm)
    p, q = [spread(s) for s in found], [spread(s) for s in true]
    ahead = np.array([[gap(x, y) <= within for y in q] for x in p])
    any_way = ahead | np.array([[gap(x[::-1], y) <= within for y in q] for x in p])
    left = list(range(len(q)))
    for row in any_way:
        hit = next((j for j in left if row[j]), None)
        if hit is not None:
            left.remove(hit)
    same = np.arange(len(q))
    return Score(*geometry, True, not left, bool(any_way[same, same].all()), bool(ahead[same, same].all()))


def spread(line: Points) -> Points:
    """Return a line at `SAMPLES` points of equal arc length."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))]) if len(line) > 1 else np.zeros(1)
    if s[-1] == 0:
        return np.repeat(line[:1], SAMPLES, axis=0)
    t = np.linspace(0, s[-1], SAMPLES)
    return np.stack([np.interp(t, s, line[:, 0]), np.interp(t, s, line[:, 1])], axis=1)


def gap(a: Points, b: Points) -> float:
    """Return the mean distance between corresponding points of two spread lines."""
    return float(np.hypot(*(a - b).T).mean())


def summary(scores: list[Score]) -> dict[str, float]:
    """Return the means over characters (um for distances; worst: the 95th percentile of the largest distances)."""
    out = {
        "mean": 1e3 * float(np.mean([s.mean for s in scores])),
        "p95": 1e3 * float(np.mean([s.p95 for s in scores])),
        "worst": 1e3 * float(np.quantile([s.worst for s in scores], 0.95)),
    }
    for name in ("count", "paths", "order", "full"):
        out[name] = float(np.mean([getattr(s, name) for s in scores]))
    return out
