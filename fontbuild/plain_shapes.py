"""The plain shape inside a letter or sign of a script face: a v without its hooks, the bowl of an o, a comma's tail.

Marks are made of small letters where a font has nothing nearer (`fontbuild.mark_fallbacks`); strokes that lead into a
letter and out of it make no mark. What is plain already is left as it is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from capture.units import Points
from skeleton.geometry.arc_length import line_length, resample

SAMPLES = 96
PLAIN = 0.9
"""Share of a line's length from which on what is cut out of it is all of it."""

DETOUR = 1.12
"""A v whose line is longer than its two limbs by more than this has hooks."""

NEAR = 0.12
"""Of a shape's size: points so near close a loop."""


def corner(strokes: Sequence[Points], lines: Sequence[Points]) -> tuple[Points, ...]:
    """Return a v: as it is drawn where its two limbs are all of it, or three points joined by straight lines.

    Parameters
    ----------
    strokes
        As cubic control points, shape (3 k + 1, 2).
    lines
        The same sampled, shape (n, 2) each.
    """
    every = np.vstack(list(lines))
    (x0, y0), (x1, y1) = every.min(axis=0).tolist(), every.max(axis=0).tolist()
    corners = np.array([[x0, y1], [(x0 + x1) / 2, y0], [x1, y1]])
    if sum(map(line_length, lines)) <= DETOUR * line_length(corners):
        return tuple(strokes)
    return (straight(corners),)


def bowl(strokes: Sequence[Points], lines: Sequence[Points]) -> tuple[Points, ...]:
    """Return an o without what leads into it and out of it; parameters as `corner`."""
    if len(lines) != 1 or len(lines[0]) < 4:
        return tuple(strokes)
    line = resample(lines[0], SAMPLES)
    first, last = _largest_loop(line)
    if last <= first or line_length(line[first : last + 1]) >= PLAIN * line_length(line):
        return tuple(strokes)
    ring = line[first : last + 1].copy()
    # closed where it met itself, the step shared out along the way
    ring += np.linspace(0, 1, len(ring))[:, None] * (ring[0] - ring[-1])
    return (smooth(resample(ring, 17)),)


def tail(strokes: Sequence[Points], lines: Sequence[Points]) -> tuple[Points, ...]:
    """Return a comma without the ring or blot that its line begins with; parameters as `corner`."""
    lowest = int(np.argmin([float(s[:, 1].min()) for s in lines]))
    if len(lines[lowest]) < 4:
        return tuple(strokes)
    line = resample(lines[lowest], SAMPLES)
    if line[0, 1] < line[-1, 1]:
        line = line[::-1]
    _, last = _largest_loop(line)
    # where the head is no ring but a hook, the tail begins at the top of it
    rest = line[last or int(line[:, 1].argmax()) :]
    if not 0.2 * line_length(line) < line_length(rest) < PLAIN * line_length(line) and len(lines) == 1:
        return tuple(strokes)
    return (smooth(resample(rest, 6)),)


def _largest_loop(line: Points) -> tuple[int, int]:
    """Return the ends of the longest part of a line that comes back to where it began, (0, 0) where none does."""
    size = float(np.ptp(line, axis=0).max())
    apart = np.hypot(*(line[:, None] - line[None]).transpose(2, 0, 1))
    i, j = np.nonzero(np.triu(apart < NEAR * size, k=SAMPLES // 6))
    if not len(i):
        return 0, 0
    best = int(np.argmax([abs(_area(line[a : b + 1])) for a, b in zip(i, j, strict=True)]))
    return int(i[best]), int(j[best])


def _area(ring: Points) -> float:
    x, y = ring.T
    return 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())


def straight(points: Points) -> Points:
    """Return straight lines through points as cubic control points, shape (3 k + 1, 2)."""
    thirds = [a + (b - a) * t for a, b in pairwise(points) for t in (1 / 3, 2 / 3, 1.0)]
    return np.vstack([points[:1], thirds])


def smooth(points: Points) -> Points:
    """Return a Catmull-Rom spline through points as cubic control points, shape (3 k + 1, 2)."""
    closed = float(np.hypot(*(points[0] - points[-1]))) < 1e-6
    before, after = (points[-2], points[1]) if closed else (2 * points[0] - points[1], 2 * points[-1] - points[-2])
    ends = np.vstack([before, points, after])
    slope = (ends[2:] - ends[:-2]) / 6
    pairs = range(len(points) - 1)
    inner = [np.stack([points[i] + slope[i], points[i + 1] - slope[i + 1], points[i + 1]]) for i in pairs]
    return np.vstack([points[:1], *inner])
