"""The places of a network and the single steps between them, laid out flat.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import IndexTable, Indices, Line, Matrix, Stack, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.geometry.polyline import points_at, total_length
from skeleton.graph.junction_kernels import bend_between, turn_cost

TURN_AT_TIP = 0.25
"""Cost of turning back at a free tip: a stem written down and up again."""

TURN_AT_JUNCTION = 0.8
"""Cost of turning back where lines meet, where nothing shows it."""

TURN_AT_CORNER = 0.5
"""Cost of turning back at a corner inside a line: a tip so short that thinning left nothing of it."""

CORNER = 0.5
"""Cosine of the turn, within a pen's width to either side, from which a line has a corner."""

START_INSIDE = 0.9
"""Cost of landing or lifting the pen in the middle of a line."""

START_AT_CORNER = 0.08
START_AT_JUNCTION = 0.04
START_ON_RING = 0.1
"""The same at a corner, in a junction, and anywhere on a ring, which has no end of its own."""

RING = 2.0
"""px between the ends of a piece below which it is a ring."""


@inner
def _headings(places: Line) -> Line:
    """Return unit directions along places in a row, shape (n, 2)."""
    n = len(places)
    out = np.empty((n, 2))
    for k in range(n):
        a, b = max(k - 1, 0), min(k + 1, n - 1)
        dx, dy = places[b, 0] - places[a, 0], places[b, 1] - places[a, 1]
        size = max(math.sqrt(dx * dx + dy * dy), 1e-9)
        out[k, 0], out[k, 1] = dx / size, dy / size
    return out


@inner
def _aside_of_corner(gap: float, pen: float) -> int:
    """Return how many places to either side of a place a line is looked at to tell a corner."""
    return max(1, round(0.9 * pen / max(gap, 1e-6)))


@inner
def _start_costs(out: Vector, d: Line, gap: float, free_a: bool, free_b: bool, pen: float) -> None:
    """Set the landing costs of both states of every place of a line, from its headings `d`."""
    n = len(d)
    far = 2.5 * pen
    base_a = 0.0 if free_a else START_AT_JUNCTION
    base_b = 0.0 if free_b else START_AT_JUNCTION
    for k in range(n):
        # heading along the piece means starting near its first end; near the other end to head away is as odd
        out[2 * k] = base_a + START_INSIDE * min(k * gap / far, 1.0)
        out[2 * k + 1] = base_b + START_INSIDE * min((n - 1 - k) * gap / far, 1.0)
    w = _aside_of_corner(gap, pen)
    for k in range(w, n - w if n > 2 * w + 1 else 0):
        if d[k + w, 0] * d[k - w, 0] + d[k + w, 1] * d[k - w, 1] < CORNER:
            out[2 * k] = min(out[2 * k], START_AT_CORNER)
            out[2 * k + 1] = min(out[2 * k + 1], START_AT_CORNER)


@compiled
def lay_states(
    points: Line, starts: Indices, junction_of: IndexTable, lines: int, pen: float, step: float
) -> tuple[Line, Line, Vector, Indices, Indices, Vector]:
    """Return (here, heading, start_cost, piece, first, spacing) of pieces end to end; see `state_graph.States`.

    lines: number of pieces that are not dots.
    """
    n = len(starts) - 1
    first, spacing = np.zeros(n + 1, np.int32), np.zeros(n)
    for p in range(n):
        total = total_length(points[starts[p] : starts[p + 1]])
        count = max(2, round(total / step) + 1)
        first[p + 1] = first[p] + count
        spacing[p] = total / (count - 1)
    states = 2 * first[n]
    here, heading = np.empty((states, 2)), np.empty((states, 2))
    cost, piece = np.zeros(states), np.empty(states, np.int32)
    for p in range(n):
        line = points[starts[p] : starts[p + 1]]
        a, count = 2 * first[p], first[p + 1] - first[p]
        where = np.empty(count)
        for k in range(count):
            where[k] = k * spacing[p]
        where[count - 1] = total_length(line)
        places = points_at(line, where)
        d = _headings(places)
        for k in range(count):
            for side in range(2):
                s = a + 2 * k + side
                here[s, 0], here[s, 1] = places[k, 0], places[k, 1]
                heading[s, 0], heading[s, 1] = (d[k, 0], d[k, 1]) if side == 0 else (-d[k, 0], -d[k, 1])
                piece[s] = p
        free_a, free_b = junction_of[p, 0] < 0, junction_of[p, 1] < 0
        if p < lines:
            own = cost[a : a + 2 * count]
            if free_a and free_b and math.hypot(places[0, 0] - places[-1, 0], places[0, 1] - places[-1, 1]) < RING:
                for k in range(2 * count):
                    own[k] = START_ON_RING
            else:
                _start_costs(own, d, spacing[p], free_a, free_b, pen)
    return here, heading, cost, piece, first, spacing


@inner
def _leave(first: Indices, p: int, end: int) -> int:
    """Return the state that leaves piece `p` by an end; what enters there is its reverse."""
    leaving: int = 2 * first[p] + 1 if end == 0 else 2 * (first[p + 1] - 1)
    return leaving


