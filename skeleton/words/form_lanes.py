"""Letters' forms followed over the ink side by side, and one of them once more to tell where it went.

Compiled by numba on first use and kept on disk; imported only when a word is read.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Matrix, Path, Vector
from skeleton.geometry.jit import inner
from skeleton.words.pen_jumps import NEVER, lifted

LANES = 6
"""Forms of a letter that are followed side by side: 4, 8, 9 or 10 of them take up to a fifth longer."""


@inner
def _told(
    y: float, right: float, down: float, point: float, across: float, along: float, w_y: float, far_y: float
) -> float:
    """Return what a state's height and direction cost beside a model's point; the tangents weighed already."""
    dy = y - point
    return w_y * min(dy * dy, far_y) - right * across - down * along


@inner
def moved_on(before: Matrix, at: Indices, come: Indices, cost: Vector, now: Matrix) -> None:
    """Set what it costs to get into every state by one move, in each lane.

    at, come, cost: moves by the state that they lead to: where each state's begin, from where they come.
    """
    for t in range(len(now)):
        there = now[t]
        for f in range(LANES):
            there[f] = NEVER
        for j in range(at[t], at[t + 1]):
            here, more = before[come[j]], cost[j]
            # without a branch: nobody can guess which of two is less, and to guess wrong would take most of the time
            for f in range(LANES):
                c = here[f] + more
                there[f] = c if c < there[f] else there[f]


@inner
def suited(
    here: Line, heading: Line, always: Vector, model: Matrix, weights: Vector, now: Matrix, least: Vector
) -> None:
    """Add what every state costs beside each lane's point of a model, and set the least cost of each lane.

    model (3, LANES): height of the points, and their weighed tangents.
    """
    y, across, along = model[0], model[1], model[2]
    least[:] = NEVER
    for s in range(len(now)):
        costs, high, right, down, more = now[s], here[s, 1], heading[s, 0], heading[s, 1], always[s]
        for f in range(LANES):
            c = costs[f] + (more + _told(high, right, down, y[f], across[f], along[f], weights[0], weights[10]))
            costs[f] = c
            least[f] = min(least[f], c)


@inner
def given_up(now: Matrix, floor: Vector) -> None:
    """Give up what costs more than its lane's floor."""
    for s in range(len(now)):
        costs = now[s]
        for f in range(LANES):
            costs[f] = costs[f] if costs[f] <= floor[f] else NEVER


@inner
def begun(
    entered: Vector, edge_of: Vector, lift_cost: Vector, landing: Vector, bin_of: Indices, before_it: int,
    weights: Vector, bin_width: float, out: Vector,
) -> None:  # fmt: skip
    """Set what it costs to begin a form in every state: the pen goes on from the letter before, or comes down."""
    overlap, free, bins = weights[6], weights[13], len(lift_cost)
    for s in range(len(out)):
        b = min(max(bin_of[s] - before_it, 0), bins - 1)
        back_by = max(edge_of[s] - bin_of[s] + before_it - free, 0.0) * bin_width
        out[s] = min(entered[s] + overlap * back_by * back_by, lift_cost[b] + landing[s])


@inner
def turned(at: Indices, to: Indices, cost: Vector) -> tuple[Indices, Indices, Vector]:
    """Return moves by the state that they lead to: where each state's begin, from where they come, what they cost."""
    states = len(at) - 1
    begin = np.zeros(states + 1, np.int64)
    for j in range(len(to)):
        begin[to[j] + 1] += 1
    for t in range(states):
        begin[t + 1] += begin[t]
    filled = begin[:-1].copy()
    come, costs = np.empty(len(to), np.uint32), np.empty(len(to))
    for s in range(states):
        for j in range(at[s], at[s + 1]):
            n = filled[to[j]]
            come[n], costs[n] = s, cost[j]
            filled[to[j]] = n + 1
    return begin, come, costs


@inner
def traced(
    start: Vector, end: int, here: Line, heading: Line, always: Vector, landing: Vector, lifting: Vector,
    bin_of: Indices, at: Indices, come: Indices, cost: Vector, points: Line, tangents: Line, breaks: Indices,
    weights: Vector, bin_width: float, bins: int,
) -> Path:  # fmt: skip
    """Return the states of the cheapest way along one form, one a point, that ends in a state; see `decode`.

    The lanes keep no record of whence they came, which would take as long again; this is done for the forms that are
    on the cheapest way alone.

    start (s,): what it costs to begin in each state. points, tangents, breaks: of this form.
    """
    states, count, beam = len(here), len(points), weights[4]
    back = np.empty((count, states), np.int32)
    jump, jump_arg = np.empty(bins), np.empty(bins, np.int32)
    before, now = start.copy(), np.empty(states)
    floor = before.min() + beam
    for i in range(count):
        for s in range(states):
            before[s] = before[s] if before[s] <= floor else NEVER
        if i:
            if breaks[i]:
                gap = round((points[i, 0] - points[i - 1, 0]) / bin_width)
                lifted(before, lifting, bin_of, gap, weights, bin_width, bins, jump, jump_arg)
                for s in range(states):
                    c = jump[bin_of[s]] + landing[s]
                    now[s], back[i, s] = c if c <= floor + 1.0 else NEVER, jump_arg[bin_of[s]]
            else:
                for t in range(states):
                    least, who = NEVER, 0
                    for j in range(at[t], at[t + 1]):
                        c = before[come[j]] + cost[j]
                        if c < least:
                            least, who = c, come[j]
                    now[t], back[i, t] = least, who
            before, now = now, before
        across, along = weights[1] * tangents[i, 0], weights[1] * tangents[i, 1]
        for s in range(states):
            told = _told(here[s, 1], heading[s, 0], heading[s, 1], points[i, 1], across, along, weights[0], weights[10])
            before[s] += always[s] + told
        floor = before.min() + beam
    out = np.empty(count, np.int32)
    for i in range(count - 1, -1, -1):
        out[i] = end
        end = back[i, end]
    return out
