"""Which way a pen would rather run a line: inner loops of `writing_order` and `skeleton.hypotheses.unlabelled`.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Line, Path, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.geometry.polyline import points_at, total_length
from skeleton.states.paths import (
    PathContext,
    concatenated,
    cosine,
    joined,
    parted,
    reversed_path,
    ring_of,
    rotated_ring,
)

DIRECTION_SAMPLES = 33
"""Points along a stroke at which its direction is asked for."""

ROUND_FORM_LOG_ODDS = 2.0
"""Log odds that a round form is run through as the rules have it."""

PEN_EVENT_WEIGHT = 0.5
"""Weight of the clues' log odds of landing and lifting: in part they say what the rules say."""

CORNER_COSINE = 0.6
"""Cosine of the turn within three places below which a line has a corner."""

TURNED_BACK_COSINE = -0.5
"""Cosine of the turn at a corner below which the pen is on its way back."""

MIN_RING_STATES = 8
"""States of a ring at least."""

STRAIGHT_SHARE = 0.93
"""Share of its length by which a line goes straight up or to the left."""


@inner
def _area(p: Line) -> float:
    """Return twice the area within a line, closed straight; y grows downwards: it is above 0 if run clockwise."""
    last = len(p) - 1
    out = p[last, 0] * p[0, 1] - p[0, 0] * p[last, 1]
    for k in range(last):
        out += p[k, 0] * p[k + 1, 1] - p[k + 1, 0] * p[k, 1]
    return float(out)


@compiled("float64[::1](float64[:, ::1], float64)")
def direction_features(line: Line, size: float) -> Vector:
    """Return what speaks for a line being written as it stands, shape (9,); each changes its sign with the line's way.

    Steps down and to the right, in sizes of the character and in lengths of the line, the sense of rotation, how much
    lower it ends than it begins, the way at both ends, and where its sharper end (a hook) is.
    """
    total = max(total_length(line), 1e-9)
    p = points_at(line, np.linspace(0.0, total, DIRECTION_SAMPLES))
    last = DIRECTION_SAMPLES - 1
    low = np.array([1e18, 1e18])
    high = np.array([-1e18, -1e18])
    for k in range(DIRECTION_SAMPLES):
        for c in range(2):
            low[c] = min(low[c], p[k, c])
            high[c] = max(high[c], p[k, c])
    span = max(high[0] - low[0], high[1] - low[1], 1e-9)
    out = np.empty(9)
    for c in range(2):
        gap = p[last, c] - p[0, c]
        # down before right
        out[1 - c] = gap / size
        out[3 - c] = gap / total
        out[7 - c] = (p[4, c] - p[0, c] + p[last, c] - p[last - 4, c]) / total * 8
    out[4] = -_area(p) / total**2 * 10
    out[5] = (p[last, 1] - p[0, 1]) / span
    half = DIRECTION_SAMPLES // 2
    before = math.hypot(p[half, 0] - p[0, 0], p[half, 1] - p[0, 1])
    out[8] = (before - math.hypot(p[last, 0] - p[half, 0], p[last, 1] - p[half, 1])) / total * 2
    return out


@inner
def places(context: PathContext, w: Path) -> Line:
    """Return where a walk passes, (n, 2) px."""
    line = np.empty((len(w), 2))
    for k in range(len(w)):
        line[k, 0], line[k, 1] = context.here[w[k], 0], context.here[w[k], 1]
    return line


@inner
def _runs_back(context: PathContext, line: Line, a: int, b: int) -> bool:
    """Tell whether a line goes straight up or straight to the left from its a-th point to its b-th."""
    dx, dy = line[b, 0] - line[a, 0], line[b, 1] - line[a, 1]
    far = math.hypot(dx, dy)
    return bool(far > 2 * context.pen and (dx < -STRAIGHT_SHARE * far or dy < -STRAIGHT_SHARE * far))


@inner
def _is_mark(ring: Path, size: float) -> bool:
    """Tell whether a ring is so small that it is a mark beside a character."""
    return total_length(ring) < 0.8 * size


@inner
def _begin(ring: Path, size: float) -> int:
    """Return the index of a ring's begin by the rules: its top, the foot of one that is a mark beside a character."""
    mark = _is_mark(ring, size)
    best, low = 0, 1e18
    for k in range(len(ring)):
        # a little to the right of the top
        height = -ring[k, 1] if mark else ring[k, 1] - 0.15 * ring[k, 0]
        if height < low:
            best, low = k, height
    return best


@inner
def _forward(context: PathContext, w: Path, line: Line, size: float, weights: Vector) -> float:
    """Return the log odds that a walk was gone as it stands; line: its places."""
    n = len(w)
    total = total_length(line)
    dx, dy = line[n - 1, 0] - line[0, 0], line[n - 1, 1] - line[0, 1]
    gap = math.hypot(dx, dy)
    if gap < 0.18 * total and (total > 0.5 * size or gap < 0.05 * total):
        area = _area(line)
        closed = gap < 0.1 * total
        if closed and _is_mark(line, size):
            # a small ring beside a character is a mark, run clockwise
            odds = ROUND_FORM_LOG_ODDS if area > 0 else -ROUND_FORM_LOG_ODDS
        elif not closed and abs(dy) > 0.05 * total:
            odds = ROUND_FORM_LOG_ODDS if dy > 0 else -ROUND_FORM_LOG_ODDS
        else:
            odds = -ROUND_FORM_LOG_ODDS if area > 0 else ROUND_FORM_LOG_ODDS
    else:
        told = direction_features(line, size)
        odds = 0.0
        for k in range(len(told)):
            odds += told[k] * weights[k]
    ends = context.landed[w[0]] + context.lifted[w[n - 1]] - context.landed[w[n - 1] ^ 1] - context.lifted[w[0] ^ 1]
    return float(odds + PEN_EVENT_WEIGHT * ends)


