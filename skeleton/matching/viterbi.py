"""The cheapest walk that follows given points.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import IndexTable, Indices, Line, Path, Vector
from skeleton.geometry.jit import inner

BEAM_COST = 5.0
"""States that cost so much more than the best one are given up: no more is needed for the same readings."""

PLACE_WEIGHT = 0.5
TURN_WEIGHT = 0.8
STRETCH_WEIGHT = 0.15
"""Cost of a place one standard deviation off (half of it), of a right angle between model and walk, and of a step twice
as long as the model's."""

MAX_SQUARED_DEVIATIONS = 9.0
"""Squared standard deviations from which a place is no further off."""

IMPOSSIBLE_COST = 1e18


@inner
def _best_end(start_cost: Vector, before: Vector, live: Indices, count: int) -> tuple[float, int]:
    """Return (cost, state) of the cheapest end: lifting costs what a start at the reverse state does."""
    low, arg = IMPOSSIBLE_COST, 0
    for k in range(count):
        s = live[k]
        c = before[s] + start_cost[s ^ 1]
        if c < low:
            low = c
            arg = s
    return low, arg


@inner
def _move(
    at: Indices, to: Indices, length: Vector, cost: Vector, d: float, before: Vector, live: Indices, count: int,
    floor: float, now: Vector, back: IndexTable, new: Indices,
) -> int:  # fmt: skip
    """Set what it costs to come to states by a move of about the length `d`, and from where; return how many they are.

    live: the states come from, the first `count`; new: filled with those come to.
    """
    per = 1.0 / d
    reached = 0
    for k in range(count):
        s = live[k]
        b = before[s]
        if b > floor:
            continue
        for j in range(at[s], at[s + 1]):
            t = to[j]
            c = b + cost[j]
            # what is dear already will not get cheaper
            if c >= now[t]:
                continue
            r = length[j] * per - 1.0
            c += STRETCH_WEIGHT * r * r
            if c < now[t]:
                if now[t] == IMPOSSIBLE_COST:
                    new[reached] = t
                    reached += 1
                now[t] = c
                back[t] = s
    return reached


@inner
def follow(
    points: Line, tangents: Line, breaks: Indices, here: Line, heading: Line, start_cost: Vector, extra: Vector,
    at: Indices, to: Indices, length: Vector, cost: Vector, step: Vector, place_scale: float, most: float,
) -> tuple[Path, float]:  # fmt: skip
    """Return (state of every point, total cost) of the cheapest walk that follows the points (Viterbi 1967).

    points, tangents (n, 2): the model; breaks (n,): 1 where a stroke begins. here, heading (s, 2): place and direction
    of every state. start_cost (s,): what beginning or ending a stroke there costs. extra (s,): added to each visit.
    at, to, length, cost: the moves, as `moves_within` gives them. step (n,): distance of every point from the one
    before it. place_scale: standard deviation of a place. most: cost from which it is given up
    for `IMPOSSIBLE_COST`, the walk being of no meaning; nothing makes a walk cheaper but what is below 0 in `extra`.
    """
    n, s_count = len(points), len(here)
    back = np.zeros((n, s_count), np.int32)
    before = np.zeros(s_count)
    now = np.full(s_count, IMPOSSIBLE_COST)
    live, new = np.empty(s_count, np.int32), np.empty(s_count, np.int32)
    count = 0
    floor = 0.0
    per = 1.0 / place_scale
    for i in range(n):
        if breaks[i] == 1:
            # a stroke may begin at every state, after whatever ended best
            low, arg = (0.0, -1) if i == 0 else _best_end(start_cost, before, live, count)
            for s in range(s_count):
                now[s] = low + start_cost[s]
                back[i, s] = arg
                live[s] = s
            count = s_count
        else:
            count = _move(at, to, length, cost, step[i], before, live, count, floor, now, back[i], new)
            live, new = new, live
        px, py = points[i, 0], points[i, 1]
        tx, ty = tangents[i, 0], tangents[i, 1]
        flat = tx == 0.0 and ty == 0.0
        least = IMPOSSIBLE_COST
        for k in range(count):
            s = live[k]
            dx = (here[s, 0] - px) * per
            dy = (here[s, 1] - py) * per
            c = PLACE_WEIGHT * min(dx * dx + dy * dy, MAX_SQUARED_DEVIATIONS) + extra[s]
            if not flat:
                c += TURN_WEIGHT * (1.0 - heading[s, 0] * tx - heading[s, 1] * ty)
            c = now[s] + c
            before[s] = c
            now[s] = IMPOSSIBLE_COST
            least = min(least, c)
        floor = least + BEAM_COST
        if least > most:
            return np.zeros(n, np.int32), IMPOSSIBLE_COST
    low, s = _best_end(start_cost, before, live, count)
    walk = np.zeros(n, np.int32)
    for i in range(n - 1, -1, -1):
        walk[i] = s
        s = back[i, s]
    return walk, low
