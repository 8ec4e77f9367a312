"""Two paths drawn as one where a hand joins its letters: no corner, no jump, and nothing changed but their ends.

The end of the one and the beginning of the other are brought together, ever more towards where they meet, and the
line across is smoothed and drawn by a spline whose direction and curvature are continuous (the clamped cubic spline:
de Boor, A Practical Guide to Splines, 1978, chapter IV).
"""

from __future__ import annotations

import numpy as np

from capture.units import Points
from fontbuild.geometry import sample_stroke
from skeleton.geometry.arc_length import arc_lengths, points_at

PIECES = 8
"""Pieces of the spline across a join."""

EVEN = 64
"""Points of the line across at which it is smoothed."""

STEPS = 16
"""Steps along a piece at which it is measured."""

FIRST = 12
"""Pieces of a path that are measured first; twice as many each time they are too few."""

MOST = 0.4
"""Share of a path that a join may take of it."""

SMOOTH = 0.16
"""Standard deviation of the smoothing, as a share of the line across."""


def _soft() -> tuple[np.ndarray, np.ndarray]:
    """Return the weights of smoothing, shape (EVEN, EVEN), and how much of it counts at each point, (EVEN,)."""
    away = np.arange(EVEN)[:, None] - np.arange(EVEN)[None]
    weight = np.exp(-0.5 * (away / (SMOOTH * EVEN)) ** 2)
    u = np.linspace(0, 1, EVEN)
    keep = np.clip(np.minimum(u, 1 - u) * 4, 0, 1)
    return weight / weight.sum(axis=1)[:, None], keep * keep * (3 - 2 * keep)


def _slopes() -> np.ndarray:
    """Return what makes the slopes of the clamped cubic spline of the differences of its knots."""
    n = PIECES + 1
    matrix = np.diag(np.full(n, 4.0)) + np.diag(np.ones(n - 1), 1) + np.diag(np.ones(n - 1), -1)
    matrix[0], matrix[-1] = 0.0, 0.0
    matrix[0, 0] = matrix[-1, -1] = 1.0
    return np.asarray(np.linalg.inv(matrix))


_SOFT, _KEPT_SOFT = _soft()
_SLOPES = _slopes()


def joined(one: Points, other: Points, reach: float) -> Points:
    """Return the control points (3 k + 1, 2) of a path that runs through `one` and on into `other`.

    reach: how much of the end of the one and of the beginning of the other may be drawn anew, in their unit.
    """
    head, tail = _cut(one[::-1], reach)
    kept_head, end = head[::-1], tail[::-1]
    kept_tail, begin = _cut(other, reach)
    shift = begin[0] - end[-1]
    share = np.linalg.norm(np.diff(end, axis=0), axis=1).sum(), np.linalg.norm(np.diff(begin, axis=0), axis=1).sum()
    part = share[0] / max(sum(share), 1e-9)
    line = np.vstack(
        [
            end + part * shift * _rising(end)[:, None],
            (begin - (1 - part) * shift * _rising(begin[::-1])[::-1, None])[1:],
        ]
    )
    way_in, way_out = _unit(end[1] - end[0]), _unit(begin[-1] - begin[-2])
    middle = _spline(_smoothed(line), way_in, way_out)
    return np.vstack([kept_head[:-1], middle, kept_tail[1:]])


def _cut(path: Points, reach: float) -> tuple[Points, Points]:
    """Return a path without its first `reach`, as control points, and that part as points along it, first to last."""
    count = (len(path) - 1) // 3
    seen = 0
    # a path grows with every letter that is joined to it: only as much is drawn as tells what the join may take
    while True:
        seen = min(count, 2 * seen or FIRST)
        drawn = sample_stroke(path[: 3 * seen + 1], per_piece=STEPS)
        steps = np.hypot(*np.diff(drawn, axis=0).T).reshape(seen, STEPS)
        ends = np.cumsum(steps.sum(axis=1))
        if seen == count or MOST * ends[-1] >= reach:
            break
    wanted = min(reach, MOST * float(ends[-1]))
    k = int(np.searchsorted(ends, wanted))
    along = np.concatenate([[0.0], np.cumsum(steps[k])])
    at = float(np.interp(wanted - (ends[k - 1] if k else 0.0), along, np.linspace(0, 1, STEPS + 1)))
    left, right = _halves(path[3 * k : 3 * k + 4], min(max(at, 0.02), 0.98))
    gone = np.vstack([drawn[: k * STEPS], sample_stroke(left, per_piece=STEPS)])
    return np.vstack([right, path[3 * k + 4 :]]), gone


def _halves(p: Points, t: float) -> tuple[Points, Points]:
    """Return a cubic cut at `t` (de Casteljau)."""
    a, b, c = (1 - t) * p[:-1] + t * p[1:]
    d, e = (1 - t) * a + t * b, (1 - t) * b + t * c
    f = (1 - t) * d + t * e
    return np.array([p[0], a, d, f]), np.array([f, e, c, p[3]])


def _rising(line: Points) -> np.ndarray:
    """Return 0 at the first point of a line to 1 at its last, level at both (Perlin's smootherstep)."""
    along = arc_lengths(line)
    u = along / max(float(along[-1]), 1e-9)
    return np.asarray(u**3 * (10 - 15 * u + 6 * u**2))


def _smoothed(line: Points) -> Points:
    """Return a line at even steps, smoothed most in its middle, its ends where they were."""
    along = arc_lengths(line)
    even = points_at(line, np.linspace(0, float(along[-1]), EVEN))
    soft = _SOFT @ even
    keep = _KEPT_SOFT[:, None]
    return np.asarray(keep * soft + (1 - keep) * even)


def _spline(line: Points, way_in: Points, way_out: Points) -> Points:
    """Return the control points of the clamped cubic spline through places on a line, with given directions."""
    along = arc_lengths(line)
    knots = points_at(line, np.linspace(0, float(along[-1]), PIECES + 1))
    step = float(along[-1]) / PIECES
    n = PIECES + 1
    right = np.zeros((n, 2))
    right[1:-1] = 3.0 * (knots[2:] - knots[:-2]) / step
    right[0], right[-1] = way_in, way_out
    slope = _SLOPES @ right
    out = np.empty((3 * PIECES + 1, 2))
    out[::3] = knots
    out[1::3] = knots[:-1] + slope[:-1] * step / 3
    out[2::3] = knots[1:] - slope[1:] * step / 3
    return out


def _unit(d: Points) -> Points:
    return np.asarray(d / max(float(np.hypot(*d)), 1e-12))
