"""The cheapest way of a pen over ink that is known to be a row of letters.

Compiled by numba on first use and kept on disk; imported only when a word is read.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Vector
from skeleton.geometry.jit import compiled
from skeleton.words.form_lanes import LANES, begun, given_up, moved_on, suited, traced, turned
from skeleton.words.pen_jumps import NEVER, gone_on, lifted, lowest_by_bin


@compiled
def decode(
    here: Line, heading: Line, landing: Vector, lifting: Vector, extra: Vector,
    at: Indices, to: Indices, length: Vector, cost: Vector, skipped: Vector, left: float, bin_width: float,
    points: Line, tangents: Line, breaks: Indices, step: float,
    form_at: Indices, letter_at: Indices, prior: Vector, before_it: Indices, after_it: Indices, weights: Vector,
) -> Any:  # fmt: skip
    """Return (cost, states, letters, points of the models, lifts): the cheapest way, one row a step of the models.

    here, heading (s, 2): places and directions, x-heights, baseline at 0, y down. landing, lifting (s,): cost of the
    pen coming down and going up in each state. at, to, length, cost: moves. skipped (bins,): what paper and ink left of
    a bin cost when left out. points, tangents, breaks (n, ...): all forms' points `step` apart; form_at, letter_at:
    where forms begin in the points, letters in the forms. prior (f,): cost of
    a form; before_it, after_it (f,): how far, in bins, its left edge is from its first point and its right edge from
    its last. lifts: 1 where the pen was lifted before. The model's point is -1 on the way between letters.

    Forms of a letter are followed `LANES` at a time, side by side; those of like length are best neighbours.
    """
    w_turn, w_stretch, gain, beam = weights[1], weights[2], weights[3], weights[4]
    lift, overlap = weights[5], weights[6]
    joins, w_join, w_back, reach, free = int(weights[7]), weights[8], weights[9], int(weights[12]), weights[13]
    states, letters, bins = len(here), len(letter_at) - 1, len(skipped)
    join_back = np.empty((letters, joins + 1, states), np.int32)
    join_steps = np.zeros((letters, states), np.int8)
    entered, entered_edge = np.empty((letters, states)), np.empty((letters, states))
    way_edge, further_edge = np.empty(states), np.empty(states)
    lift_cost = np.empty((letters, bins))
    lift_from = np.empty((letters, bins), np.int32)
    form_of = np.zeros((letters, states), np.int32)
    edge, edge_arg = np.empty(bins), np.empty(bins, np.int32)
    jump, jump_arg = np.empty(bins), np.empty(bins, np.int32)
    bin_of = np.empty(states, np.int32)
    stepped = np.empty(len(to))
    for j in range(len(to)):
        r = length[j] / step - 1.0
        stepped[j] = cost[j] + w_stretch * r * r
    into_at, into, into_cost = turned(at, to, stepped)
    always = extra - gain + w_turn
    for s in range(states):
        bin_of[s] = min(max(int((here[s, 0] - left) / bin_width), 0), bins - 1)
    shift = np.zeros(states, np.int32)
    done, after = np.full(states, NEVER), np.empty(states)
    way, further = np.empty(states), np.empty(states)
    before, now, start = np.empty((states, LANES)), np.empty((states, LANES)), np.empty(states)
    least_of, floor, model = np.full(LANES, NEVER), np.full(LANES, NEVER), np.zeros((3, LANES))
    for k in range(letters):
        if k == 0:
            for b in range(bins):
                edge[b], edge_arg[b] = NEVER, -1
            # what lies left of the first letter is left out, at its price; the edge itself is no state
            edge[reach], edge_arg[reach] = 0.0, 0
            for s in range(states):
                entered[0, s], entered_edge[0, s] = NEVER, 0.0
        else:
            least = NEVER
            for s in range(states):
                way[s] = done[s]
                entered[k, s] = done[s]
                least = min(least, done[s])
                after[s] = done[s] + lifting[s] + lift if done[s] < NEVER else NEVER
                shift[s] = after_it[form_of[k - 1, s]]
                way_edge[s] = bin_of[s] + shift[s]
                entered_edge[k, s] = way_edge[s]
            for j in range(1, joins + 1):
                for s in range(states):
                    further[s] = NEVER
                for s in range(states):
                    if way[s] > least + beam:
                        continue
                    for q in range(at[s], at[s + 1]):
                        t = to[q]
                        c = way[s] + stepped[q] + w_join + w_back * max(0.0, -heading[t, 0]) + extra[t]
                        if t != s and c < further[t]:
                            further[t] = c
                            further_edge[t] = way_edge[s]
                            join_back[k, j, t] = s
                for s in range(states):
                    way[s], way_edge[s] = further[s], further_edge[s]
                    if way[s] < entered[k, s]:
                        entered[k, s], entered_edge[k, s] = way[s], way_edge[s]
                        join_steps[k, s] = j
            lowest_by_bin(after, bin_of, shift, edge, edge_arg)
        gone_on(edge, edge_arg, skipped, overlap * bin_width * bin_width, reach, lift_cost[k], lift_from[k])
        for s in range(states):
            done[s] = NEVER
        for first in range(letter_at[k], letter_at[k + 1], LANES):
            last = min(first + LANES, letter_at[k + 1])
            now[:] = NEVER
            most = 0
            for f in range(first, last):
                most = max(most, form_at[f + 1] - form_at[f])
                begun(
                    entered[k], entered_edge[k], lift_cost[k], landing, bin_of, before_it[f], weights, bin_width, start
                )
                now[:, f - first] = start
                floor[f - first] = start.min() + beam
            given_up(now, floor)
            for i in range(most):
                if i:
                    moved_on(before, into_at, into, into_cost, now)
                for f in range(first, last):
                    p, lane = form_at[f] + i, f - first
                    if p >= form_at[f + 1]:
                        continue
                    model[0, lane] = points[p, 1]
                    model[1, lane], model[2, lane] = w_turn * tangents[p, 0], w_turn * tangents[p, 1]
                    if i and breaks[p]:
                        gap = round((points[p, 0] - points[p - 1, 0]) / bin_width)
                        lifted(before[:, lane].copy(), lifting, bin_of, gap, weights, bin_width, bins, jump, jump_arg)
                        for s in range(states):
                            c = jump[bin_of[s]] + landing[s]
                            now[s, lane] = c if c <= floor[lane] + 1.0 else NEVER
                suited(here, heading, always, model, weights, now, least_of)
                for f in range(first, last):
                    if form_at[f] + i + 1 == form_at[f + 1]:
                        for s in range(states):
                            c = now[s, f - first] + prior[f]
                            if c < done[s]:
                                done[s], form_of[k, s] = c, f
                for f in range(LANES):
                    floor[f] = least_of[f] + beam
                given_up(now, floor)
                before, now = now, before
    best, state = NEVER, -1
    for s in range(states):
        if done[s] < NEVER:
            b = min(max(bin_of[s] + after_it[form_of[letters - 1, s]], 0), bins - 1)
            c = done[s] + lifting[s] + skipped[bins - 1] - skipped[b]
            if c < best:
                best, state = c, s
    most = 0
    for f in range(len(prior)):
        most = max(most, form_at[f + 1] - form_at[f])
    out = np.empty((letters * (most + joins + 1), 4), np.int32)
    n = len(out)
    s = state
    for k in range(letters - 1, -1 if state >= 0 else letters, -1):
        f = form_of[k, s]
        low, high = form_at[f], form_at[f + 1]
        begun(entered[k], entered_edge[k], lift_cost[k], landing, bin_of, before_it[f], weights, bin_width, start)
        passed = traced(
            start, s, here, heading, always, landing, lifting, bin_of, into_at, into, into_cost,
            points[low:high], tangents[low:high], breaks[low:high], weights, bin_width, bins,
        )  # fmt: skip
        for i in range(high - 1, low - 1, -1):
            n -= 1
            out[n, 0], out[n, 1], out[n, 2], out[n, 3] = passed[i - low], k, i, breaks[i] if i > low else 0
        s = passed[0]
        b = min(max(bin_of[s] - before_it[f], 0), bins - 1)
        back_by = max(entered_edge[k, s] - bin_of[s] + before_it[f] - free, 0.0) * bin_width
        if lift_cost[k, b] + landing[s] < entered[k, s] + overlap * back_by * back_by:
            out[n, 3] = 1
            s = lift_from[k, b]
        else:
            for j in range(join_steps[k, s], 0, -1):
                s = join_back[k, j, s]
                if j > 1:
                    n -= 1
                    out[n, 0], out[n, 1], out[n, 2], out[n, 3] = s, k - 1, -1, 0
    return best, out[n:]
