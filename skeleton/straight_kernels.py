"""How straight the straight lines are: inner loops of `skeleton.evidence`.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from skeleton.compiled import inner
from skeleton.line_kernels import points_at, total_length

SAMPLES = 24
"""Points at which a line is looked at, its ends left out."""

CORNER = 0.75
"""Cosine of the turn within a pen width below which a line has a corner."""

STRAIGHT = 0.03
"""Bow, as a share of the length, from which a line was not meant to be straight."""

DRAFTED = 0.0035
"""Bow of a line drawn with care."""


@njit("float64[::1](float64, float64, float64, int64)", cache=True)
def _evenly(total: float, first: float, last: float, count: int) -> Any:
    """Return `count` lengths from one share of a whole to another."""
    step = (last * total - first * total) / (count - 1)
    out = np.empty(count)
    for k in range(count):
        out[k] = first * total + k * step
    out[count - 1] = last * total
    return out


@inner
def _bow(line: Any, size: float) -> float:
    """Return how far a line strays from straight, as a share of its length, single jags smoothed away."""
    p = points_at(line, _evenly(size, 0.08, 0.92, SAMPLES))
    dx, dy = p[-1, 0] - p[0, 0], p[-1, 1] - p[0, 1]
    chord = max(math.hypot(dx, dy), 1e-9)
    off = np.empty(SAMPLES)
    mean = 0.0
    for k in range(SAMPLES):
        off[k] = (p[k, 1] * dx - p[k, 0] * dy) / chord
        mean += off[k] / SAMPLES
    total = 0.0
    for k in range(2, SAMPLES - 2):
        smooth = (off[k - 2] + off[k - 1] + off[k] + off[k + 1] + off[k + 2]) / 5 - mean
        total += smooth * smooth / (SAMPLES - 4)
    return math.sqrt(total) / size


@inner
def _corners(p: Any, k: int) -> Any:
    """Return the indices of the sharpest places of corners of evenly spaced points, looked at `k` points about."""
    n = len(p) - 2 * k
    cos = np.empty(n)
    for i in range(n):
        ax, ay = p[i + k, 0] - p[i, 0], p[i + k, 1] - p[i, 1]
        bx, by = p[i + 2 * k, 0] - p[i + k, 0], p[i + 2 * k, 1] - p[i + k, 1]
        cos[i] = (ax * bx + ay * by) / max(math.hypot(ax, ay) * math.hypot(bx, by), 1e-9)
    out = [0]
    best = -1
    for i in range(n):
        if cos[i] < CORNER:
            best = i if best < 0 or cos[i] < cos[best] else best
        elif best >= 0:
            out.append(best + k)
            best = -1
    if best >= 0:
        out.append(best + k)
    out.append(len(p) - 1)
    return out


@njit(cache=True)
def straightness(points: Any, starts: Any, pen: float) -> Any:
    """Return (weight, score): length of straight lines between corners, and how much of it is drafted.

    points, starts: lines end to end.
    """
    weight, score = 0.0, 0.0
    k = max(2, round(0.9 * pen))
    for i in range(len(starts) - 1):
        p = points[starts[i] : starts[i + 1]]
        cuts = [0, len(p) - 1]
        total = total_length(p)
        count = max(2, int(total) + 1)
        if count >= 2 * k + 2:
            p = points_at(p, _evenly(total, 0.0, 1.0, count))
            cuts = _corners(p, k)
        for c in range(len(cuts) - 1):
            part = p[cuts[c] : cuts[c + 1] + 1]
            size = total_length(part)
            if size < 3.5 * pen or (len(cuts) > 2 and len(part) < 3):
                continue
            bow = _bow(part, size)
            if bow < STRAIGHT:
                weight += size
                score += size * math.exp(-((bow / DRAFTED) ** 2))
    return weight, score