@inner
def _across(
    ends: IndexTable, points: Line, starts: Indices, leaving: Stack, curving: Matrix, pen: float, i: int, j: int
) -> tuple[float, float]:
    """Return (way, cost) from one end into another across their junction."""
    (p, a), (q, b) = ends[i], ends[j]
    at, to = starts[p] if a == 0 else starts[p + 1] - 1, starts[q] if b == 0 else starts[q + 1] - 1
    gap_x, gap_y = points[to, 0] - points[at, 0], points[to, 1] - points[at, 1]
    angle = bend_between(
        leaving[p, a, 0], leaving[p, a, 1], -leaving[q, b, 0], -leaving[q, b, 1], gap_x, gap_y,
        curving[p, a] - curving[q, b], pen,
    )  # fmt: skip
    return math.hypot(gap_x, gap_y), turn_cost(angle)


@inner
def _corners(heading: Line, a: int, b: int, gap: float, pen: float, line: bool) -> Indices:
    """Return the places, of those from a to b (not included), where a line turns most sharply, one for each corner."""
    out = np.empty(b - a, np.int64)
    n, w = 0, _aside_of_corner(gap, pen)
    sharp = np.ones(b - a)
    for q in range(a + w, b - w if line else a):
        before, after = heading[2 * (q - w)], heading[2 * (q + w)]
        sharp[q - a] = before[0] * after[0] + before[1] * after[1]
    for k in range(b - a):
        low = sharp[k]
        for j in range(max(k - w, 0), min(k + w + 1, b - a)):
            low = min(low, sharp[j] + (1e-9 if j < k else 0.0))
        if sharp[k] < CORNER and sharp[k] <= low:
            out[n] = a + k
            n += 1
    return out[:n]


@compiled
def single_steps(
    points: Line, starts: Indices, junction_of: IndexTable, lines: int, leaving: Stack, curving: Matrix, pen: float,
    ends: IndexTable, met: Indices, heading: Line, first: Indices, spacing: Vector, step: float,
) -> tuple[Indices, Vector, Vector, Indices]:  # fmt: skip
    """Return (step_to, step_len, step_cost, step_at); see `skeleton.states.state_graph.States`.

    heading (states, 2), first, spacing: as `lay_states` gives them; ends (k, 2): the (piece, end) that meet in the
    junctions, one junction after the other; met: where each begins.
    """
    pairs = 0
    for j in range(len(met) - 1):
        pairs += (met[j + 1] - met[j]) * (met[j + 1] - met[j] - 1)
    count = 4 * first[-1] + pairs
    frm, to = np.empty(count, np.int32), np.empty(count, np.int32)
    length, cost = np.zeros(count, np.float32), np.zeros(count, np.float32)
    n = 0
    for p in range(len(spacing)):
        for q in range(first[p], first[p + 1] - 1):
            for s, t in ((2 * q, 2 * q + 2), (2 * q + 3, 2 * q + 1)):
                frm[n], to[n], length[n] = s, t, spacing[p]
                n += 1
        for q in _corners(heading, int(first[p]), int(first[p + 1]), spacing[p], pen, p < lines):
            for s in (2 * q, 2 * q + 1):
                frm[n], to[n], cost[n] = s, s ^ 1, TURN_AT_CORNER
                n += 1
        a, b = starts[p], starts[p + 1] - 1
        ring = p < lines and junction_of[p, 0] < 0
        ring = ring and math.hypot(points[a, 0] - points[b, 0], points[a, 1] - points[b, 1]) < RING
        for k in range(2):
            s = _leave(first, p, k)
            frm[n], to[n] = s, _leave(first, p, 1 - k) ^ 1 if ring else s ^ 1
            if not ring:
                cost[n] = TURN_AT_TIP if junction_of[p, k] < 0 else TURN_AT_JUNCTION
            n += 1
    for m in range(len(met) - 1):
        for i in range(met[m], met[m + 1]):
            for j in range(i + 1, met[m + 1]):
                # the way across a junction counts as one step, whichever arms it joins
                way, c = _across(ends, points, starts, leaving, curving, pen, i, j)
                u, v = _leave(first, ends[i, 0], ends[i, 1]), _leave(first, ends[j, 0], ends[j, 1])
                for s, t in ((u, v ^ 1), (v, u ^ 1)):
                    frm[n], to[n], length[n], cost[n] = s, t, min(way, step), c
                    n += 1
    return _in_rows(frm[:n], to[:n], length[:n], cost[:n], 2 * first[-1])


@inner
def _in_rows(
    frm: Indices, to: Indices, length: Vector, cost: Vector, states: int
) -> tuple[Indices, Vector, Vector, Indices]:
    """Return (to, length, cost, at): steps sorted by where they start, in the order they had."""
    at = np.zeros(states + 1, np.int64)
    for s in frm:
        at[s + 1] += 1
    for s in range(states):
        at[s + 1] += at[s]
    put = np.empty(states, np.int64)
    for s in range(states):
        put[s] = at[s]
    out_to, n = np.empty(len(to), np.int32), len(to)
    out_length, out_cost = np.empty(n, np.float32), np.empty(n, np.float32)
    for k in range(len(frm)):
        j = put[frm[k]]
        put[frm[k]] += 1
        out_to[j], out_length[j], out_cost[j] = to[k], length[k], cost[k]
    return out_to, out_length, out_cost, at