@inner
def _corners(p: Line) -> list[int]:
    """Return the indices of a line's ends and of its corners; p: places half a pen width apart."""
    n = len(p)
    out = [0]
    cos = np.ones(n)
    for k in range(3, n - 3):
        ax, ay = p[k, 0] - p[k - 3, 0], p[k, 1] - p[k - 3, 1]
        bx, by = p[k + 3, 0] - p[k, 0], p[k + 3, 1] - p[k, 1]
        cos[k] = (ax * bx + ay * by) / max(math.hypot(ax, ay) * math.hypot(bx, by), 1e-9)
    for k in range(3, n - 3):
        lowest = cos[k] < CORNER_COSINE
        for j in range(max(k - 3, 0), min(k + 4, n)):
            lowest = lowest and (cos[k] < cos[j] or j == k or (cos[k] == cos[j] and k < j))
        if lowest:
            out.append(k)
    out.append(n - 1)
    return out


@compiled
def orient_strokes(context: PathContext, walks: FlatPaths, size: float, weights: Vector) -> tuple[FlatPaths, Vector]:
    """Return walks the way a pen would rather go them, and (5,) what still goes against it.

    That is: how far up and how far to the left the pen goes, in sizes of the character; how many straight lines run
    straight up or to the left; how far the begin of rings is from their top, and that of marks from their foot, in
    turns.
    weights: of `direction_features`, log odds.
    """
    out = parted(walks)
    told = np.zeros(5)
    for i in range(len(out)):
        w = out[i]
        n = len(w)
        if n < 2 or context.piece[w[0]] >= context.lines:
            continue
        line = places(context, w)
        if _forward(context, w, line, size, weights) < 0:
            out[i] = reversed_path(w)
            line = line[::-1].copy()
        for k in range(n - 1):
            told[0] += max(line[k, 1] - line[k + 1, 1], 0.0) / size
            told[1] += max(line[k, 0] - line[k + 1, 0], 0.0) / size
        corners = _corners(line)
        for c in range(len(corners) - 1):
            if _runs_back(context, line, corners[c], corners[c + 1]):
                told[2] += 1
        if len(ring_of(context, w, MIN_RING_STATES)):
            k = _begin(line, size)
            told[4 if _is_mark(line, size) else 3] += min(k, n - k) / n
    return joined(out), told


@inner
def _from_the_top(context: PathContext, ring: Path, size: float) -> Path:
    """Return a ring begun where the rules have it."""
    turned = rotated_ring(ring, _begin(places(context, ring), size))
    return concatenated(turned, turned[:1])


@inner
def _contrary(context: PathContext, w: Path, line: Line, a: int, b: int) -> bool:
    """Tell whether a straight stretch of a walk, from corner to corner, runs straight up or straight to the left."""
    if not _runs_back(context, line, a, b):
        return False
    # a hook: who turns back on his own line does so without lifting
    for k in (a, b):
        if 0 < k < len(w) - 1 and cosine(context, w[max(k - 2, 0)], w[min(k + 2, len(w) - 1)]) < TURNED_BACK_COSINE:
            return False
    far = math.hypot(line[b, 0] - line[a, 0], line[b, 1] - line[a, 1])
    return total_length(line[a : b + 1]) < 1.06 * far


@compiled
def canonical_orientation(context: PathContext, walks: FlatPaths, size: float, weights: Vector) -> list[FlatPaths]:
    """Return walks with rings begun where the rules have it, and the same parted where they go against the grain.

    A sharp corner where a level line would have to be written to the left or an upright one upwards parts two strokes
    in careful writing (the top left corner of a box, the foot of its right side). The second is left out where there
    is no such corner.
    """
    whole = parted(walks)
    for i in range(len(whole)):
        ring = ring_of(context, whole[i], MIN_RING_STATES)
        if len(ring):
            whole[i] = _from_the_top(context, ring, size)
    whole = parted(orient_strokes(context, joined(whole), size, weights)[0])
    parts = whole[:0]
    for w in whole:
        if len(w) < 8 or context.piece[w[0]] >= context.lines:
            parts.append(w)
            continue
        line = places(context, w)
        corners = _corners(line)
        start, before = 0, False
        for c in range(len(corners) - 1):
            against = _contrary(context, w, line, corners[c], corners[c + 1])
            if c > 0 and (against or before):
                parts.append(w[start : corners[c] + 1])
                start = corners[c]
            before = against
        parts.append(w[start:])
    out = [joined(whole)]
    if len(parts) > len(whole):
        out.append(orient_strokes(context, joined(parts), size, weights)[0])
    return out
