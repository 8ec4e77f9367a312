"""Where strokes would better begin and end, by the clues.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Indices, Path, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.states.paths import (
    PathContext,
    concatenated,
    coverage,
    joined,
    parted,
    reversed_path,
    ring_of,
    rotated_ring,
)

DOUBLE_PASS_WEIGHT = 0.4
"""Weight of the log odds of a place's being passed twice, for every pen width of it: neighbours say much the same."""

END_WEIGHT = 0.4
"""Weight of the log odds of an end, for the same reason."""

UNCOVERED_LOG_ODDS_PER_PEN_WIDTH = 3.0
"""Log odds against leaving a pen width of ink bare, and for taking it up."""

THIRD_PASS_LOG_ODDS_PER_PEN_WIDTH = 1.0
"""Log odds against passing a pen width a third time."""

MAX_MOVE_PEN_WIDTHS = 14.0
"""Pen widths by which an end is moved at most."""

MAX_TURN_COST = 1.2
"""Cost of a turn that no end is led round."""

MIN_GAIN_LOG_ODDS = 0.3
"""Log odds from which a better end is worth a reading."""

MIN_PATH_LOG_ODDS = -4.0
"""Log odds at which a way is given up."""

MAX_EXTENSION_STATES = 96
"""States by which a stroke is led on at most."""

MAX_EXTENSIONS_TRIED = 20_000
"""Steps by which ways from one end are sought: ink of many small loops has more ways through it than can be tried.
A thousand are enough for 95 of 100 of people's characters."""

MAX_SINGLE_CHANGES = 5
"""Readings with one end changed."""


@inner
def _passing(context: PathContext, q: int, times: int) -> float:
    """Return the log odds for passing a place once more when it is passed `times` times without."""
    size = float(context.spacing[context.piece[2 * q]] / context.pen)
    if times > 1:
        return -THIRD_PASS_LOG_ODDS_PER_PEN_WIDTH * size
    return size * (UNCOVERED_LOG_ODDS_PER_PEN_WIDTH if times == 0 else DOUBLE_PASS_WEIGHT * float(context.twice[q]))


