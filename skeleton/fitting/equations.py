"""The equations of a fit: banded, as a pixel depends on two neighbouring points and the prior on four.

Unknowns are x, y and half-width of every point in turn. Of the matrix `a`, shape (3 n + BAND, BAND + 1), `a[i, k]` is
entry (i + k, i); `b`, shape (3 n + BAND,), is the right-hand side. Compiled by numba like
`skeleton.fitting.render_fit`.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Matrix, Vector
from skeleton.geometry.jit import compiled

BAND = 9
"""Unknowns are x, y, half-width of every point in turn: third differences reach nine places on."""

STEADY = 10.0
"""Weight of the half-width staying the same from point to point: it follows changes within some two pen widths."""

USUAL = 0.05
"""Weight of the half-width being the usual one, the median of the character; for where the ink does not tell."""

DAMP = 0.02
"""Weight of staying, against drifting along the line."""

PRODUCT = ((0, 1, 2), (1, 3, 4), (2, 4, 5))
"""Which of six products of three stands where in their matrix."""


@compiled(fastmath=True)
def hear(asked: Matrix, times: float, a: Matrix, b: Matrix) -> None:
    """Set the equations to what the pixels ask for, so many times."""
    a[:] = 0
    b[:] = 0
    for i in range(len(asked)):
        sums, k = asked[i], 3 * i
        for r in range(3):
            b[k + r] += times * sums[18 + r]
            b[k + 3 + r] += times * sums[21 + r]
            for p in range(3):
                at = PRODUCT[r][p]
                a[k + r, 3 + p - r] += times * sums[6 + at]
                if p >= r:
                    a[k + r, p - r] += times * sums[at]
                    a[k + 3 + r, p - r] += times * sums[12 + at]


@compiled(fastmath=True)
def add_shape(points: Line, stroke: Indices, a: Matrix, b: Matrix, third: float, second: float, corner: float) -> float:
    """Add the prior on the line's shape to the equations; return what it finds wanting."""
    n = len(points)
    cost = 0.0
    c = np.zeros(4)
    for order in (3, 2):
        if order == 3:
            c[0], c[1], c[2], c[3] = -1.0, 3.0, -3.0, 1.0
        else:
            c[0], c[1], c[2], c[3] = 1.0, -2.0, 1.0, 0.0
        stiffness = third if order == 3 else second
        for i in range(n - order):
            if stroke[i + order] != stroke[i]:
                continue
            tx, ty = 0.0, 0.0
            for p in range(order + 1):
                tx += c[p] * points[i + p, 0]
                ty += c[p] * points[i + p, 1]
            t = tx * tx + ty * ty
            rest = 1.0 / (1.0 + t / (corner * corner))
            cost += stiffness * t * rest
            lam = stiffness * rest * rest
            for p in range(order + 1):
                k = 3 * (i + p)
                b[k] -= lam * c[p] * tx
                b[k + 1] -= lam * c[p] * ty
                for r in range(p + 1):
                    a[k - 3 * (p - r), 3 * (p - r)] += lam * c[p] * c[r]
                    a[k - 3 * (p - r) + 1, 3 * (p - r)] += lam * c[p] * c[r]
    return cost


@compiled(fastmath=True)
def keep(half: Vector, stroke: Indices, middle: float, a: Matrix, b: Matrix) -> None:
    """Add to the equations that half-widths stay alike, about `middle`, and that points stay where nothing is told."""
    n = len(half)
    for i in range(n):
        k = 3 * i
        if i + 1 < n and stroke[i + 1] == stroke[i]:
            t = half[i + 1] - half[i]
            b[k + 2] += STEADY * t
            b[k + 5] -= STEADY * t
            a[k + 2, 0] += STEADY
            a[k + 5, 0] += STEADY
            a[k + 2, 3] -= STEADY
        b[k + 2] -= USUAL * (half[i] - middle)
        a[k + 2, 0] += USUAL
        for p in range(3):
            a[k + p, 0] += DAMP


@compiled(fastmath=True)
def solve(a: Matrix, b: Matrix) -> None:
    """Solve a symmetric positive definite banded system; `a[i, k]` is entry (i + k, i); `b` becomes x.

    L D L', column by column: what a column takes from those after it are rows of `a`, all of one length. `a` and `b`
    have `BAND` rows of zeros more than there are unknowns.
    """
    n = len(b) - BAND
    column = np.zeros(2 * BAND + 1)
    for i in range(n):
        here = a[i]
        per = 1.0 / max(here[0], 1e-9)
        for k in range(1, BAND + 1):
            column[k] = here[k]
            here[k] *= per
        for k in range(1, BAND + 1):
            c = here[k]
            row = a[i + k]
            b[i + k] -= c * b[i]
            for m in range(BAND + 1):
                row[m] -= c * column[k + m]
        b[i] *= per
    for i in range(n - 1, -1, -1):
        s = b[i]
        for k in range(1, BAND + 1):
            s -= a[i, k] * b[i + k]
        b[i] = s
