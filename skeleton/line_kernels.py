"""Lengths along a polyline and points at given lengths: small work, asked for thousands of times a page.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit


@njit("float64(float64[:, ::1])", cache=True)
def total_length(line: Any) -> float:
    """Return the length of a polyline."""
    out = 0.0
    for i in range(1, len(line)):
        out += math.hypot(line[i, 0] - line[i - 1, 0], line[i, 1] - line[i - 1, 1])
    return out


@njit("float64[::1](float64[:, ::1])", cache=True)
def lengths_along(line: Any) -> Any:
    """Return the arc length at every point of a polyline, shape (n,)."""
    out = np.zeros(len(line))
    for i in range(1, len(line)):
        out[i] = out[i - 1] + math.hypot(line[i, 0] - line[i - 1, 0], line[i, 1] - line[i - 1, 1])
    return out


@njit("float64[:, ::1](float64[:, ::1], float64[::1])", cache=True)
def points_at(line: Any, where: Any) -> Any:
    """Return the points of a polyline at the arc lengths `where`, in any order; its ends for those beyond."""
    s = lengths_along(line)
    n = len(line)
    out = np.empty((len(where), 2))
    k = 0
    for i in range(len(where)):
        t = where[i]
        if t <= 0.0:
            out[i, 0], out[i, 1] = line[0, 0], line[0, 1]
            continue
        if t >= s[n - 1]:
            out[i, 0], out[i, 1] = line[n - 1, 0], line[n - 1, 1]
            continue
        if s[k] > t:
            k = 0
        while s[k + 1] < t:
            k += 1
        gap = s[k + 1] - s[k]
        u = (t - s[k]) / gap if gap > 0.0 else 0.0
        out[i, 0] = line[k, 0] + u * (line[k + 1, 0] - line[k, 0])
        out[i, 1] = line[k, 1] + u * (line[k + 1, 1] - line[k, 1])
    return out
