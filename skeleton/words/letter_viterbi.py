"""The cheapest way of a pen over ink that is known to be a row of letters.

Compiled by numba on first use and kept on disk; imported only when a word is read.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.array_types import FlatPaths, IndexTable, Indices, Line, Vector
from skeleton.geometry.jit import compiled, inner

NEVER = 1e18


@inner
def _lowest_by_bin(cost: Any, bins: Any, shift: Any, out: Any, arg: Any) -> None:
    """Set for every bin the cheapest state whose place, shifted by whole bins, lies in it."""
    count = len(out)
    for b in range(count):
        out[b] = NEVER
        arg[b] = -1
    for s in range(len(cost)):
        if cost[s] < NEVER:
            b = min(max(bins[s] + shift[s], 0), count - 1)
            if cost[s] < out[b]:
                out[b] = cost[s]
                arg[b] = s


@inner
def _gone_on(edge: Any, edge_arg: Any, skipped: Any, overlap: float, reach: int, out: Any, arg: Any) -> None:
    """Set what it costs to begin in every bin after a letter that ended at an edge.

    Paper and ink left out on the way cost what `skipped` grows by, beginning before the edge the square of the overlap.
    """
    count = len(out)
    best, who = NEVER, -1
    for b in range(count):
        v = edge[b] - skipped[b]
        if v < best:
            best, who = v, edge_arg[b]
        out[b] = best + skipped[b] if who >= 0 else NEVER
        arg[b] = who
    for b in range(count):
        if edge[b] >= NEVER:
            continue
        for w in range(1, min(reach, b) + 1):
            c = edge[b] + overlap * w * w
            if c < out[b - w]:
                out[b - w] = c
                arg[b - w] = edge_arg[b]


@inner
def _jumped(edge: Any, edge_arg: Any, shift: int, reach: int, spread: float, out: Any, arg: Any) -> None:
    """Set what it costs to begin in every bin a stroke that should begin `shift` bins from where the last one ended."""
    count = len(out)
    for b in range(count):
        out[b] = NEVER
        arg[b] = -1
        for w in range(-reach, reach + 1):
            q = b - shift + w
            if 0 <= q < count and edge[q] < NEVER:
                c = edge[q] + spread * w * w
                if c < out[b]:
                    out[b] = c
                    arg[b] = edge_arg[q]


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
    """
    w_y, w_turn, w_stretch, gain, beam = weights[0], weights[1], weights[2], weights[3], weights[4]
    lift, overlap, joins, w_join, w_back = weights[5], weights[6], int(weights[7]), weights[8], weights[9]
    far_y, spread, reach = weights[10], weights[11], int(weights[12])
    free = weights[13]
    states, letters, bins = len(here), len(letter_at) - 1, len(skipped)
    back = np.empty((len(points), states), np.int32)
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
    none = np.zeros(states, np.int32)
    stepped = np.empty(len(to))
    for j in range(len(to)):
        r = length[j] / step - 1.0
        stepped[j] = cost[j] + w_stretch * r * r
    for s in range(states):
        bin_of[s] = min(max(int((here[s, 0] - left) / bin_width), 0), bins - 1)
    shift = np.zeros(states, np.int32)
    done, after = np.full(states, NEVER), np.empty(states)
    before, now = np.full(states, NEVER), np.full(states, NEVER)
    way, further = np.empty(states), np.empty(states)
    live, new = np.empty(states, np.int32), np.empty(states, np.int32)
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
            _lowest_by_bin(after, bin_of, shift, edge, edge_arg)
        _gone_on(edge, edge_arg, skipped, overlap * bin_width * bin_width, reach, lift_cost[k], lift_from[k])
        for s in range(states):
            done[s] = NEVER
        for f in range(letter_at[k], letter_at[k + 1]):
            count, least = 0, NEVER
            for s in range(states):
                b = min(max(bin_of[s] - before_it[f], 0), bins - 1)
                back_by = max(entered_edge[k, s] - bin_of[s] + before_it[f] - free, 0.0) * bin_width
                now[s] = min(entered[k, s] + overlap * back_by * back_by, lift_cost[k, b] + landing[s])
                least = min(least, now[s])
            floor = least + beam
            for s in range(states):
                if now[s] <= floor:
                    live[count] = s
                    count += 1
                else:
                    now[s] = NEVER
            for i in range(form_at[f], form_at[f + 1]):
                if breaks[i] == 1 and i > form_at[f]:
                    for s in range(states):
                        after[s] = NEVER
                    for q in range(count):
                        s = live[q]
                        if before[s] <= floor:
                            after[s] = before[s] + lifting[s]
                    _lowest_by_bin(after, bin_of, none, edge, edge_arg)
                    gap = round((points[i, 0] - points[i - 1, 0]) / bin_width)
                    _jumped(edge, edge_arg, gap, reach, spread * bin_width * bin_width, jump, jump_arg)
                    count = 0
                    for s in range(states):
                        if jump[bin_of[s]] + landing[s] <= floor + 1.0:
                            now[s] = jump[bin_of[s]] + landing[s]
                            back[i, s] = jump_arg[bin_of[s]]
                            live[count] = s
                            count += 1
                elif i > form_at[f]:
                    reached = 0
                    for q in range(count):
                        s = live[q]
                        if before[s] > floor:
                            continue
                        for j in range(at[s], at[s + 1]):
                            t = to[j]
                            c = before[s] + stepped[j]
                            if c < now[t]:
                                if now[t] == NEVER:
                                    new[reached] = t
                                    reached += 1
                                now[t] = c
                                back[i, t] = s
                    live, new = new, live
                    count = reached
                least = NEVER
                for q in range(count):
                    s = live[q]
                    dy = here[s, 1] - points[i, 1]
                    c = now[s] + w_y * min(dy * dy, far_y) - gain + extra[s]
                    c += w_turn * (1.0 - heading[s, 0] * tangents[i, 0] - heading[s, 1] * tangents[i, 1])
                    before[s] = c
                    now[s] = NEVER
                    least = min(least, c)
                floor = least + beam
            for q in range(count):
                s = live[q]
                if before[s] + prior[f] < done[s]:
                    done[s] = before[s] + prior[f]
                    form_of[k, s] = f
    best, state = NEVER, -1
    for s in range(states):
        if done[s] < NEVER:
            b = min(max(bin_of[s] + after_it[form_of[letters - 1, s]], 0), bins - 1)
            c = done[s] + lifting[s] + skipped[bins - 1] - skipped[b]
            if c < best:
                best, state = c, s
    cap = letters * (joins + 1)
    for k in range(letters):
        most = 0
        for f in range(letter_at[k], letter_at[k + 1]):
            most = max(most, form_at[f + 1] - form_at[f])
        cap += most
    out = np.empty((cap, 4), np.int32)
    n = cap
    s = state
    for k in range(letters - 1, -1 if state >= 0 else letters, -1):
        f = form_of[k, s]
        for i in range(form_at[f + 1] - 1, form_at[f] - 1, -1):
            n -= 1
            out[n, 0], out[n, 1], out[n, 2], out[n, 3] = s, k, i, breaks[i] if i > form_at[f] else 0
            if i > form_at[f]:
                s = back[i, s]
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


