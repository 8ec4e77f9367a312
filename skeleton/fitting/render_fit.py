"""Strokes fitted to the ink they leave: drawn again with a round pen, compared with the scan, moved until both agree.

The model: the darkness at a pixel is a soft step of its distance to the nearest stroke's edge, so that strokes which
cross or run together share their ink (the union of discs). Every pixel near an edge tells where the line that owns it
should move along the normal, and how wide the pen was there; Gauss-Newton steps solve for all points of all strokes at
once. A pixel depends on two neighbouring points, so the equations are banded and the cost grows with the length of the
line. The prior keeps third differences small (Whittaker 1923), with a weight that lets go where the ink insists on a
corner (Geman & McClure 1987), and starts stiff, so that the smooth course through a muddle is found first (graduated
non-convexity, Blake & Zisserman 1987).

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.fitting.equations import BAND, add_shape, hear, keep, solve
from skeleton.fitting.signed_distance import (
    BITS,
    LANES,
    NEAR,
    NEXT,
    WHOSE,
    WHOSE_NEXT,
    at_edges,
    blank,
    find_edges,
    numbered,
)
from skeleton.geometry.array_types import Indices, Line, Matrix, Picture, Stack, Vector
from skeleton.geometry.jit import compiled

ROBUST = 0.3
"""Darkness left unexplained from which a pixel counts less: a blot, a bare fibre, ink that no stroke left."""

SHARE = 0.25
"""px by which a second stretch of line may lie further from a pixel and still share it: retraced lines move as one."""

STILL = 0.08
"""px of movement at which the strokes have settled."""

PROFILE = 96
"""Samples of the ink's edge on either side: between them a straight line is true to 1e-4."""

REACH = 1.7
"""Blurs on either side of an edge within which a pixel is heard; further out it tells little and costs as much."""

HALF = 0.75
"""Share of the rounds in which only every second row of pixels is asked, the others in the next round: as far as the
smooth course goes they tell the same."""

LAST = 6
"""Rounds at the end without momentum, in which the strokes settle."""


@compiled(fastmath=True)
def _profile(reach: float, sigma: float, full: float) -> tuple[Vector, Vector]:
    """Return the darkness across an edge, and its slope, from `reach` within the ink to `reach` without."""
    fine = PROFILE / reach
    step = np.empty(2 * PROFILE + 2)
    fall = np.empty(2 * PROFILE + 2)
    for k in range(2 * PROFILE + 2):
        z = (k - PROFILE) / (fine * sigma)
        step[k] = full * 0.5 * math.erfc(z * 0.7071067811865476)
        fall[k] = full * 0.3989422804014327 * math.exp(-0.5 * z * z) / sigma
    return step, fall


@compiled(fastmath=True)
def _segments(points: Line, number: Indices, segment: Matrix) -> None:
    """Fill in first point, vector and one over the squared length of every segment, (n, 5)."""
    n = len(points)
    for i in range(n):
        j = i + 1 if i + 1 < n and number[i + 1] == number[i] + 1 else i
        vx, vy = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1]
        segment[i, 0], segment[i, 1], segment[i, 2], segment[i, 3] = points[i, 0], points[i, 1], vx, vy
        segment[i, 4] = 1.0 / max(vx * vx + vy * vy, 1e-12)


@compiled(fastmath=True)
def _ask(
    dark: Picture, rows: Indices, columns: Indices, count: int, known: Stack, point: Indices, segment: Matrix,
    reach: float, step: Vector, fall: Vector, asked: Matrix,
) -> float:  # fmt: skip
    """Fill in what the pixels ask of the segments; return the weighted squares of what is still unexplained.

    rows, columns, count: the pixels; known, point: whose edges they are at, by `signed_distance`. step, fall: the
    profile of an edge, from `reach` within the ink to `reach` without. asked (n, 24): of every segment the products of
    (x, y, half-width) with themselves, in turn xx, xy, xh, yy, yh, hh, of its first point, of both, of its second; then
    the right-hand sides of both.
    """
    cost = 0.0
    asked[:] = 0
    fine = PROFILE / reach
    for c in range(count):
        y, x = rows[c], columns[c]
        here = known[y, x >> BITS]
        lane = x & (LANES - 1)
        d = here[NEAR, lane]
        q = d * fine + PROFILE
        at = int(q)
        q -= at
        e = dark[y, x] - step[at] - q * (step[at + 1] - step[at])
        slope = fall[at] + q * (fall[at + 1] - fall[at])
        weight = 1.0 / (1.0 + (e * (1.0 / ROBUST)) ** 2)
        cost += weight * e * e
        q = (here[NEXT, lane] - d) * (1.0 / SHARE)
        second = 1.0 / (1.0 + math.exp(q)) if q < 6.0 else 0.0
        for k in range(2 if second > 0.0 else 1):
            i = point[int(here[WHOSE_NEXT if k else WHOSE, lane])]
            wk = weight * (second if k else 1.0 - second) * slope
            vx, vy = segment[i, 2], segment[i, 3]
            px, py = x - segment[i, 0], y - segment[i, 1]
            u = min(max((px * vx + py * vy) * segment[i, 4], 0.0), 1.0)
            px -= u * vx
            py -= u * vy
            size = 1.0 / max(math.sqrt(px * px + py * py), 1e-6)
            px *= size
            py *= size
            f, v = wk * slope, 1.0 - u
            both = (f * v * v, f * v * u, f * u * u)
            products = (px * px, px * py, px, py * py, py, 1.0)
            sides = (wk * e * v, wk * e * u)
            normal = (px, py, 1.0)
            sums = asked[i]
            for r in range(3):
                for m in range(6):
                    sums[6 * r + m] += both[r] * products[m]
            for r in range(2):
                for m in range(3):
                    sums[18 + 3 * r + m] += sides[r] * normal[m]
    return cost


