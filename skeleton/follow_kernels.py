"""The cheapest walk that follows given points.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.compiled import inner

BEAM = 6.0
"""States that cost so much more than the best one are given up; no right walk was ever so far behind."""

PLACE_WEIGHT = 0.5
TURN_WEIGHT = 0.8
STRETCH_WEIGHT = 0.15
"""Cost of a place one standard deviation off (half of it), of a right angle between model and walk, and of a step twice
as long as the model's."""

FAR_OFF = 9.0
"""Squared standard deviations from which a place is no further off."""

NEVER = 1e18


@inner
def _begin(start_cost: Any, before: Any, now: Any, back: Any, i: int) -> None:
    """Set what it costs to begin a stroke at every state, after whatever ended best."""
    low, arg = 0.0, -1
    if i > 0:
        low, arg = _best_end(start_cost, before)
    for s in range(len(now)):
        now[s] = low + start_cost[s]
        back[i, s] = arg


@inner
def _best_end(start_cost: Any, before: Any) -> Any:
    """Return (cost, state) of the cheapest end: lifting costs what a start at the reverse state does."""
    low, arg = NEVER, 0
    for s in range(len(before)):
        c = before[s] + start_cost[s ^ 1]
        if c < low:
            low = c
            arg = s
    return low, arg


@inner
def _move(at: Any, to: Any, length: Any, cost: Any, d: float, before: Any, floor: float, now: Any, back: Any) -> None:
    """Set what it costs to come to every state by a move of about the length `d`, and from where."""
    for s in range(len(before)):
        b = before[s]
        if b > floor:
            continue
        for j in range(at[s], at[s + 1]):
            t = to[j]
            c = b + cost[j]
            # what is dear already will not get cheaper: spares the division
            if c >= now[t]:
                continue
            r = length[j] / d - 1.0
            c += STRETCH_WEIGHT * r * r
            if c < now[t]:
                now[t] = c
                back[t] = s


@inner
def follow(
    points: Any, tangents: Any, breaks: Any, here: Any, heading: Any, start_cost: Any, extra: Any,
    at: Any, to: Any, length: Any, cost: Any, step: Any, place_scale: float,
) -> Any:  # fmt: skip
    """Return (state of every point, total cost) of the cheapest walk that follows the points (Viterbi 1967).

    points, tangents (n, 2): the model; breaks (n,): 1 where a stroke begins. here, heading (s, 2): place and direction
    of every state. start_cost (s,): what beginning or ending a stroke there costs. extra (s,): added to each visit.
    at, to, length, cost: the moves, as `moves_within` gives them. step (n,): distance of every point from the one
    before it. place_scale: standard deviation of a place.
    """
    n, s_count = len(points), len(here)
    back = np.zeros((n, s_count), np.int32)
    before = np.zeros(s_count)
    now = np.full(s_count, NEVER)
    floor = 0.0
    for i in range(n):
        if breaks[i] == 1:
            _begin(start_cost, before, now, back, i)
        else:
            _move(at, to, length, cost, step[i], before, floor, now, back[i])
        px, py = points[i, 0], points[i, 1]
        tx, ty = tangents[i, 0], tangents[i, 1]
        flat = tx == 0.0 and ty == 0.0
        least = NEVER
        for s in range(s_count):
            if now[s] >= NEVER:
                before[s] = NEVER
                continue
            dx = (here[s, 0] - px) / place_scale
            dy = (here[s, 1] - py) / place_scale
            c = PLACE_WEIGHT * min(dx * dx + dy * dy, FAR_OFF) + extra[s]
            if not flat:
                c += TURN_WEIGHT * (1.0 - heading[s, 0] * tx - heading[s, 1] * ty)
            c = now[s] + c
            before[s] = c
            now[s] = NEVER
            least = min(least, c)
        floor = least + BEAM
    low, s = _best_end(start_cost, before)
    walk = np.zeros(n, np.int32)
    for i in range(n - 1, -1, -1):
        walk[i] = s
        s = back[i, s]
    return walk, low
