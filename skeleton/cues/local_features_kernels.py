"""What is told of every place by the ink around it: inner loops of `skeleton.cues.local_features`.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import IndexTable, Indices, Line, Matrix, Stack, Vector
from skeleton.geometry.jit import compiled, inner

AROUND = 10
"""Places before and after, half a pen width apart, whose ink is looked at."""

FAR_END_PLACES = 20.0
"""Places from an end at which it no longer matters."""

INK_EDGE_DARKNESS = 0.18
"""Darkness at which the ink begins."""

FEATURE_COUNT = 57
"""Features of a place."""


@compiled
def across(places: Line, headings: Line, off: Vector) -> Stack:
    """Return points at the distances `off` to the side of every place, shape (places, off, 2), float32."""
    out = np.empty((len(places), len(off), 2), np.float32)
    for i in range(len(places)):
        for k in range(len(off)):
            out[i, k, 0] = places[i, 0] - off[k] * headings[i, 1]
            out[i, k, 1] = places[i, 1] + off[k] * headings[i, 0]
    return out


@compiled("float64(float64[::1], int64, int64)")
def _sum(values: Vector, a: int, b: int) -> float:
    """Return the sum of the values from a to b (not included), at most 128, added up in NumPy's order.

    The network was trained on sums made by NumPy (pairwise, eight at a time).
    """
    out = 0.0
    if b - a >= 8:
        r = np.zeros(8)
        for k in range(a, b - (b - a) % 8):
            r[(k - a) % 8] += values[k]
        out = ((r[0] + r[1]) + (r[2] + r[3])) + ((r[4] + r[5]) + (r[6] + r[7]))
        a = b - (b - a) % 8
    for k in range(a, b):
        out += values[k]
    return out


@compiled
def ink_runs(dark: Matrix, step: float) -> tuple[Vector, Vector]:
    """Return (width, off): the ink around the middle of every row, and how far its centre lies beyond the middle.

    NaN and 0 where it goes on beyond the row.
    """
    n, m = dark.shape
    mid = m // 2
    width, off = np.empty(n), np.zeros(n)
    run = np.empty(m)
    for i in range(n):
        for k in range(m):
            run[k] = 0.0
        a, b = mid, mid
        while a >= 0 and dark[i, a] > INK_EDGE_DARKNESS:
            run[a] = min(dark[i, a], 1.0)
            a -= 1
        while b < m and dark[i, b] > INK_EDGE_DARKNESS:
            run[b] = min(dark[i, b], 1.0)
            b += 1
        if a < 0 or b >= m:
            width[i] = np.nan
            continue
        total = _sum(run, 0, m)
        moment = 0.0
        for k in range(m):
            moment += run[k] * (k - mid)
        width[i] = total * step
        off[i] = step * moment / max(total, 1e-9)
    return width, off


@inner
def _close(told: Vector, window: Vector) -> None:
    """Set six features: the mean of a window, and what its middle tells."""
    a, b = AROUND - 4, AROUND + 5
    mean = _sum(window, a, b) / (b - a)
    off, rough = np.empty(b - a), np.empty(b - a - 1)
    low, high = window[a], window[a]
    for k in range(a, b):
        off[k - a] = (window[k] - mean) * (window[k] - mean)
        low, high = min(low, window[k]), max(high, window[k])
        if k > a:
            rough[k - a - 1] = abs(window[k] - window[k - 1])
    told[0] = _sum(window, 0, len(window)) / len(window)
    told[1] = math.sqrt(_sum(off, 0, b - a) / (b - a))
    told[2] = _sum(rough, 0, b - a - 1) / (b - a - 1)
    told[3] = _sum(window, AROUND - 2, AROUND + 3) / 5
    told[4], told[5] = low, high


@inner
def _turn(told: Vector, headings: Line, i: int, k: int, sign: int, low: int, high: int) -> None:
    """Set two features: cosine and sine of the turn of the line within `k` places of place i."""
    a, b = min(max(i - k * sign, low), high), min(max(i + k * sign, low), high)
    ax, ay, bx, by = headings[a, 0], headings[a, 1], headings[b, 0], headings[b, 1]
    told[0], told[1] = ax * bx + ay * by, ax * by - ay * bx


@compiled
def place_features(
    width: Vector,
    usual: float,
    whole: Vector,
    places: Line,
    headings: Line,
    first: Indices,
    free: IndexTable,
    low: Vector,
    size: float,
) -> Matrix:
    """Return (places, FEATURE_COUNT): what the width of the ink and the place in the figure tell of every place.

    usual: the width that counts as 1. whole (5,): what is the same for all places. first: the first place of every
    piece, and the end of the last. free (pieces, 2): whether its ends are free tips. low, size: top left of the
    character, and its longer side.
    """
    n = len(width)
    out = np.zeros((n, FEATURE_COUNT))
    window = np.zeros(2 * AROUND + 1)
    left, top = low
    for p in range(len(first) - 1):
        begin, end = first[p], first[p + 1] - 1
        either, both = free[p, 0] or free[p, 1], free[p, 0] and free[p, 1]
        for i in range(begin, end + 1):
            before = float(i - begin) if free[p, 0] else FAR_END_PLACES
            after = float(end - i) if free[p, 1] else FAR_END_PLACES
            back = before > after if either else headings[i, 1] < 0
            sign = -1 if back else 1
            for k in range(2 * AROUND + 1):
                at = i + sign * (k - AROUND)
                unknown = at < begin or at > end or np.isnan(width[at])
                window[k] = 0.0 if unknown else min(max(width[at] / usual - 1.1, -0.5), 1.2)
                out[i, k] = window[k]
                if 4 <= k <= AROUND + 6:
                    out[i, 17 + k] = 1.0 if unknown else 0.0
            out[i, 34] = min(end - i if back else i - begin, FAR_END_PLACES)
            out[i, 35] = min(i - begin if back else end - i, FAR_END_PLACES)
            out[i, 36], out[i, 37] = either, both
            out[i, 38], out[i, 39] = sign * headings[i, 0], sign * headings[i, 1]
            for k in range(2):
                _turn(out[i, 40 + 2 * k :], headings, i, 3 + 4 * k, sign, begin, end)
            out[i, 44], out[i, 45] = (places[i, 0] - left) / size, (places[i, 1] - top) / size
            for k in range(5):
                out[i, 46 + k] = whole[k]
            _close(out[i, 51:], window)
    return out