@compiled(fastmath=True)
def _middle(values: Vector, low: float, high: float) -> float:
    """Return the median of values between `low` and `high`, to a thousandth of the range."""
    for _ in range(10):
        cut = 0.5 * (low + high)
        below = 0
        for v in values:
            if v < cut:
                below += 1
        if 2 * below < len(values):
            low = cut
        else:
            high = cut
    return 0.5 * (low + high)


@compiled(fastmath=True)
def fit(
    dark: Picture, points: Line, half: Vector, stroke: Indices, pen: float, sigma: float, full: float,
    shape: Vector, stiff: float, rounds: int, momentum: float,
) -> tuple[float, float]:  # fmt: skip
    """Move `points` (n, 2) and `half` (n,) in place until the strokes drawn again give `dark`.

    Returned is what was still wanting before the last round, and how much of that is ink: weighted squares of darkness
    that the strokes do not explain, or lack.

    stroke (n,): number of every point's stroke, rising. pen, sigma, full: width of the pen and blur of its edge (px),
    darkness of full ink. shape (3,): weights of third and second differences, and the difference (px) from which they
    let go; third differences weigh `stiff` times as much in the first round. momentum: share of its last movement that
    a point goes on by (Polyak 1964, USSR Comput. Math. Math. Phys. 4), for lines that have far to go: only pixels near
    an edge tell whereto.
    """
    third, second, corner = shape[0], shape[1], shape[2]
    h, w = dark.shape
    n = len(points)
    number, point = numbered(stroke)
    known = blank(h, w)
    rows, columns = np.empty(known.size // 4 + 1, np.int32), np.empty(known.size // 4 + 1, np.int32)
    segment, asked = np.empty((n, 5)), np.empty((n, 24))
    a = np.empty((3 * n + BAND, BAND + 1))
    b = np.empty(3 * n + BAND)
    reach = REACH * sigma
    step, fall = _profile(reach, sigma, full)
    cost, unlike = 0.0, 0.0
    cooling = max(1.0, 0.6 * rounds)
    last = np.zeros((n, 2))
    for it in range(rounds):
        every = 2 if it < HALF * rounds else 1
        find_edges(points, half, number, reach, it % every, every, known)
        count = at_edges(known, w, reach, it % every, every, rows, columns)
        _segments(points, number, segment)
        unlike = every * _ask(dark, rows, columns, count, known, point, segment, reach, step, fall, asked)
        hear(asked, every, a, b)
        cost = unlike + add_shape(points, stroke, a, b, third * stiff ** max(0.0, 1.0 - it / cooling), second, corner)
        keep(half, stroke, _middle(half, 0.25 * pen, 0.85 * pen), a, b)
        solve(a, b)
        moved = 0.0
        carried = momentum if it < rounds - LAST else 0.0
        for i in range(n):
            size = math.hypot(b[3 * i], b[3 * i + 1])
            f = min(1.0, 0.12 * pen / max(size, 1e-9))
            for c in range(2):
                last[i, c] = f * b[3 * i + c] + carried * last[i, c]
                points[i, c] += last[i, c]
            grow = min(max(b[3 * i + 2], -0.05 * pen), 0.05 * pen)
            half[i] = min(max(half[i] + grow, 0.25 * pen), 0.85 * pen)
            moved = max(moved, f * size)
        if it > cooling and every == 1 and moved < STILL:
            break
    return cost, unlike
