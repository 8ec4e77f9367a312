"""Lengths along a polyline and points at given lengths: small work, asked for thousands of times a page.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.array_types import Line, Vector
from skeleton.geometry.jit import compiled


@compiled("float64(float64[:, ::1])")
def total_length(line: Line) -> float:
    """Return the length of a polyline."""
    out = 0.0
    for i in range(1, len(line)):
        out += math.hypot(line[i, 0] - line[i - 1, 0], line[i, 1] - line[i - 1, 1])
    return out


@compiled("float64[::1](float64[:, ::1])")
def lengths_along(line: Line) -> Vector:
    """Return the arc length at every point of a polyline, shape (n,)."""
    out = np.zeros(len(line))
    for i in range(1, len(line)):
        out[i] = out[i - 1] + math.hypot(line[i, 0] - line[i - 1, 0], line[i, 1] - line[i - 1, 1])
    return out


@compiled("float64[:, ::1](float64[:, ::1], float64[::1])")
def points_at(line: Line, where: Vector) -> Line:
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


@compiled("float64[:, ::1](float64[:, ::1], float64)")
def evenly_stepped(line: Line, step: float) -> Line:
    """Return a polyline at equal steps of about `step`, both ends kept."""
    total = total_length(line)
    n = max(2, round(total / step) + 1)
    return points_at(line, np.linspace(0.0, total, n))


@compiled("float64[:, ::1](float64[:, ::1], float64, float64)")
def part_between(line: Line, low: float, high: float) -> Line:
    """Return a polyline from one arc length to another with its own points in between; one point where low is high."""
    s = lengths_along(line)
    where = np.empty(len(line) + 2)
    where[0] = low
    n = 1
    for i in range(len(line) if high > low else 0):
        if low + 1e-6 < s[i] < high - 1e-6:
            where[n] = s[i]
            n += 1
    if high > low:
        where[n] = high
        n += 1
    return points_at(line, where[:n])


@compiled("float64[:, ::1](float64, float64, float64, float64, float64, float64, float64, float64, float64)")
def cubic(px: float, py: float, dx: float, dy: float, qx: float, qy: float, ex: float, ey: float, step: float) -> Line:
    """Return the cubic from p leaving along the unit vector d to q arriving along e, at steps of about `step`."""
    size = math.hypot(qx - px, qy - py)
    n = max(2, round(size / step) + 1)
    m = size * (0.9 if dx * ex + dy * ey > 0 else 0.5)
    out = np.empty((n, 2))
    for i in range(n):
        t = i / (n - 1)
        u = 1 - t
        a, b, c, d = u * u * (1 + 2 * t), m * t * u * u, t * t * (3 - 2 * t), -m * t * t * u
        out[i, 0] = a * px + b * dx + c * qx + d * ex
        out[i, 1] = a * py + b * dy + c * qy + d * ey
    return out


@compiled("float64[:, ::1](float64[:, ::1], boolean)")
def smoothed(line: Line, closed: bool) -> Line:
    """Return a polyline of pixel steps thrice smoothed by a window of a quarter, a half, a quarter; ends kept."""
    n = len(line)
    out, last = line.copy(), np.empty((n, 2))
    for _ in range(3 if n > 3 else 0):
        last[:] = out
        for i in range(n):
            for c in range(2):
                before = last[i - 1, c] if i > 0 else last[n - 2, c]
                after = last[i + 1, c] if i + 1 < n else last[1, c]
                out[i, c] = 0.25 * before + 0.5 * last[i, c] + 0.25 * after
        if closed:
            out[n - 1] = out[0]
        else:
            out[0], out[n - 1] = line[0], line[n - 1]
    return out


def _plain(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return an array of the one kind that the compiled loops take: in rows, writable."""
    out = np.ascontiguousarray(values, np.float64)
    return out if out.flags.writeable else out.copy()


def line_length(line: Points) -> float:
    """Return the length of a polyline."""
    return float(total_length(_plain(line)))


def along(line: Points) -> NDArray[np.float64]:
    """Return the arc length at every point of a polyline, shape (n,)."""
    out: NDArray[np.float64] = lengths_along(_plain(line))
    return out


def at_lengths(line: Points, where: NDArray[np.float64]) -> Points:
    """Return the points of a polyline at the arc lengths `where`."""
    out: Points = points_at(_plain(line), _plain(where))
    return out


def even_steps(line: Points, step: float) -> Points:
    """Return the polyline at equal steps of about `step`, both ends kept."""
    out: Points = evenly_stepped(_plain(line), step)
    return out


def part_of(line: Points, low: float, high: float) -> Points:
    """Return the polyline between two arc lengths, with its own points; one point where they are the same."""
    out: Points = part_between(_plain(line), low, high)
    return out
