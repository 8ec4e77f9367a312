"""Splines and even steps: small work, done for every stroke of every form of a character.

Compiled by numba on first use and kept on disk; imported only when forms are drawn.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Line, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.geometry.polyline import lengths_along


@inner
def _mix(a: float, b: float, t: float, p: float, q: float) -> float:
    """Return the value at `t` on the straight line from p at a to q at b."""
    return (b - t) / (b - a) * p + (t - a) / (b - a) * q


@compiled
def spline_through(p: Line, fine: Vector) -> Line:
    """Return the first inner knot and points at the shares `fine` of every stretch between inner knots.

    p (n + 2, 2): the knots with one more at either end; centripetal Catmull-Rom (Barry & Goldman 1988).
    """
    n, m = len(p) - 3, len(fine)
    out = np.empty((n * m + 1, 2))
    out[0, 0], out[0, 1] = p[1, 0], p[1, 1]
    t = np.zeros(4)
    for i in range(n):
        for k in range(3):
            gap = math.hypot(p[i + k + 1, 0] - p[i + k, 0], p[i + k + 1, 1] - p[i + k, 1])
            t[k + 1] = t[k] + math.sqrt(max(gap, 1e-9))
        for k in range(m):
            at = t[1] + (t[2] - t[1]) * fine[k]
            for c in range(2):
                a1 = _mix(t[0], t[1], at, p[i, c], p[i + 1, c])
                a2 = _mix(t[1], t[2], at, p[i + 1, c], p[i + 2, c])
                a3 = _mix(t[2], t[3], at, p[i + 2, c], p[i + 3, c])
                b1, b2 = _mix(t[0], t[2], at, a1, a2), _mix(t[1], t[3], at, a2, a3)
                out[i * m + k + 1, c] = _mix(t[1], t[2], at, b1, b2)
    return out


@compiled
def in_even_steps(p: Line, step: float) -> Line:
    """Return points of a polyline about `step` apart along it, both ends kept; one if it has no length."""
    n = len(p)
    along = lengths_along(p)
    total = along[n - 1]
    if total == 0:
        return p[:1].copy()
    count = max(2, math.ceil(total / step) + 1)
    out = np.empty((count, 2))
    gap = total / (count - 1)
    j = 0
    for k in range(count - 1):
        at = k * gap
        while j < n - 2 and along[j + 1] <= at:
            j += 1
        for c in range(2):
            slope = (p[j + 1, c] - p[j, c]) / (along[j + 1] - along[j])
            out[k, c] = slope * (at - along[j]) + p[j, c]
    out[count - 1, 0], out[count - 1, 1] = p[n - 1, 0], p[n - 1, 1]
    return out
