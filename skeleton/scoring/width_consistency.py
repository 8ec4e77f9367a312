"""Whether stretches of ink belong to one stroke, by the width that the pen leaves.

The pressure of a pen changes slowly along a stroke, and is another when it comes down again. So the widths of a stroke
are taken for a Gaussian process along its length (Rasmussen & Williams 2006, chapter 2), and what its parts tell
together is held against what each tells alone.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Indices, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.states.paths import PathContext, cosine

ALIKE_WITHIN_SHARE = 0.12
"""Share of a stroke's length within which widths are alike."""

WIDTH_NOISE_SHARE = 0.08
"""Standard deviation of one width, as a share of the usual."""

MAX_WIDTH_SHARE = 1.5
"""Width, as a share of the usual, from which lines may lie over each other."""

JUNCTION_MARGIN_PLACES = 2
"""Places beside a junction whose width is not the line's own."""

CORNER_COSINE = 0.5
"""Cosine of the turn within two pen widths below which the width is not the line's own."""

PLACE_STRIDE = 2
"""One place in so many is looked at."""

MAX_LOG_ODDS, MIN_LOG_ODDS = 4.0, -6.0
"""Bounds of what one stroke tells."""


@compiled
def own_widths(context: PathContext, width: Vector) -> tuple[Vector, float]:
    """Return (widths, variance): less their mean, NaN where they are not the line's own; width: shares of the usual."""
    n = len(width)
    out = np.full(n, np.nan)
    total, square, m = 0.0, 0.0, 0
    for p in range(context.lines):
        a, b = context.first[p], context.first[p + 1]
        for q in range(a, b):
            before, after = q - a, b - 1 - q
            beside = before < (JUNCTION_MARGIN_PLACES if context.junction_of[p, 0] >= 0 else 1)
            beside = beside or after < (JUNCTION_MARGIN_PLACES if context.junction_of[p, 1] >= 0 else 1)
            share = width[q]
            if beside or not share < MAX_WIDTH_SHARE:
                continue
            out[q] = share
            total += share
            square += share * share
            m += 1
    mean = total / max(m, 1)
    return out - mean, max(square / max(m, 1) - mean * mean - 0.0009, 1e-5)


@inner
def _evidence(u: Vector, y: Vector, a: int, b: int, variance: float) -> float:
    """Return the log likelihood of widths y[a:b] at u[a:b], without its constant."""
    n = b - a
    low = np.zeros((n, n))
    z = np.zeros(n)
    out = 0.0
    for i in range(n):
        for j in range(i + 1):
            d = (u[a + i] - u[a + j]) / ALIKE_WITHIN_SHARE
            s = variance * math.exp(-0.5 * d * d)
            for k in range(j):
                s -= low[i, k] * low[j, k]
            low[i, j] = math.sqrt(max(s + WIDTH_NOISE_SHARE * WIDTH_NOISE_SHARE, 1e-9)) if i == j else s / low[j, j]
        s = y[a + i]
        for k in range(i):
            s -= low[i, k] * z[k]
        z[i] = s / low[i, i]
        out -= 0.5 * z[i] * z[i] + math.log(low[i, i])
    return out


@compiled
def link_cost(
    context: PathContext, walks: FlatPaths, count: Indices, widths: Vector, variance: float
) -> tuple[float, float]:
    """Return the cost of taking each stroke's parts for one stroke's: of those that look so, of those that do not.

    count, widths (places,): how often the walks pass, and widths as `own_widths` gives them, NaN where they tell
    nothing.
    """
    walk, starts = walks
    pro, contra = 0.0, 0.0
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        n = b - a
        at = np.zeros(n)
        good = np.zeros(n, np.bool_)
        for k in range(n):
            q = walk[a + k] // 2
            if k > 0:
                at[k] = at[k - 1] + (context.spacing[context.piece[walk[a + k]]] if walk[a + k - 1] // 2 != q else 0.0)
            good[k] = count[q] == 1 and not math.isnan(widths[q])
        for k in range(2, n - 2):
            if cosine(context, walk[a + k - 2], walk[a + k + 2]) < CORNER_COSINE:
                for j in range(k - 1, k + 2):
                    good[j] = False
        u, y, run = np.zeros(n), np.zeros(n), np.zeros(n, np.int32)
        m, runs, since = 0, 0, -1
        for k in range(n):
            if not good[k]:
                runs += 1 if since >= 0 else 0
                since = -1
                continue
            since += 1
            if since % PLACE_STRIDE == 0:
                u[m], y[m], run[m] = at[k] / max(at[n - 1], 1e-6), widths[walk[a + k] // 2], runs
                m += 1
        if m < 4 or run[m - 1] == run[0]:
            continue
        told = _evidence(u, y, 0, m, variance)
        begin = 0
        for k in range(1, m + 1):
            if k == m or run[k] != run[begin]:
                told -= _evidence(u, y, begin, k, variance)
                begin = k
        pro += min(max(told, 0.0), MAX_LOG_ODDS)
        contra += max(min(told, 0.0), MIN_LOG_ODDS)
    return -pro, -contra
