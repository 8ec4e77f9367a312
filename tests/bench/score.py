"""How far recovered strokes are from the written ones.

Strokes are (n, 2) arrays in mm, in one frame, in the order and direction of writing. Two paths are the same when, at
64 points of equal arc length, their mean distance is within 0.6 pen widths or 0.35 mm, whichever is larger. No slack
is given for where a closed stroke starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Array = NDArray[np.float64]

STEP_MM = 0.05
PLACES = 64


@dataclass(frozen=True)
class Score:
    """One character, recovered against written."""

    mean_mm: float
    """Nearest distances between the two sets of lines, both ways, at every `STEP_MM`: their mean ..."""

    p95_mm: float
    max_mm: float
    count: bool
    """The right number of strokes ..."""

    paths: bool
    """... and each of them a written one, in any order and direction ..."""

    order: bool
    """... and in the order written ..."""

    full: bool
    """... and in the direction written."""


@dataclass(frozen=True)
class Summary:
    """Many characters: distances in micrometres, and shares."""

    n: int
    mean_um: float
    p95_um: float
    worst_um: float
    """95th percentile over the characters of their largest distances."""

    count: float
    paths: float
    order: float
    full: float


def tolerance_mm(pen_mm: float) -> float:
    """Return how far two paths may lie apart on average and be the same."""
    return max(0.35, 0.6 * pen_mm)


def at_even_steps(line: Array, n: int) -> Array:
    """Return `n` points of equal arc length along `line`."""
    p = np.asarray(line, float)
    way = np.r_[0.0, np.cumsum(np.hypot(*np.diff(p, axis=0).T))] if len(p) > 1 else np.zeros(1)
    if way[-1] < 1e-12:
        return np.repeat(p[:1], n, axis=0)
    at = np.linspace(0, way[-1], n)
    return np.column_stack([np.interp(at, way, p[:, 0]), np.interp(at, way, p[:, 1])])


def _cloud(lines: Sequence[Array]) -> Array:
    out = []
    for line in lines:
        length = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0
        out.append(at_even_steps(line, max(2, int(np.ceil(length / STEP_MM)) + 1)) if length > 1e-9 else line[:1])
    return np.vstack(out)


def score(found: Sequence[Array], written: Sequence[Array], *, pen_mm: float) -> Score:
    """Return how well `found` gives back `written`; no strokes found count as one dot at the origin."""
    found = [np.asarray(p, float) for p in found] or [np.zeros((1, 2))]
    written = [np.asarray(p, float) for p in written]
    a, b = _cloud(found), _cloud(written)
    away = np.r_[cKDTree(b).query(a)[0], cKDTree(a).query(b)[0]]
    distances = float(away.mean()), float(np.quantile(away, 0.95)), float(away.max())
    if len(found) != len(written):
        return Score(*distances, count=False, paths=False, order=False, full=False)
    f, w = ([at_even_steps(line, PLACES) for line in lines] for lines in (found, written))
    within = tolerance_mm(pen_mm)

    def same(p: Array, q: Array) -> bool:
        return bool(np.hypot(*(p - q).T).mean() <= within)

    def either(p: Array, q: Array) -> bool:
        return same(p, q) or same(p[::-1], q)

    left = list(range(len(w)))
    for p in f:
        match = next((j for j in left if either(p, w[j])), None)
        if match is not None:
            left.remove(match)
    return Score(
        *distances,
        count=True,
        paths=not left,
        order=all(either(p, q) for p, q in zip(f, w, strict=True)),
        full=all(same(p, q) for p, q in zip(f, w, strict=True)),
    )


def summary(scores: Sequence[Score]) -> Summary:
    """Return the means over many characters."""
    mean = {k: float(np.mean([getattr(s, k) for s in scores])) for k in ("count", "paths", "order", "full")}
    return Summary(
        n=len(scores),
        mean_um=1e3 * float(np.mean([s.mean_mm for s in scores])),
        p95_um=1e3 * float(np.mean([s.p95_mm for s in scores])),
        worst_um=1e3 * float(np.quantile([s.max_mm for s in scores], 0.95)),
        **mean,
    )