@inner
def _between(a: int, b: int, to: Any, length: Any, cost: Any, at: Any, best: Any, prev: Any, touched: Any) -> Any:
    """Return the states after `a` up to `b` of the cheapest walk (Dijkstra 1959), only `b` where it is too far.

    best: NEVER everywhere, and so again afterwards.
    """
    most = len(touched) - 8
    done = np.zeros(len(touched), np.bool_)
    n = 1
    touched[0] = a
    best[a] = 0.0
    found = False
    while n < most:
        pick, low = -1, NEVER
        for i in range(n):
            if not done[i] and best[touched[i]] < low:
                low, pick = best[touched[i]], i
        if pick < 0:
            break
        done[pick] = True
        u = touched[pick]
        if u == b:
            found = True
            break
        for j in range(at[u], at[u + 1]):
            v = to[j]
            c = low + length[j] + 5.0 * cost[j]
            if c < best[v]:
                if best[v] == NEVER:
                    if n >= most:
                        break
                    touched[n] = v
                    n += 1
                best[v] = c
                prev[v] = u
    k = 1
    v = b
    while found and prev[v] != a:
        v = prev[v]
        k += 1
    out = np.empty(k, np.int32)
    v = b
    for i in range(k - 1, -1, -1):
        out[i] = v
        v = prev[v] if found else v
    for i in range(n):
        best[touched[i]] = NEVER
    return out


@compiled
def single_steps_of(
    rows: IndexTable, to: Indices, length: Vector, cost: Vector, at: Indices
) -> tuple[FlatPaths, Indices]:
    """Return (walks, letters): the rows of `decode` with every single step in between, and whose each step is."""
    states = len(at) - 1
    best, prev, touched = np.full(states, NEVER), np.zeros(states, np.int32), np.empty(400, np.int32)
    cap = 64 + 24 * len(rows)
    out, letter = np.empty(cap, np.int32), np.empty(cap, np.int64)
    starts = np.zeros(len(rows) + 1, np.int64)
    n, strokes = 0, 0
    for i in range(len(rows)):
        s = rows[i, 0]
        if rows[i, 3] == 1 or i == 0:
            starts[strokes] = n
            strokes += 1
            out[n], letter[n] = s, rows[i, 1]
            n += 1
        elif out[n - 1] != s:
            way = _between(out[n - 1], s, to, length, cost, at, best, prev, touched)
            for j in range(len(way)):
                if n < cap:
                    out[n], letter[n] = way[j], rows[i, 1]
                    n += 1
    starts[strokes] = n
    return (out[:n], starts[: strokes + 1]), letter[:n]
