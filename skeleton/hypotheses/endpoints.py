"""Where strokes would better begin and end, by the clues.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.jit import compiled, inner
from skeleton.states.paths import concatenated, coverage, joined, parted, reversed_path, ring_of, rotated_ring

AGAIN = 0.4
"""Weight of the log odds of a place's being passed twice, for every pen width of it: neighbours say much the same."""

END = 0.4
"""Weight of the log odds of an end, for the same reason."""

BARE = 3.0
"""Log odds against leaving a pen width of ink bare, and for taking it up."""

THRICE = 1.0
"""Log odds against passing a pen width a third time."""

REACH = 14.0
"""Pen widths by which an end is moved at most."""

STEEPEST = 1.2
"""Cost of a turn that no end is led round."""

WORTH = 0.3
"""Log odds from which a better end is worth a reading."""

DEAREST = -4.0
"""Log odds at which a way is given up."""

DEEPEST = 96
"""States by which a stroke is led on at most."""

MOST = 5
"""Readings with one end changed."""


@inner
def _passing(g: Any, q: int, times: int) -> float:
    """Return the log odds for passing a place once more when it is passed `times` times without."""
    size = float(g.spacing[g.piece[2 * q]] / g.pen)
    if times > 1:
        return -THRICE * size
    return size * (BARE if times == 0 else AGAIN * float(g.twice[q]))


@inner
def _noted(found: Any, gain: float, way: Any) -> None:
    """Keep a way to end among the two best that end apart, best first; found: list of (gain, states)."""
    end, at = way[-1], len(found)
    for i in range(len(found) - 1, -1, -1):
        other = found[i][1][-1]
        if abs(other // 2 - end // 2) <= 2 and (other ^ end) & 1 == 0:
            at = i
    # where none is near, the worse of two makes way
    at = min(at, 1)
    if at == len(found):
        found.append((gain, way))
    elif gain > found[at][0]:
        found[at] = (gain, way)
    if len(found) == 2 and found[1][0] > found[0][0]:
        found[0], found[1] = found[1], found[0]


@inner
def better_endpoints(g: Any, w: Any, covered: Any, ends: Any) -> Any:
    """Return up to two better ways to end the walk `w`, each (log odds gained, states), best first.

    covered (places,): how often all walks pass, this one included; ends (states,): log odds of an end in every state.
    The end is taken back step by step, and from each state led on every other way, depth first.
    """
    n = len(w)
    count = covered.copy()
    found = [(0.0, w)][:0]
    ground = END * ends[w[n - 1]]
    taken, far = 0.0, 0.0
    path = np.empty(DEEPEST, np.int32)
    at = np.empty(DEEPEST, np.int64)
    value, length = np.zeros(DEEPEST), np.zeros(DEEPEST)
    for t in range(n - 1):
        base = w[n - 1 - t]
        if t > 0 and w[n - t] // 2 != base // 2:
            q = w[n - t] // 2
            far += g.spacing[g.piece[2 * q]] / g.pen
            count[q] -= 1
            taken -= _passing(g, q, count[q])
            if far > REACH or taken < DEAREST:
                break
        if t > 0 and taken + END * ends[base] - ground > WORTH:
            _noted(found, taken + END * ends[base] - ground, w[: n - t].copy())
        depth = 0
        value[0], length[0], at[0] = taken, far, g.step_at[base]
        while depth >= 0:
            s = path[depth - 1] if depth > 0 else base
            if at[depth] >= g.step_at[s + 1]:
                before = path[depth - 2] if depth > 1 else base
                if depth > 0 and s // 2 != before // 2:
                    count[s // 2] -= 1
                depth -= 1
                continue
            j = at[depth]
            at[depth] += 1
            v = g.step_to[j]
            if g.step_cost[j] > STEEPEST or (depth == 0 and t > 0 and v == w[n - t]) or depth + 1 >= DEEPEST:
                continue
            q = v // 2
            worth, size = value[depth] - g.step_cost[j], length[depth]
            if q != s // 2:
                worth += _passing(g, q, count[q])
                size += g.spacing[g.piece[v]] / g.pen
            if size > REACH or worth < DEAREST:
                continue
            path[depth] = v
            if q != s // 2:
                count[q] += 1
            depth += 1
            value[depth], length[depth], at[depth] = worth, size, g.step_at[v]
            gain = worth + END * ends[v] - ground
            if gain > WORTH and (len(found) < 2 or gain > found[1][0]):
                _noted(found, gain, concatenated(w[: n - t], path[:depth]))
    return found


@inner
def better_ring(g: Any, ring: Any) -> Any:
    """Return (log odds gained, walk): a ring better begun elsewhere, and overlapped; the gain is 0 if there is none."""
    n = len(ring)
    now = END * (g.landed[ring[0]] + g.lifted[ring[n - 1]])
    best, first, more = 0.0, 0, 1
    for k in range(n):
        total = END * g.landed[ring[k]] - now
        for m in range(n // 2):
            if m > 0:
                total += _passing(g, ring[(k + m - 1) % n] // 2, 1)
            gain = total + END * g.lifted[ring[(k + m - 1) % n]]
            if gain > best:
                best, first, more = gain, k, max(m, 1)
    turned = rotated_ring(ring, first)
    return best, concatenated(turned, turned[:more])


@compiled
def optimise_endpoints(g: Any, walks: Any, single: bool) -> Any:
    """Return walks with all ends where the clues have them; if `single`, also each with one end changed, best first."""
    plain = parted(walks)
    every = parted(walks)
    count = coverage(walks, len(g.twice))
    flipped = np.empty(len(g.landed))
    for s in range(len(flipped)):
        flipped[s] = g.landed[s ^ 1]
    gains, at, ways = [0.0][:0], [0][:0], plain[:0]
    moved = False
    for i in range(len(plain)):
        w = plain[i]
        if g.piece[w[0]] >= g.lines or len(w) < 3:
            continue
        ring = ring_of(g, w, 8)
        if len(ring):
            gain, way = better_ring(g, ring)
            if gain > WORTH:
                every[i] = way
                moved = True
                gains.append(gain)
                at.append(i)
                ways.append(way)
                continue
        for begin in (True, False):
            ends = flipped if begin else g.lifted
            alone = [(0.0, w)][:0]
            if single or not moved:
                alone = better_endpoints(g, reversed_path(w) if begin else w, count, ends)
            # as long as no end was moved, one end changed and all ends changed are the same question
            found = alone
            if moved:
                now = reversed_path(every[i]) if begin else every[i]
                found = better_endpoints(g, now, coverage(joined(every), len(g.twice)), ends)
            if len(found):
                every[i] = reversed_path(found[0][1]) if begin else found[0][1]
                moved = True
            if single:
                for gain, way in alone:
                    gains.append(gain)
                    at.append(i)
                    ways.append(reversed_path(way) if begin else way)
    out = [walks][:0]
    if _differs(every, plain):
        out.append(joined(every))
    for x in np.argsort(-np.array(gains))[: MOST if single else 0]:
        changed = plain[:]
        changed[at[x]] = ways[x]
        out.append(joined(changed))
    return out


@inner
def _differs(a: Any, b: Any) -> bool:
    """Tell whether two lists of as many walks are not the same."""
    for i in range(len(a)):
        if len(a[i]) != len(b[i]):
            return True
        for k in range(len(a[i])):
            if a[i][k] != b[i][k]:
                return True
    return False
