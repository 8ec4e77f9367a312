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
from typing import Any

import numpy as np
from numba import njit

BAND = 9
"""Unknowns are x, y, half-width of every point in turn: third differences reach nine places on."""

STEADY = 10.0
"""Weight of the half-width staying the same from point to point: it follows changes within some two pen widths."""

USUAL = 0.05
"""Weight of the half-width being the usual one, the median of the character; for where the ink does not tell."""

ROBUST = 0.3
"""Darkness left unexplained from which a pixel counts less: a blot, a bare fibre, ink that no stroke left."""

SHARE = 0.25
"""px by which a second stretch of line may lie further from a pixel and still share it: retraced lines move as one."""

APART = 2
"""Points from which two segments of one stroke count as different stretches."""

STILL = 0.08
"""px of movement at which the strokes have settled."""

PROFILE = 96
"""Samples of the ink's edge on either side: between them a straight line is true to 1e-4."""

REACH = 1.7
"""Blurs on either side of an edge within which a pixel is heard; further out it tells little and costs as much."""

FAR = 1e3
"""px of a distance that is not known, only that it is great."""

DAMP = 0.02
"""Weight of staying, against drifting along the line."""


@njit(cache=True, fastmath=True)
def _solve(a: Any, b: Any) -> None:
    """Solve a symmetric positive definite banded system; `a[i, k]` is entry (i + k, i); `b` becomes x.

    Cholesky, column by column: what a column takes from those after it are rows of `a`, all of one length. `a` and `b`
    have `BAND` rows of zeros more than there are unknowns.
    """
    n = len(b) - BAND
    column = np.zeros(2 * BAND + 1)
    for i in range(n):
        per = 1.0 / math.sqrt(max(a[i, 0], 1e-9))
        here = a[i]
        here[0] = per
        b[i] *= per
        for k in range(1, BAND + 1):
            here[k] *= per
            column[k] = here[k]
        for k in range(1, BAND + 1):
            c = column[k]
            row = a[i + k]
            b[i + k] -= c * b[i]
            for m in range(BAND + 1):
                row[m] -= c * column[k + m]
    for i in range(n - 1, -1, -1):
        s = b[i]
        for k in range(1, BAND + 1):
            s -= a[i, k] * b[i + k]
        b[i] = s * a[i, 0]


@njit(cache=True, fastmath=True)
def own(points: Any, half: Any, stroke: Any, reach: float, apart: int, d1: Any, s1: Any, d2: Any, s2: Any) -> None:
    """Find for every pixel the segment whose edge is nearest, and the nearest one of another stretch of line.

    d1, d2: signed distance to the edge, negative in the ink; s1, s2: first point of the segment, -1 for none.
    `apart`: points from which two segments of one stroke count as different stretches.
    """
    h, w = d1.shape
    n = len(points)
    d1[:] = 1e3
    d2[:] = 1e3
    s1[:] = -1
    s2[:] = -1
    for i in range(n):
        j = i
        if i + 1 < n and stroke[i + 1] == stroke[i]:
            j = i + 1
        elif i > 0 and stroke[i - 1] == stroke[i]:
            continue
        ax, ay, bx, by = points[i, 0], points[i, 1], points[j, 0], points[j, 1]
        m = max(half[i], half[j]) + reach
        x0, x1 = max(0, math.ceil(min(ax, bx) - m)), min(w - 1, math.floor(max(ax, bx) + m))
        y0, y1 = max(0, math.ceil(min(ay, by) - m)), min(h - 1, math.floor(max(ay, by) + m))
        vx, vy = bx - ax, by - ay
        per = 1.0 / max(vx * vx + vy * vy, 1e-12)
        grow = half[j] - half[i]
        far = m * m
        core = max(min(half[i], half[j]) - reach, 0.0) ** 2
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                if d2[y, x] == -FAR:
                    continue
                px, py = x - ax, y - ay
                u = min(max((px * vx + py * vy) * per, 0.0), 1.0)
                px -= u * vx
                py -= u * vy
                dd = px * px + py * py
                if dd > far:
                    continue
                if dd < core:
                    d1[y, x] = d2[y, x] = -FAR
                    continue
                d = math.sqrt(dd) - half[i] - u * grow
                if d >= d2[y, x]:
                    continue
                o = s1[y, x]
                other = o >= 0 and (stroke[o] != stroke[i] or abs(o - i) > apart)
                if d < d1[y, x]:
                    if other:
                        d2[y, x] = d1[y, x]
                        s2[y, x] = o
                    d1[y, x] = d
                    s1[y, x] = i
                elif other:
                    d2[y, x] = d
                    s2[y, x] = i


@njit(cache=True, fastmath=True)
def _profile(reach: float, sigma: float, full: float) -> Any:
    """Return the darkness across an edge, and its slope, from `reach` within the ink to `reach` without."""
    fine = PROFILE / reach
    step = np.empty(2 * PROFILE + 2)
    fall = np.empty(2 * PROFILE + 2)
    for k in range(2 * PROFILE + 2):
        z = (k - PROFILE) / (fine * sigma)
        step[k] = full * 0.5 * math.erfc(z * 0.7071067811865476)
        fall[k] = full * 0.3989422804014327 * math.exp(-0.5 * z * z) / sigma
    return step, fall


