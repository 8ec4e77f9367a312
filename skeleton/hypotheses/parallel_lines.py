"""Lines beside each other: a match that passes one twice and leaves the other bare is led along both.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Indices, Path, Vector
from skeleton.geometry.jit import inner
from skeleton.states.paths import (
    PathContext,
    along_piece,
    concatenated,
    coverage,
    joined,
    junction_between,
    parted,
    passed,
    reversed_path,
    step_cost,
)

MAX_RETURN_PEN_WIDTHS = 4.0
"""Pen widths that a walk goes at most from the end of a bare line until it is back on its way."""

MAX_TURN_COST = 1.0
"""Cost of a turn that is no dearer however steep: a pen that turns back in a narrow loop."""

DETOUR_COST_PER_PEN_WIDTH = 0.1
"""Cost of a pen width by which the way through the bare line is longer or shorter than what it takes the place of."""

MAX_DETOUR_COST = 2.0
"""How much dearer the way through a bare line may be: thinning makes corners of narrow loops."""

MAX_BARE_PEN_WIDTHS = 0.75
"""Pen widths of what a walk leaves that may be bare then: where it turned back it passed once only."""

JUNCTION_REACH_PEN_WIDTHS = 1.5
"""Pen widths before a junction at which a walk may have turned back for the pen's going round there."""

NO_WAY_COST = 9.0
"""Cost from which there is no way: above that of any walk that the other limits here let through."""


@inner
def detour_both_ways(context: PathContext, walks: FlatPaths, count: Indices) -> list[FlatPaths]:
    """Return walks led along bare lines where they would pass the way beside it again, best first.

    There are two where the pen may have gone the bare line first, or last; `count`, how often the walks pass every
    place, is brought up to date.
    """
    best = parted(walks)
    other = best[:0]
    changed = 0
    for p in range(context.lines):
        a, b = int(context.first[p]), int(context.first[p + 1])
        if context.junction_of[p, 0] < 0 or context.junction_of[p, 1] < 0 or passed(count, a, b):
            continue
        ways = [(0.0, 0, 0, best[0])][:0]
        for flipped in (False, True):
            way = along_piece(a, b - 1)
            if flipped:
                way = reversed_path(way)
            for i in range(len(best)):
                for cost, x, found in _detours_along(
                    context, best[i], way, int(context.junction_of[p, 1 if flipped else 0]), count
                ):
                    ways.append((cost, i, x, found))
        if len(ways) == 0:
            continue
        k = _cheapest(ways, -1, -1)
        _, at, when, new = ways[k]
        k = _cheapest(ways, at, when)
        if k >= 0:
            other = best[:]
            other[at] = ways[k][3]
        changed += 1
        best[at] = new
        fresh = coverage(joined(best), len(count))
        for q in range(len(count)):
            count[q] = fresh[q]
    out = [joined(best) if changed else walks]
    if changed == 1 and len(other):
        out.append(joined(other))
    return out


@inner
def _cheapest(ways: list[tuple[float, int, int, Path]], at: int, when: int) -> int:
    """Return which of some (cost, walk, when it leaves, states) costs least; -1 if there is none.

    With `at`, of those of that walk that leave at another time than `when`.
    """
    low, best = NO_WAY_COST, -1
    for k in range(len(ways)):
        if ways[k][0] < low and (at < 0 or (ways[k][1] == at and ways[k][2] != when)):
            low, best = ways[k][0], k
    return best


@inner
def _detours_along(
    context: PathContext, w: Path, way: Path, junction: int, count: Indices
) -> list[tuple[float, int, Path]]:
    """Return the ways in which a walk may be led along `way` from a junction on, one for each time that it comes there.

    Each is (how much dearer it is, when it leaves, walk).
    """
    out = [(0.0, 0, w)][:0]
    on, before, length = _ways_on(context, way[-1])
    own = len(way) * float(context.spacing[context.piece[way[0]]])
    for x in range(1, len(w) - 1):
        on_to = w[:0]
        if junction_between(context, w[x - 1], w[x]) != junction:
            on_to = _to_junction(context, w[x - 1], junction) if w[x] == w[x - 1] ^ 1 else on_to
            if len(on_to) == 0:
                continue
        entry = min(step_cost(context, on_to[-1] if len(on_to) else w[x - 1], way[0]), MAX_TURN_COST)
        low, new = MAX_DETOUR_COST, w
        left = count.copy()
        cost, size = min(step_cost(context, w[x - 1], w[x]), MAX_TURN_COST), 0.0
        bare = 0.0
        for y in range(x + 1, len(w)):
            s = w[y - 1]
            if s // 2 != w[y - 2] // 2 or y == x + 1:
                left[s // 2] -= 1
                gap = float(context.spacing[context.piece[s]])
                size += gap
                bare += gap if left[s // 2] < 1 else 0.0
            if bare > MAX_BARE_PEN_WIDTHS * context.pen or size > 2.0 * own + MAX_RETURN_PEN_WIDTHS * context.pen:
                break
            cost += min(step_cost(context, s, w[y]), MAX_TURN_COST)
            t = w[y]
            if on[t] >= NO_WAY_COST:
                continue
            c = entry + on[t] - cost + DETOUR_COST_PER_PEN_WIDTH * abs(own + length[t] - size) / context.pen
            if c < low:
                low = c
                back = np.empty(len(on), np.int32)
                n = 0
                s = before[t]
                while s >= 0 and s != way[-1]:
                    back[n] = s
                    n += 1
                    s = before[s]
                new = concatenated(
                    concatenated(concatenated(w[:x], on_to), way), concatenated(back[:n][::-1].copy(), w[y:])
                )
        if low < MAX_DETOUR_COST:
            out.append((low, x, new))
    return out


@inner
def _to_junction(context: PathContext, s: int, junction: int) -> Path:
    """Return the states after `s` up to the end of its line, if that is near and in the junction; empty if not."""
    p, q = context.piece[s], s // 2
    if s & 1 == 0:
        end, rest = 1, along_piece(q + 1, context.first[p + 1] - 1)
    else:
        end, rest = 0, reversed_path(along_piece(context.first[p], q - 1))
    return (
        rest
        if context.junction_of[p, end] == junction
        and len(rest) * context.spacing[p] <= JUNCTION_REACH_PEN_WIDTHS * context.pen
        else rest[:0]
    )


@inner
def _ways_on(context: PathContext, start: int) -> tuple[Vector, Indices, Vector]:
    """Return (cost, state before, px) of the cheapest way from a state to all within `MAX_RETURN_PEN_WIDTHS`."""
    n = len(context.here)
    cost, length = np.full(n, NO_WAY_COST), np.zeros(n)
    before = np.full(n, -1, np.int64)
    cost[start] = 0.0
    live = [start]
    while len(live):
        s = live.pop()
        for j in range(context.step_at[s], context.step_at[s + 1]):
            t, c = context.step_to[j], cost[s] + min(context.step_cost[j], MAX_TURN_COST)
            far = length[s] + context.spacing[context.piece[t]]
            if t != start and far <= MAX_RETURN_PEN_WIDTHS * context.pen and c < cost[t] - 1e-9:
                cost[t], length[t], before[t] = c, far, s
                live.append(t)
    cost[start] = NO_WAY_COST
    return cost, before, length
