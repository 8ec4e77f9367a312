"""Order and direction by the general rules of writing, for characters of which no more is known.

Top before bottom, left before right, dots last; level lines to the right, all others down; round forms
counter-clockwise from the top. Common to the school practice of Latin hands and of kana and kanji alike.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.graph import at_lengths, line_length

DIRECTION = np.array([1.74, 2.29, 1.23, 2.4, 0.06, 1.96, 0.06, -0.34, 0.27])
"""Log odds that a line is written as it stands, for each of `direction_features`."""

ORDER = np.array(
    [3.11, -0.68, 1.33, 1.86, -0.24, 0.72, 0.35, 1.77, -0.82, -0.32, 0.92, 2.08, 4.48, 0.35, 0.48, 0.35, 0.26, 0.06,
     -0.09, 0.36, 3.44, 0.77, -0.71, 0.69, 0.49, 1.03, -0.04, 1.35, 1.19, 3.7]
)  # fmt: skip
"""Log odds that one line is written before another, for each of `pair_features`: a logit over the pairs of lines of
half the kana and some 430 kanji of up to eight strokes (KanjiVG), maximum likelihood with a weak ridge."""


def direction_features(line: Points, size: float) -> NDArray[np.float64]:
    """Return what speaks for a line being written as it stands; each changes its sign when the line is turned.

    Steps down and to the right, the same relative to the line's own length, the sense of rotation, how much of the
    way from its top and its left the line begins, and where its sharper end (a hook) is.
    """
    p = same_steps(line, 33)
    total = max(line_length(line), 1e-9)
    gap = p[-1] - p[0]
    x, y = p[:, 0], p[:, 1]
    area = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() + (x[-1] * y[0] - x[0] * y[-1]))
    lo, span = p.min(axis=0), np.maximum(np.ptp(p, axis=0).max(), 1e-9)
    first, last = p[4] - p[0], p[-1] - p[-5]
    return np.array(
        [
            gap[1] / size,
            gap[0] / size,
            gap[1] / total,
            gap[0] / total,
            -area / total**2 * 10,
            ((p[-1] - lo)[1] - (p[0] - lo)[1]) / span,
            (first[1] + last[1]) / total * 8,
            (first[0] + last[0]) / total * 8,
            float(np.hypot(*(p[16] - p[0])) - np.hypot(*(p[-1] - p[16]))) / total * 2,
        ]
    )


def order_features(line: Points, size: float, corner: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what speaks for a (directed) line being written late; `corner`: top left of the whole character."""
    lo, hi = line.min(axis=0), line.max(axis=0)
    mid = 0.5 * (lo + hi)
    total = line_length(line) if len(line) > 1 else 0.0
    flat = float(np.ptp(line[:, 0]) - np.ptp(line[:, 1])) / size
    short = float(np.exp(-total / (0.25 * size)))
    upper_right = float((mid - corner)[0] / size > 0.6 and (mid - corner)[1] / size < 0.35)
    at = [(v - corner) / size for v in (line[0], line[-1], mid, lo, hi)]
    return np.array([*np.concatenate(at), flat, short, short * upper_right, total / size])


def direct(line: Points, size: float) -> NDArray[np.int64]:
    """Return the indices that put a line into the direction in which a pen most likely made it.

    y down; `size` is that of the whole character.
    """
    index = np.arange(len(line))
    if len(line) < 2:
        return index
    total = line_length(line)
    gap = line[-1] - line[0]
    if np.hypot(*gap) < 0.18 * total and (total > 0.5 * size or np.hypot(*gap) < 0.05 * total):
        closed = bool(np.hypot(*gap) < 0.1 * total)
        return _small_ring(line) if closed and total < 0.8 * size else _round_form(line, closed=closed)
    return index if float(direction_features(line, size) @ DIRECTION) >= 0 else index[::-1]


def _round_form(line: Points, *, closed: bool) -> NDArray[np.int64]:
    """Return the indices that run a ring from its top, counter-clockwise as seen on paper."""
    index = np.arange(len(line))
    x, y = line[:, 0], line[:, 1]
    area = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())
    # y grows downwards: a positive area is clockwise to the eye
    if closed:
        ring = index[:-1] if np.allclose(line[0], line[-1]) else index
        top = int(np.argmin(y[ring] - 0.15 * x[ring]))
        index = np.concatenate([ring[top:], ring[: top + 1]])
        return index[::-1] if area > 0 else index
    if abs(y[0] - y[-1]) > 0.05 * line_length(line):
        return index if y[0] < y[-1] else index[::-1]
    return index[::-1] if area > 0 else index


def _small_ring(line: Points) -> NDArray[np.int64]:
    """Return the indices that run a small ring from below, clockwise: the ring that is a mark beside a character."""
    index = np.arange(len(line))
    ring = index[:-1] if np.allclose(line[0], line[-1]) else index
    low = int(np.argmax(line[ring, 1] - 0.5 * line[ring, 0]))
    index = np.concatenate([ring[low:], ring[: low + 1]])
    x, y = line[:, 0], line[:, 1]
    return index if float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) > 0 else index[::-1]


BACK = -0.5
"""Cosine of the turn at a corner from which the pen is on its way back."""


def against_the_grain(line: Points, pen: float) -> list[tuple[int, int]]:
    """Return the parts (first, last index) of a line that a pen would rather write one by one.

    A sharp corner where a level line would have to be written to the left or an upright one upwards parts two strokes
    in careful writing (the top left corner of a box, the foot of its right side).
    """
    k = max(2, round(1.1 * pen))
    n = len(line)
    if n < 4 * k:
        return [(0, n - 1)]
    a, b = line[k:-k] - line[: -2 * k], line[2 * k :] - line[k:-k]
    cos = (a * b).sum(axis=1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-9)
    corners = [0]
    i = 0
    while i < len(cos):
        if cos[i] < 0.55:
            j = i
            while j + 1 < len(cos) and cos[j + 1] < 0.55:
                j += 1
            corners.append(i + int(np.argmin(cos[i : j + 1])) + k)
            i = j + 1
        else:
            i += 1
    corners.append(n - 1)

    def contrary(i: int, j: int) -> bool:
        d = line[j] - line[i]
        size = float(np.hypot(*d))
        # a hook: who turns back on his own line does so without lifting
        if any(k <= c < n - k and cos[c - k] < BACK for c in (i, j)):
            return False
        if size < 2.0 * pen or line_length(line[i : j + 1]) > 1.06 * size:
            return False
        return bool(d[0] < -0.93 * size or d[1] < -0.93 * size)

    parts = list(itertools.pairwise(corners))
    flags = [contrary(i, j) for i, j in parts]
    out: list[tuple[int, int]] = []
    for (i, j), f, before in zip(parts, flags, [False, *flags], strict=False):
        if out and not f and not before:
            out[-1] = (out[-1][0], j)
        else:
            out.append((i, j))
    return out


def writing_order(lines: list[Points], dots: list[bool]) -> list[int]:
    """Return the order in which lines (already directed) are written: repeatedly the one with the best claim."""
    if len(lines) < 2:
        return list(range(len(lines)))
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
    """Return what speaks for line `a` being written before line `b`; changes its sign when they are exchanged."""
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
