"""What fitted strokes leave open: ink about their ends that none explains, loops whose legs may be exchanged.

Compiled by numba like `skeleton.fitting.render_fit`.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.fitting.signed_distance import BITS, LANES, NEAR, blank, find_edges, numbered
from skeleton.geometry.array_types import IndexTable, Indices, Line, Matrix, Picture, Vector
from skeleton.geometry.jit import compiled


@compiled
def ends_of(stroke: Indices) -> Indices:
    """Return the first and last point of every stroke of more than one point, in turn; stroke (n,): its number."""
    n = len(stroke)
    out = np.empty(2 * n, np.int64)
    count, first = 0, 0
    for i in range(1, n + 1):
        if i == n or stroke[i] != stroke[first]:
            if i - first > 1:
                out[count], out[count + 1] = first, i - 1
                count += 2
            first = i
    return out[:count]


@compiled
def crossings(points: Line, stroke: Indices, longest: float) -> IndexTable:
    """Return (k, 2): the segments i < j that cross, by their first points; `longest`: bound on a segment's length."""
    n = len(points)
    out = np.zeros((64, 2), np.int64)
    k = 0
    for i in range(n - 3):
        if stroke[i + 1] != stroke[i]:
            continue
        ax, ay = points[i, 0], points[i, 1]
        vx, vy = points[i + 1, 0] - ax, points[i + 1, 1] - ay
        for j in range(i + 2, n - 1):
            cx, cy = points[j, 0] - ax, points[j, 1] - ay
            if abs(cx) > longest or abs(cy) > longest or stroke[j + 1] != stroke[j]:
                continue
            wx, wy = points[j + 1, 0] - points[j, 0], points[j + 1, 1] - points[j, 1]
            det = vx * wy - vy * wx
            if abs(det) < 1e-12:
                continue
            u = (cx * wy - cy * wx) / det
            v = (cx * vy - cy * vx) / det
            if 0 <= u <= 1 and 0 <= v <= 1 and k < 64:
                out[k, 0], out[k, 1] = i, j
                k += 1
    return out[:k]


@compiled
def gap(one: Line, other: Line, wide: float) -> float:
    """Return the largest distance of points of one stretch from the nearest of the other; stops beyond `wide`."""
    most = 0.0
    for i in range(len(one)):
        near = 1e9
        for j in range(len(other)):
            near = min(near, math.hypot(one[i, 0] - other[j, 0], one[i, 1] - other[j, 1]))
        most = max(most, near)
        if most > wide:
            break
    return most


@compiled
def beyond(dark: Picture, points: Line, half: Vector, stroke: Indices, far: float, least: float, near: int) -> Matrix:
    """Return (k, 3): ink about each end of a stroke (`ends_of`) that no stroke explains: area, and its x and y.

    Counted is darkness above `least`, `far` or less from the edge of the last `near` segments of the stroke and closer
    to them than to any other.
    """
    h, w = dark.shape
    n = len(points)
    ends = ends_of(stroke)
    known = blank(h, w)
    find_edges(points, half, numbered(stroke)[0], 1.0, 0, 1, known)
    number = np.full(n, -1, np.int64)
    for k in range(len(ends) - 1, -1, -1):
        step = 1 if k % 2 == 0 else -1
        i = ends[k] if k % 2 == 0 else ends[k] - 1
        for _ in range(near):
            if i < 0 or i + 1 >= n or stroke[i] != stroke[ends[k]] or stroke[i + 1] != stroke[ends[k]]:
                break
            number[i] = k
            i += step
    out = np.zeros((len(ends), 3))
    for y in range(h):
        for x in range(w):
            if known[y, x >> BITS, NEAR, x & (LANES - 1)] < 0.5 or dark[y, x] < least:
                continue
            # few pixels come this far
            near_d, near_i = far, -1
            for i in range(n - 1):
                if stroke[i + 1] != stroke[i]:
                    continue
                vx, vy = points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1]
                px, py = x - points[i, 0], y - points[i, 1]
                # most segments are too far for a division and a root
                if max(abs(px) - abs(vx), abs(py) - abs(vy)) - half[i] > near_d:
                    continue
                u = min(max((px * vx + py * vy) / max(vx * vx + vy * vy, 1e-12), 0.0), 1.0)
                d = math.hypot(px - u * vx, py - u * vy) - half[i]
                if d < near_d:
                    near_d, near_i = d, i
            k = number[near_i] if near_i >= 0 else -1
            if k >= 0:
                out[k, 0] += dark[y, x]
                out[k, 1] += dark[y, x] * x
                out[k, 2] += dark[y, x] * y
    for k in range(len(ends)):
        if out[k, 0] > 0:
            out[k, 1] /= out[k, 0]
            out[k, 2] /= out[k, 0]
    return out


@compiled
def points_beside(points: Line, stroke: Indices, low: float, high: float, apart: int, cosine: float) -> int:
    """Return how many points have a parallel stretch of line beside them whose nearest point is `low` to `high` away.

    What is less than `apart` points along a stroke is no other stretch; cosine: of directions that count as parallel.
    """
    n = len(points)
    heading = np.zeros((n, 2))
    for i in range(n):
        a, b = max(i - 1, 0), min(i + 1, n - 1)
        if stroke[a] != stroke[i]:
            a = i
        if stroke[b] != stroke[i]:
            b = i
        dx, dy = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1]
        size = max(math.hypot(dx, dy), 1e-9)
        heading[i, 0], heading[i, 1] = dx / size, dy / size
    count = 0
    for i in range(n):
        near = high * high
        for j in range(i + 1, n):
            if stroke[j] == stroke[i] and j - i < apart:
                continue
            dx, dy = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1]
            d = dx * dx + dy * dy
            if d < near and abs(heading[i, 0] * heading[j, 0] + heading[i, 1] * heading[j, 1]) > cosine:
                near = d
        count += 1 if low * low < near < high * high else 0
    return count
