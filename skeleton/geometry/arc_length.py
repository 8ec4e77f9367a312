"""Polylines of any unit and direction of y, measured along their length: for everything outside the compiled loops.

NumPy alone, so that a page can be composed without loading the compiler; `polyline` has the same for compiled loops.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.units import Points


def line_length(points: Points) -> float:
    """Return the length of a polyline, shape (n >= 1, 2), in its own unit; 0 for a dot."""
    return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0


def arc_lengths(points: Points) -> NDArray[np.float64]:
    """Return the length from the first point to each point of a polyline, shape (n,); the first is 0.

    Examples
    --------
    >>> arc_lengths(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0]]))
    array([0., 5., 6.])
    """
    if len(points) < 2:
        return np.zeros(len(points))
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def points_at(points: Points, where: NDArray[np.float64]) -> Points:
    """Return the points of a polyline at some arc lengths, shape (len(where), 2); its ends for those beyond."""
    along = arc_lengths(points)
    return np.column_stack([np.interp(where, along, points[:, k]) for k in (0, 1)])


def resample(points: Points, n: int) -> Points:
    """Return `n` points at equal steps along a polyline, ends included, shape (n, 2); a dot is repeated.

    Examples
    --------
    >>> resample(np.array([[0.0, 0.0], [4.0, 0.0]]), 3)[:, 0]
    array([0., 2., 4.])
    """
    total = arc_lengths(points)[-1]
    if total <= 0:
        return np.repeat(points[:1], n, axis=0)
    return points_at(points, np.linspace(0, total, n))