@njit(cache=True, fastmath=True)
def _ask(
    dark: Any, points: Any, half: Any, stroke: Any, a: Any, b: Any,
    reach: float, step: Any, fall: Any, d1: Any, s1: Any, d2: Any, s2: Any,
) -> float:  # fmt: skip
    """Add what the pixels ask for to the equations; return the weighted squares of what is still unexplained.

    step, fall: the profile of an edge, from `reach` within the ink to `reach` without.
    """
    h, w = dark.shape
    n = len(points)
    cost = 0.0
    g = np.zeros(6)
    fine = PROFILE / reach
    for y in range(h):
        for x in range(w):
            d = d1[y, x]
            if d > reach or d < -reach:
                continue
            q = d * fine + PROFILE
            at = int(q)
            q -= at
            e = dark[y, x] - step[at] - q * (step[at + 1] - step[at])
            slope = fall[at] + q * (fall[at + 1] - fall[at])
            weight = 1.0 / (1.0 + (e * (1.0 / ROBUST)) ** 2)
            cost += weight * e * e
            second = 0.0
            q = (d2[y, x] - d) * (1.0 / SHARE)
            if s2[y, x] >= 0 and q < 6.0:
                second = 1.0 / (1.0 + math.exp(q))
            for k in range(2 if second > 0.0 else 1):
                i = s1[y, x] if k == 0 else s2[y, x]
                wk = weight * (1.0 - second if k == 0 else second) * slope
                j = i + 1 if i + 1 < n and stroke[i + 1] == stroke[i] else i
                vx, vy = points[j, 0] - points[i, 0], points[j, 1] - points[i, 1]
                px, py = x - points[i, 0], y - points[i, 1]
                u = min(max((px * vx + py * vy) / max(vx * vx + vy * vy, 1e-12), 0.0), 1.0)
                px -= u * vx
                py -= u * vy
                size = 1.0 / max(math.sqrt(px * px + py * py), 1e-6)
                px *= size
                py *= size
                g[0], g[1], g[2] = (1 - u) * px, (1 - u) * py, 1 - u
                g[3], g[4], g[5] = u * px, u * py, u
                base = 3 * i
                ask, f = wk * e, wk * slope
                for r in range(6):
                    b[base + r] += ask * g[r]
                    row, fr = a[base + r], f * g[r]
                    for p in range(6 - r):
                        row[p] += fr * g[r + p]
    return cost


@njit(cache=True, fastmath=True)
def _middle(values: Any, low: float, high: float) -> float:
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


@njit(cache=True, fastmath=True)
def _smooth(points: Any, stroke: Any, a: Any, b: Any, third: float, second: float, corner: float) -> float:
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


@njit(cache=True, fastmath=True)
def fit(
    dark: Any, points: Any, half: Any, stroke: Any, pen: float, sigma: float, full: float,
    shape: Any, stiff: float, rounds: int,
) -> tuple[float, float]:  # fmt: skip
    """Move `points` (n, 2) and `half` (n,) in place until the strokes drawn again give `dark`.

    Returned is what was still wanting before the last round, and how much of that is ink: weighted squares of darkness
    that the strokes do not explain, or lack.

    stroke (n,): number of every point's stroke, rising. pen, sigma, full: width of the pen and blur of its edge (px),
    darkness of full ink. shape (3,): weights of third and second differences, and the difference (px) from which they
    let go; third differences weigh `stiff` times as much in the first round.
    """
    third, second, corner = shape[0], shape[1], shape[2]
    h, w = dark.shape
    n = len(points)
    d1 = np.empty((h, w), np.float32)
    d2 = np.empty((h, w), np.float32)
    s1 = np.empty((h, w), np.int32)
    s2 = np.empty((h, w), np.int32)
    a = np.zeros((3 * n + BAND, BAND + 1))
    b = np.zeros(3 * n + BAND)
    reach = REACH * sigma
    step, fall = _profile(reach, sigma, full)
    cost, unlike = 0.0, 0.0
    cooling = max(1.0, 0.6 * rounds)
    for it in range(rounds):
        own(points, half, stroke, reach, APART, d1, s1, d2, s2)
        a[:] = 0
        b[:] = 0
        unlike = _ask(dark, points, half, stroke, a, b, reach, step, fall, d1, s1, d2, s2)
        cost = unlike + _smooth(points, stroke, a, b, third * stiff ** max(0.0, 1.0 - it / cooling), second, corner)
        middle = _middle(half, 0.25 * pen, 0.85 * pen)
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
        _solve(a, b)
        moved = 0.0
        for i in range(n):
            size = math.hypot(b[3 * i], b[3 * i + 1])
            f = min(1.0, 0.12 * pen / max(size, 1e-9))
            points[i, 0] += f * b[3 * i]
            points[i, 1] += f * b[3 * i + 1]
            grow = min(max(b[3 * i + 2], -0.05 * pen), 0.05 * pen)
            half[i] = min(max(half[i] + grow, 0.25 * pen), 0.85 * pen)
            moved = max(moved, f * size)
        if it > cooling and moved < STILL:
            break
    return cost, unlike
