"""Inner loops of the choice between readings, compiled on first use."""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Flags, FlatPaths, Indices, Matrix, PackedReadings, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.scoring.width_consistency import link_cost
from skeleton.states.paths import PathContext, coverage, step_cost

DOUBLE_PASS_LOG_ODDS = 2.0
"""Log odds from which a place looks passed twice."""


@inner
def pass_features(
    context: PathContext, walks: FlatPaths, count: Indices, gaps: Vector, free: Flags
) -> tuple[float, ...]:
    """Return what the ink says of walks.

    Evidence for and against every stretch passed twice, evidence against landings inside lines, length passed a third
    time, how much lower strokes begin than they end, how far the pen goes between strokes, and of the stretches passed
    twice, and of those that look so but are not: how many, and how surely each, summed.

    count, gaps (places,): how often the walks pass every place, and its size, px; free (states,): last before a tip.
    """
    walk, starts = walks
    here, first, doubled = context.here, context.first, context.doubled
    rise = 0.0
    travel = 0.0
    for i in range(len(starts) - 1):
        if i > 0:
            e, f = walk[starts[i] - 1], walk[starts[i]]
            travel += np.hypot(here[e, 0] - here[f, 0], here[e, 1] - here[f, 1])
        rise += here[walk[starts[i]], 1] - here[walk[starts[i + 1] - 1], 1]
    pro, contra, landing, thrice = 0.0, 0.0, 0.0, 0.0
    for q in range(len(gaps)):
        if count[q] > 1:
            pro += gaps[q] * max(doubled[q], 0.0)
            contra -= gaps[q] * min(doubled[q], 0.0)
        if count[q] > 2:
            thrice += (count[q] - 2) * gaps[q]
    places = len(gaps)
    runs, told, missed, missing = 0.0, 0.0, 0.0, 0.0
    for p in range(len(first) - 1):
        size, total = 0, 0.0
        lost, loss = 0, 0.0
        for q in range(first[p], first[p + 1] + 1):
            inside = q < first[p + 1]
            if inside and count[q] > 1:
                size += 1
                total += doubled[q]
            elif size:
                runs += 1
                told += total / size
                size, total = 0, 0.0
            if inside and count[q] == 1 and doubled[q] > DOUBLE_PASS_LOG_ODDS:
                lost += 1
                loss += doubled[q]
            elif lost:
                if lost > 1:
                    missed += 1
                    missing += loss / lost
                lost, loss = 0, 0.0
    for i in range(len(starts) - 1):
        for end in range(2):
            s = walk[starts[i]] if end == 0 else walk[starts[i + 1] - 1] ^ 1
            if free[s ^ 1]:
                continue
            q = s // 2
            best = -2.0
            for r in range(max(q - 2, 0), min(q + 3, places)):
                best = max(best, doubled[r])
            landing -= best
    pen = context.pen
    return (
        pro / (2 * pen), contra / (2 * pen), landing, thrice / (2 * pen), rise, travel, runs, told, missed, missing
    )  # fmt: skip


@inner
def kinematic_features(
    context: PathContext, walks: FlatPaths, count: Indices, gaps: Vector, free: Flags, start_cost: Vector
) -> tuple[float, ...]:
    """Return what tells how the pen moves on walks.

    Turns, turns at tips, turns back in junctions, starts, length passed again, idle length, evidence against passing
    twice. count, gaps, free: as for `pass_features`; start_cost (states,): of landing there.
    """
    walk, starts = walks
    single = 0.0
    turns, tips, back, begin, again, idle = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        begin += start_cost[walk[a]] + start_cost[walk[b - 1] ^ 1]
        for k in range(a + 1, b):
            s, t = walk[k - 1], walk[k]
            if t == s ^ 1:
                if free[s]:
                    tips += 1
                else:
                    back += 1
            elif abs(s - t) != 2:
                turns += step_cost(context, s, t)
    for q in range(len(gaps)):
        if count[q] > 1:
            again += (count[q] - 1) * gaps[q]
            single -= gaps[q] * context.doubled[q]
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        k = a
        while k < b and count[walk[k] // 2] > 1:
            idle += gaps[walk[k] // 2]
            k += 1
        k = b - 1
        while k >= a and count[walk[k] // 2] > 1:
            idle += gaps[walk[k] // 2]
            k -= 1
    return turns, tips, back, begin, again, idle, single


@inner
def landing_lift_costs(context: PathContext, walks: FlatPaths) -> tuple[float, float]:
    """Return what the clues say against the places where walks begin, and against those where they end."""
    walk, starts = walks
    landed, lifted = 0.0, 0.0
    for i in range(len(starts) - 1):
        landed -= context.landed[walk[starts[i]]]
        lifted -= context.lifted[walk[starts[i + 1] - 1]]
    return landed, lifted


@compiled
def path_features(
    context: PathContext, pack: PackedReadings, gaps: Vector, free: Flags, start_cost: Vector, widths: Vector,
    variance: float, total: float, size: float,
) -> Matrix:  # fmt: skip
    """Return the columns `path_features.PATH_FEATURE_NAMES` of readings, shape (readings, 22).

    One call for all: the arguments are many. pack: `state_graph.packed`; total: length of all lines, px; size: of the
    character, px; the others as for `kinematic_features`, `pass_features` and `link_cost`.
    """
    every, starts, state_at, start_at = pack
    out = np.empty((len(state_at) - 1, 22))
    for r in range(len(out)):
        walks = every[state_at[r] : state_at[r + 1]], starts[start_at[r] : start_at[r + 1]]
        count = coverage(walks, len(gaps))
        turns, tips, back, begin, again, idle, single = kinematic_features(
            context, walks, count, gaps, free, start_cost
        )
        ink = pass_features(context, walks, count, gaps, free)
        row = out[r]
        row[0] = len(walks[1]) - 1
        row[1], row[2], row[3], row[4] = turns, tips, back, begin
        row[5], row[6], row[7] = again / total, idle / total, single / (2 * context.pen)
        row[8], row[9], row[10], row[11] = ink[0], ink[1], ink[2], ink[3]
        row[12], row[13] = ink[4] / size, ink[5] / size
        row[14], row[15], row[16], row[17] = ink[6], ink[7], ink[8], ink[9]
        row[18], row[19] = landing_lift_costs(context, walks)
        row[20], row[21] = link_cost(context, walks, count, widths, variance)
    return out
