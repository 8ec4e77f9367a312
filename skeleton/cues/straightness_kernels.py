"""How straight the straight lines are, and how upright or level: inner loops of `skeleton.cues.straightness`.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Flags, Indices, Line
from skeleton.geometry.jit import compiled, inner

CORNER_COSINE = 0.75
"""Cosine of the turn within two pen widths below which a line has a corner."""

MAX_BOW_SHARE = 0.03
"""Bow, as a share of the length, from which a line was not meant to be straight."""

MIN_LINE_PLACES = 7
"""Places that a line has at least, half a pen width apart."""

DRAFTED_BOW_SHARE, BOW_NOISE_PX = 0.0008, 0.055
"""Spread of a drafted line's bow: as a share of its length, and what noise adds, px."""

FLUENT_BOW_SHARE, FLUENT_BOW_LOG_SPREAD = 0.0075, 0.8
"""Median bow of a fluent line as a share of its length, and the spread of its logarithm."""

NEAR_AXIS_DEG = 12.0
"""Degrees from upright or level up to which a line may be meant so: there a hand's lines lie anywhere."""

AXIS_SPREAD_DEG, OFF_AXIS_SHARE = 0.15, 0.08
"""Spread of a drafted line about its axis, degrees, and the share of those near it that do not lie on it."""

MAX_LOG_ODDS, MIN_LOG_ODDS = 2.0, -4.0
"""Bounds of what one line tells."""


@inner
def _told(p: Line, a: int, b: int, pen: float) -> float:
    """Return the log odds that the points from a to b (not included) were drafted rather than written."""
    n = b - a
    size = math.hypot(p[b - 1, 0] - p[a, 0], p[b - 1, 1] - p[a, 1])
    if n < MIN_LINE_PLACES or size < 2.5 * pen:
        return 0.0
    mx, my = 0.0, 0.0
    for k in range(a, b):
        mx += p[k, 0] / n
        my += p[k, 1] / n
    xx, xy, yy = 0.0, 0.0, 0.0
    for k in range(a, b):
        dx, dy = p[k, 0] - mx, p[k, 1] - my
        xx += dx * dx / n
        xy += dx * dy / n
        yy += dy * dy / n
    # the smaller root of the covariance's characteristic polynomial: how far the points stray from their line
    half = 0.5 * (xx + yy)
    bow = math.sqrt(max(half - math.sqrt(max(half * half - xx * yy + xy * xy, 0.0)), 1e-8))
    if bow > MAX_BOW_SHARE * size:
        return 0.0
    drafted = (DRAFTED_BOW_SHARE * size) ** 2 + BOW_NOISE_PX**2
    z = math.log(bow / size / FLUENT_BOW_SHARE) / FLUENT_BOW_LOG_SPREAD
    told = math.log(bow / drafted) - 0.5 * bow * bow / drafted
    told += 0.5 * z * z + math.log(FLUENT_BOW_LOG_SPREAD * math.sqrt(2 * math.pi)) + math.log(bow)
    return min(max(told, MIN_LOG_ODDS), MAX_LOG_ODDS) + _told_by_axis(
        math.degrees(0.5 * math.atan2(2 * xy, xx - yy)), size, n
    )


@inner
def _told_by_axis(angle: float, size: float, n: int) -> float:
    """Return the log odds that a line at an angle (degrees), measured at n places over `size` px, was drafted."""
    aside = abs((angle + 45) % 90 - 45)
    if aside > NEAR_AXIS_DEG:
        return 0.0
    spread = AXIS_SPREAD_DEG + math.degrees(BOW_NOISE_PX * math.sqrt(12 / n) / size)
    drafted = (1 - OFF_AXIS_SHARE) * math.exp(-aside / spread) / spread + OFF_AXIS_SHARE / NEAR_AXIS_DEG
    return min(math.log(drafted * NEAR_AXIS_DEG), 0.0)


@compiled
def straightness(centres: Line, known: Flags, headings: Line, first: Indices, lines: int, pen: float) -> float:
    """Return the log odds that straight lines were drafted: Rayleigh's law of the bow against a log-normal one.

    centres (n, 2): the middle of the ink at every place; known (n,): whether it was measured; headings (n, 2); first:
    the first place of every piece, the `lines` first of which are no dots.
    """
    total = 0.0
    part = np.empty((len(centres), 2))
    for piece in range(lines):
        a, b = first[piece], first[piece + 1]
        begin = a
        for k in range(a + 2, b + 1):
            # a corner, or the end: what lies between it and the last is one line, the places beside corners left out
            if k < b - 2:
                cos = headings[k - 2, 0] * headings[k + 2, 0] + headings[k - 2, 1] * headings[k + 2, 1]
                if cos >= CORNER_COSINE:
                    continue
            elif k < b:
                continue
            n = 0
            for q in range(begin + (1 if begin == a else 2), k - (1 if k == b else 2)):
                if known[q]:
                    part[n, 0], part[n, 1] = centres[q, 0], centres[q, 1]
                    n += 1
            total += _told(part, 0, n, pen)
            begin = k
    return total
