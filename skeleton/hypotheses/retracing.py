"""How far a pen may have gone back over its own line, or on over another.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Flags, Path
from skeleton.geometry.jit import inner
from skeleton.states.paths import PathContext, cosine

DOUBLE_PASS_THRESHOLDS = (2.8, 1.4, 0.0)
"""Log odds from which a place counts as passed twice where the length of a retrace is sought: from as likely as not to
no less likely than elsewhere."""


@inner
def first_corner(context: PathContext, v: Path, n: int) -> int:
    """Return after how many of the first `n` states the first sharp corner comes, or 0."""
    for k in range(3, n - 3):
        if cosine(context, v[k - 3], v[k + 3]) < 0.4:
            best = k - 1
            for j in range(k, min(k + 4, n - 1)):
                if cosine(context, v[j - 1], v[j + 1]) < cosine(context, v[best - 1], v[best + 1]):
                    best = j
            return best + 1
    return 0


@inner
def retrace_length(context: PathContext, v: Path, n: int, doubt: float) -> tuple[int, float]:
    """Return after how many of `n` states a retrace most likely ends, and the evidence so far above `doubt`."""
    total, high, best = 0.0, -1e18, 0
    for k in range(n):
        total += (context.doubled[v[k] // 2] - doubt) * context.spacing[context.piece[v[k]]]
        if total > high:
            high, best = total, k
    return best + 1, high


@inner
def _legs(context: PathContext, v: Path) -> tuple[int, int, int]:
    """Return (states, last two bends among them): how far from where `v` begins the pen may have come at most.

    That is to a sharp turn, or to where it would pass its own line; bends are -1 where there are none.
    """
    n = 1
    bends = [-1, -1]
    seen = np.zeros(len(context.doubled), np.bool_)
    seen[v[0] // 2] = True
    while n < len(v) and not seen[v[n] // 2]:
        if abs(v[n] - v[n - 1]) != 2 or context.piece[v[n]] != context.piece[v[n - 1]]:
            bends.append(n)
            if cosine(context, v[n], v[n - 1]) < 0.5:
                break
        seen[v[n] // 2] = True
        n += 1
    corner = first_corner(context, v, n)
    if corner:
        n = corner
        while bends[-1] >= n:
            bends.pop()
    return n, bends[-2], bends[-1]


@inner
def retraces(context: PathContext, v: Path, sure: bool) -> list[int]:
    """Return how far from the tip where `v` begins the pen may have come: as far as the ink is wide, or to a corner."""
    n, bend, last_bend = _legs(context, v)
    far, total = np.empty(n), np.empty(n)
    size, told, most = 0.0, 0.0, -1e18
    for k in range(n):
        gap = context.spacing[context.piece[v[k]]]
        size += gap
        told += context.doubled[v[k] // 2] * gap
        far[k], total[k] = size, told
        most = max(most, told)
    out: list[int] = []
    if sure and most < 1.5 * context.pen:
        return out
    ends = [retrace_length(context, v, n, doubt)[0] for doubt in DOUBLE_PASS_THRESHOLDS]
    if not sure:
        ends += [n, bend, last_bend]
    for m in ends:
        # no shorter than shows, and no further than the ink allows
        if m < 1 or far[m - 1] <= 0.5 * context.pen or total[m - 1] <= max(-6.0 * context.pen, -0.5 * far[m - 1]):
            continue
        fresh = True
        for x in out:
            fresh = fresh and abs(far[x - 1] - far[m - 1]) > 0.5 * context.pen
        if fresh:
            out.append(m)
    return out


@inner
def retrace_end(v: Path) -> int:
    """Return how many states the walk goes to a tip before it comes back the same way; 0 if it does not."""
    for n in range(1, len(v) // 2 + 1):
        if v[n] == v[n - 1] ^ 1:
            for k in range(n):
                if v[n + k] != v[n - 1 - k] ^ 1:
                    return 0
            return n
    return 0


@inner
def _straight_on(context: PathContext, last: int, seen: Flags) -> int:
    """Return the state that a pen goes on to most easily from `last`, -1 where it would turn or pass its own line."""
    low, nxt = 9.0, -1
    for j in range(context.step_at[last], context.step_at[last + 1]):
        c, v = context.step_cost[j], context.step_to[j]
        if v != last ^ 1 and (c < low or (c == low and v < nxt)):
            low, nxt = c, v
    return nxt if nxt >= 0 and low <= 0.3 and not seen[nxt // 2] else -1


@inner
def overruns(context: PathContext, last: int) -> list[Path]:
    """Return how the pen may have gone straight on from `last` over a line that is there: as far as the ink is wide."""
    path = np.empty(len(context.doubled) + 1, np.int32)
    seen = np.zeros(len(context.doubled), np.bool_)
    seen[last // 2] = True
    n, size = 0, 0.0
    while size < 16.0 * context.pen:
        last = _straight_on(context, last, seen)
        if last < 0:
            break
        path[n] = last
        n += 1
        seen[last // 2] = True
        size += context.spacing[context.piece[last]]
    out: list[Path] = []
    if n == 0:
        return out
    for doubt in DOUBLE_PASS_THRESHOLDS:
        m, told = retrace_length(context, path, n, doubt)
        size = 0.0
        for k in range(m):
            size += context.spacing[context.piece[path[k]]]
        fresh = told > 0 and size > 0.5 * context.pen
        for way in out:
            fresh = fresh and len(way) != m
        if fresh:
            out.append(path[:m])
    return out
