"""Order and direction by the general rules of writing, for characters of which no more is known.

Top before bottom, left before right, dots last; level lines to the right, all others down; round forms
counter-clockwise from the top. Common to the school practice of Latin hands and of kana and kanji alike.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.fitted_values import load_fitted_values
from skeleton.geometry.polyline import at_lengths, line_length

DIRECTION = load_fitted_values(Path(__file__).with_name("direction_log_odds.json")).column("log odds")
"""Log odds that a line is written as it stands, for each number of `stroke_direction.direction_features`."""

ORDER = load_fitted_values(Path(__file__).with_name("order_log_odds.json")).column("log odds")
"""Log odds that one line is written before another, for each of `pair_features`."""

MOST_LINES = 64
"""Lines whose order is asked for: the most that a character has are about half as many. More are a texture or a stain,
and every pair of them is compared."""


def order_features(line: Points, size: float, corner: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what speaks for a directed line being written late, shape (14,).

    line: shape (n, 2), y down. size: of the whole character, in the line's unit; corner: its top left, shape (2,).
    """
    lo, hi = line.min(axis=0), line.max(axis=0)
    mid = 0.5 * (lo + hi)
    total = line_length(line) if len(line) > 1 else 0.0
    flat = float(np.ptp(line[:, 0]) - np.ptp(line[:, 1])) / size
    short = float(np.exp(-total / (0.25 * size)))
    upper_right = float((mid - corner)[0] / size > 0.6 and (mid - corner)[1] / size < 0.35)
    at = [(v - corner) / size for v in (line[0], line[-1], mid, lo, hi)]
    return np.array([*np.concatenate(at), flat, short, short * upper_right, total / size])


def writing_order(lines: list[Points], dots: list[bool]) -> list[int]:
    """Return the order in which lines (already directed) are written: repeatedly the one with the best claim.

    Of more than `MOST_LINES` it is the one from the top down.
    """
    if len(lines) < 2:
        return list(range(len(lines)))
    if len(lines) > MOST_LINES:
        return sorted(range(len(lines)), key=lambda i: (lines[i][0, 1], lines[i][0, 0]))
    every = np.concatenate(lines)
    corner = every.min(axis=0)
    size = float(max(np.ptp(every, axis=0).max(), 1e-6))
    n = len(lines)
    before = np.zeros((n, n))
    for i in range(n):
        for j in range(i + 1, n):
            before[i, j] = float(pair_features(lines[i], lines[j], size, corner) @ ORDER)
            before[j, i] = -before[i, j]
    left = list(range(n))
    out: list[int] = []
    while left:
        # the line that is least likely to come after any of those left
        k = max(left, key=lambda i: (not dots[i], min((before[i, j] for j in left if j != i), default=0.0)))
        out.append(k)
        left.remove(k)
    return out


def pair_features(a: Points, b: Points, size: float, corner: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what speaks for line `a` being written before line `b`, shape (30,); exchanged, each changes its sign.

    a, b: directed lines, shape (n, 2), y down. size, corner: as for `order_features`.
    """
    fa, fb = order_features(a, size, corner), order_features(b, size, corner)
    p, q = same_steps(a, 24), same_steps(b, 24)
    gap = np.sqrt(((p[:, None] - q[None]) ** 2).sum(axis=2))
    touch = float(gap.min() < 0.06 * size)
    i, j = (int(k) for k in np.unravel_index(int(np.argmin(gap)), gap.shape))
    inside = [3 <= k <= 20 for k in (i, j)]
    cross = touch * float(all(inside))
    level_a, level_b = np.tanh(6 * fa[10]), np.tanh(6 * fb[10])
    over = np.tanh(8 * ((q[:, 1].min() - p[:, 1].max()) / size)) - np.tanh(8 * ((p[:, 1].min() - q[:, 1].max()) / size))
    aside = np.tanh(8 * ((q[:, 0].min() - p[:, 0].max()) / size)) - np.tanh(
        8 * ((p[:, 0].min() - q[:, 0].max()) / size)
    )
    # a line that begins or ends on another one's middle hangs on it
    hangs = touch * (float(inside[0]) - float(inside[1]))
    met = [cross * (level_a - level_b), over, aside, hangs, touch * (level_a - level_b)]
    # where they meet: which is the more level just there, and which begins or ends there
    lean = float(np.tanh(3 * (_level_at(p, i) - _level_at(q, j))))
    begins_b, begins_a = touch * (j < 3 and inside[0]), touch * (i < 3 and inside[1])
    ends_b, ends_a = touch * (j > 20 and inside[0]), touch * (i > 20 and inside[1])
    onward = touch * (float(i > 20 and j < 3) - float(j > 20 and i < 3))
    rings = float(_is_ring(q, size)) - float(_is_ring(p, size))
    place = [cross * lean, rings, begins_b - begins_a, ends_b - ends_a, onward, -touch * (i < 3 and j < 3) * lean]
    # two small marks close together: the left one first
    way = fb[4:6] - fa[4:6]
    marks = fa[11] * fb[11] * float(np.hypot(*way) < 0.2) * np.tanh(20 * way[0])
    return np.concatenate([fb - fa, met, place, _side_by_side(p, q, size), [marks]])


def _level_at(line: Points, k: int) -> float:
    """Return how level (1) or upright (-1) a line is about its k-th point."""
    d = line[min(k + 2, len(line) - 1)] - line[max(k - 2, 0)]
    return float((abs(d[0]) - abs(d[1])) / max(np.hypot(*d), 1e-9))


def _is_ring(line: Points, size: float) -> bool:
    total = line_length(line)
    return 0 < total < 0.9 * size and bool(np.hypot(*(line[0] - line[-1])) < 0.12 * total)


def _side_by_side(p: Points, q: Points, size: float) -> list[float]:
    """Return what the boxes of two lines tell: enclosing, left of, over, nearer to the top left."""
    (lp, hp), (lq, hq) = ((v.min(axis=0), v.max(axis=0)) for v in (p, q))
    slack = 0.05 * size
    encloses = float((lp - slack <= lq).all() and (hq <= hp + slack).all())
    within = float((lq - slack <= lp).all() and (hp <= hq + slack).all())
    shared = np.maximum(np.minimum(hp, hq) - np.maximum(lp, lq), 0)
    shared = np.minimum(shared / np.maximum(np.minimum(hp - lp, hq - lq), slack), 1)
    way = 0.5 * (lq + hq - lp - hp) / size
    return [
        encloses - within,
        float(shared[1] * np.tanh(4 * way[0])),
        float(shared[0] * np.tanh(4 * way[1])),
        float(np.tanh(5 * way.sum())),
    ]


def same_steps(line: Points, count: int) -> Points:
    """Return `count` points at equal arc lengths."""
    return at_lengths(line, np.linspace(0, line_length(line), count)) if len(line) > 1 else np.repeat(line, count, 0)