@inner
def _keep_best_two(found: list[tuple[float, Path]], gain: float, way: Path) -> None:
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
def better_endpoints(context: PathContext, w: Path, covered: Indices, ends: Vector) -> list[tuple[float, Path]]:
    """Return up to two better ways to end the walk `w`, each (log odds gained, states), best first.

    covered (places,): how often all walks pass, this one included; ends (states,): log odds of an end in every state.
    The end is taken back step by step, and from each state led on every other way, depth first, until
    `MAX_EXTENSIONS_TRIED` steps were tried.
    """
    n = len(w)
    tried = 0
    count = covered.copy()
    found = [(0.0, w)][:0]
    ground = END_WEIGHT * ends[w[n - 1]]
    taken, far = 0.0, 0.0
    path = np.empty(MAX_EXTENSION_STATES, np.int32)
    at = np.empty(MAX_EXTENSION_STATES, np.int64)
    value, length = np.zeros(MAX_EXTENSION_STATES), np.zeros(MAX_EXTENSION_STATES)
    for t in range(n - 1):
        base = w[n - 1 - t]
        if t > 0 and w[n - t] // 2 != base // 2:
            q = w[n - t] // 2
            far += context.spacing[context.piece[2 * q]] / context.pen
            count[q] -= 1
            taken -= _passing(context, q, count[q])
            if far > MAX_MOVE_PEN_WIDTHS or taken < MIN_PATH_LOG_ODDS:
                break
        if t > 0 and taken + END_WEIGHT * ends[base] - ground > MIN_GAIN_LOG_ODDS:
            _keep_best_two(found, taken + END_WEIGHT * ends[base] - ground, w[: n - t].copy())
        depth = 0
        value[0], length[0], at[0] = taken, far, context.step_at[base]
        while depth >= 0:
            s = path[depth - 1] if depth > 0 else base
            if at[depth] >= context.step_at[s + 1]:
                before = path[depth - 2] if depth > 1 else base
                if depth > 0 and s // 2 != before // 2:
                    count[s // 2] -= 1
                depth -= 1
                continue
            j = at[depth]
            at[depth] += 1
            v = context.step_to[j]
            if (
                context.step_cost[j] > MAX_TURN_COST
                or (depth == 0 and t > 0 and v == w[n - t])
                or depth + 1 >= MAX_EXTENSION_STATES
            ):
                continue
            if tried == MAX_EXTENSIONS_TRIED:
                return found
            tried += 1
            q = v // 2
            worth, size = value[depth] - context.step_cost[j], length[depth]
            if q != s // 2:
                worth += _passing(context, q, count[q])
                size += context.spacing[context.piece[v]] / context.pen
            if size > MAX_MOVE_PEN_WIDTHS or worth < MIN_PATH_LOG_ODDS:
                continue
            path[depth] = v
            if q != s // 2:
                count[q] += 1
            depth += 1
            value[depth], length[depth], at[depth] = worth, size, context.step_at[v]
            gain = worth + END_WEIGHT * ends[v] - ground
            if gain > MIN_GAIN_LOG_ODDS and (len(found) < 2 or gain > found[1][0]):
                _keep_best_two(found, gain, concatenated(w[: n - t], path[:depth]))
    return found


@inner
def better_ring(context: PathContext, ring: Path) -> tuple[float, Path]:
    """Return (log odds gained, walk): a ring better begun elsewhere, and overlapped; the gain is 0 if there is none."""
    n = len(ring)
    now = END_WEIGHT * (context.landed[ring[0]] + context.lifted[ring[n - 1]])
    best, first, more = 0.0, 0, 1
    for k in range(n):
        total = END_WEIGHT * context.landed[ring[k]] - now
        for m in range(n // 2):
            if m > 0:
                total += _passing(context, ring[(k + m - 1) % n] // 2, 1)
            gain = total + END_WEIGHT * context.lifted[ring[(k + m - 1) % n]]
            if gain > best:
                best, first, more = gain, k, max(m, 1)
    turned = rotated_ring(ring, first)
    return best, concatenated(turned, turned[:more])


@compiled
def optimise_endpoints(context: PathContext, walks: FlatPaths, single: bool) -> list[FlatPaths]:
    """Return walks with all ends where the clues have them; if `single`, also each with one end changed, best first."""
    plain = parted(walks)
    every = parted(walks)
    count = coverage(walks, len(context.twice))
    flipped = np.empty(len(context.landed))
    for s in range(len(flipped)):
        flipped[s] = context.landed[s ^ 1]
    gains, at, ways = [0.0][:0], [0][:0], plain[:0]
    moved = False
    for i in range(len(plain)):
        w = plain[i]
        if context.piece[w[0]] >= context.lines or len(w) < 3:
            continue
        ring = ring_of(context, w, 8)
        if len(ring):
            gain, way = better_ring(context, ring)
            if gain > MIN_GAIN_LOG_ODDS:
                every[i] = way
                moved = True
                gains.append(gain)
                at.append(i)
                ways.append(way)
                continue
        for begin in (True, False):
            ends = flipped if begin else context.lifted
            alone = [(0.0, w)][:0]
            if single or not moved:
                alone = better_endpoints(context, reversed_path(w) if begin else w, count, ends)
            # as long as no end was moved, one end changed and all ends changed are the same question
            found = alone
            if moved:
                now = reversed_path(every[i]) if begin else every[i]
                found = better_endpoints(context, now, coverage(joined(every), len(context.twice)), ends)
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
    for x in np.argsort(-np.array(gains))[: MAX_SINGLE_CHANGES if single else 0]:
        changed = plain[:]
        changed[at[x]] = ways[x]
        out.append(joined(changed))
    return out


@inner
def _differs(a: list[Path], b: list[Path]) -> bool:
    """Tell whether two lists of as many walks are not the same."""
    for i in range(len(a)):
        if len(a[i]) != len(b[i]):
            return True
        for k in range(len(a[i])):
            if a[i][k] != b[i][k]:
                return True
    return False
