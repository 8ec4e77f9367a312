"""Inner loops of the choice between readings, compiled on first use."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from skeleton.compiled import inner
from skeleton.ground import coverage, step_cost
from skeleton.link_kernels import linked

SPREAD = 0.035
"""Distance, in sizes of the character, at which a form is 1/e as likely as a perfect one."""

WIDE = 0.1
"""The same where only the rough shape counts."""

UNKNOWN = 0.004
"""Likelihood of a form that is in no table."""

UNLIKE = (0.3, 0.5, 0.5)
"""Distances from a form, in sizes of the character, from which it makes no difference: mean, worst stroke's, ends'."""

OTHER_NUMBER = 0.02
"""Likelihood of a number of strokes that no form has."""

LIKELY = 2.0
"""Log odds from which a place looks passed twice."""


@inner
def box_of_walks(walk: Any, here: Any) -> Any:
    """Return the lowest and the highest x and y of walks, shape (2, 2)."""
    box = np.array([[1e9, 1e9], [-1e9, -1e9]])
    for s in walk:
        for c in range(2):
            box[0, c] = min(box[0, c], here[s, c])
            box[1, c] = max(box[1, c], here[s, c])
    return box


@njit(cache=True)
def shape_of_walks(walk: Any, starts: Any, here: Any, samples: int) -> Any:
    """Return (strokes, lengths): walks at equal arc lengths, laid into a box of size 1, and their shares of length."""
    box = box_of_walks(walk, here)
    return shape_in_boxes(walk, starts, here, samples, np.zeros(len(here), np.bool_), np.stack((box, box)))


@njit(cache=True)
def shape_in_boxes(walk: Any, starts: Any, here: Any, samples: int, aside: Any, boxes: Any) -> Any:
    """Return (strokes, lengths) as `shape_of_walks` does, marks apart.

    boxes (2, 2, 2): the letter's box, which is brought to size 1, and the marks', which is put in its middle in the
    same scale; aside (places of `here`,): what belongs to the marks.
    """
    n = len(starts) - 1
    out = np.zeros((n, samples, 2))
    lengths = np.zeros(n)
    low, high = boxes[0, 0], boxes[0, 1]
    # boxes are stretched to a square, but not those of a stem or a dash
    longest = max(high[0] - low[0], high[1] - low[1], 1e-9)
    for i in range(n):
        a, b = starts[i], starts[i + 1]
        total = 0.0
        for k in range(a + 1, b):
            total += np.hypot(here[walk[k], 0] - here[walk[k - 1], 0], here[walk[k], 1] - here[walk[k - 1], 1])
        lengths[i] = total
        k, done = a, 0.0
        for j in range(samples):
            want = total * j / (samples - 1)
            step = 0.0
            while k < b - 1:
                p, q = walk[k], walk[k + 1]
                step = np.hypot(here[q, 0] - here[p, 0], here[q, 1] - here[p, 1])
                if done + step >= want or k == b - 2:
                    break
                done += step
                k += 1
            u = min(max((want - done) / step, 0.0), 1.0) if step > 0 else 0.0
            e = walk[min(k + 1, b - 1)]
            of = 1 if aside[walk[k]] else 0
            for c in range(2):
                x = here[walk[k], c] + u * (here[e, c] - here[walk[k], c])
                x -= 0.5 * (boxes[of, 0, c] + boxes[of, 1, c])
                out[i, j, c] = x / max(high[c] - low[c], 0.3 * longest)
    whole = max(lengths.sum(), 1e-9)
    return out, lengths / whole


@inner
def how_far(strokes: Any, lengths: Any, form: Any, form_lengths: Any) -> Any:
    """Return mean distance of strokes from a form of as many strokes, worst stroke's, and that of ends."""
    n, m = strokes.shape[0], strokes.shape[1]
    mean, worst, ends, weights = 0.0, 0.0, 0.0, 0.0
    for i in range(n):
        d = 0.0
        for j in range(m):
            e = np.hypot(strokes[i, j, 0] - form[i, j, 0], strokes[i, j, 1] - form[i, j, 1])
            d += e
            if j == 0 or j == m - 1:
                ends += 0.5 * e / n
        w = 0.5 * (lengths[i] + form_lengths[i]) + 0.25 / n
        mean += w * d / m
        worst = max(worst, d / m)
        weights += w
    return mean / weights, worst, ends


@njit(cache=True)
def how_unlike(
    a: Any, a_lengths: Any, a_starts: Any, b: Any, b_lengths: Any, b_starts: Any, most: float
) -> Any:  # fmt: skip
    """Return the mean distance between the strokes of every shape of `a` and every one of `b`, at most `most`.

    a, b: strokes of all shapes, (strokes, samples, 2); lengths: shares of their shape's length; starts (shapes + 1,).
    Shapes of unlike numbers of strokes are `most` apart.
    """
    out = np.full((len(a_starts) - 1, len(b_starts) - 1), most)
    m = a.shape[1]
    for x in range(len(a_starts) - 1):
        n = a_starts[x + 1] - a_starts[x]
        for y in range(len(b_starts) - 1):
            if b_starts[y + 1] - b_starts[y] != n:
                continue
            unlike, weights = 0.0, 0.0
            for k in range(n):
                i, j = a_starts[x] + k, b_starts[y] + k
                d = 0.0
                for s in range(m):
                    d += math.sqrt((a[i, s, 0] - b[j, s, 0]) ** 2 + (a[i, s, 1] - b[j, s, 1]) ** 2)
                w = 0.5 * (a_lengths[i] + b_lengths[j]) + 0.25 / n
                unlike += w * d / m
                weights += w
            out[x, y] = min(unlike / weights, most)
    return out


@njit(cache=True)
def suits(
    pack: Any, here: Any, samples: int, aside: Any, boxes: Any,
    forms: Any, form_lengths: Any, form_at: Any, priors: Any,
) -> Any:  # fmt: skip
    """Return how well each of some readings suits the forms of a character, shape (readings, 6).

    Surprise at the shape, narrow and wide; what `how_far` tells of the form nearest to it; surprise at the number of
    strokes. pack: the readings (`skeleton.walk.packed`); aside, boxes: as for `shape_in_boxes`, where there is any mark
    apart; forms (strokes, samples, 2) and form_lengths (strokes,): of
    all forms, one after the other; form_at (forms + 1,): the first stroke of each; priors (forms,): shares of one.
    """
    every, starts, state_at, start_at = pack
    out = np.empty((len(state_at) - 1, 6))
    apart = aside.any()
    for r in range(len(out)):
        walk = every[state_at[r] : state_at[r + 1]]
        begin = starts[start_at[r] : start_at[r + 1]]
        if apart:
            strokes, lengths = shape_in_boxes(walk, begin, here, samples, aside, boxes)
        else:
            strokes, lengths = shape_of_walks(walk, begin, here, samples)
        likely, widely, usual = 0.0, 0.0, 0.0
        low, mean, worst, ends = 1e9, UNLIKE[0], UNLIKE[1], UNLIKE[2]
        for f in range(len(priors)):
            a, b = form_at[f], form_at[f + 1]
            if b - a != len(lengths):
                continue
            usual += priors[f]
            far = how_far(strokes, lengths, forms[a:b], form_lengths[a:b])
            likely += priors[f] * math.exp(-far[0] / SPREAD)
            widely += priors[f] * math.exp(-far[0] / WIDE)
            rank = far[0] - WIDE * math.log(priors[f])
            if rank < low:
                low = rank
                mean, worst, ends = far
        out[r, 0], out[r, 1] = -math.log(likely + UNKNOWN), -math.log(widely + UNKNOWN)
        out[r, 2], out[r, 3], out[r, 4] = min(mean, UNLIKE[0]), min(worst, UNLIKE[1]), min(ends, UNLIKE[2])
        out[r, 5] = -math.log(usual + OTHER_NUMBER)
    return out


@inner
def passes(g: Any, walks: Any, count: Any, gaps: Any, free: Any) -> Any:
    """Return what the ink says of walks.

    Evidence for and against every stretch passed twice, evidence against landings inside lines, length passed a third
    time, how much lower strokes begin than they end, how far the pen goes between strokes, and of the stretches passed
    twice, and of those that look so but are not: how many, and how surely each, summed.

    count, gaps (places,): how often the walks pass every place, and its size, px; free (states,): last before a tip.
    """
    walk, starts = walks
    here, first, doubled = g.here, g.first, g.doubled
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
            if inside and count[q] == 1 and doubled[q] > LIKELY:
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
    pen = g.pen
    return (
        pro / (2 * pen), contra / (2 * pen), landing, thrice / (2 * pen), rise, travel, runs, told, missed, missing
    )  # fmt: skip


@inner
def movement(g: Any, walks: Any, count: Any, gaps: Any, free: Any, start_cost: Any) -> Any:
    """Return what tells how the pen moves on walks.

    Turns, turns at tips, turns back in junctions, starts, length passed again, idle length, evidence against passing
    twice. count, gaps, free: as for `passes`; start_cost (states,): of landing there.
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
                turns += step_cost(g, s, t)
    for q in range(len(gaps)):
        if count[q] > 1:
            again += (count[q] - 1) * gaps[q]
            single -= gaps[q] * g.doubled[q]
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
def ends_told(g: Any, walks: Any) -> Any:
    """Return what the clues say against the places where walks begin, and against those where they end."""
    walk, starts = walks
    landed, lifted = 0.0, 0.0
    for i in range(len(starts) - 1):
        landed -= g.landed[walk[starts[i]]]
        lifted -= g.lifted[walk[starts[i + 1] - 1]]
    return landed, lifted


@njit(cache=True)
def told_of_walks(
    g: Any, pack: Any, gaps: Any, free: Any, start_cost: Any, widths: Any, variance: float, total: float, size: float
) -> Any:  # fmt: skip
    """Return what ink tells of each of some readings, shape (readings, 22): the columns of `skeleton.witness.TOLD`.

    One call for all: the arguments are many. pack: `skeleton.walk.packed`; total: length of all lines, px; size: of the
    character, px; the others as for `movement`, `passes` and `linked`.
    """
    every, starts, state_at, start_at = pack
    out = np.empty((len(state_at) - 1, 22))
    for r in range(len(out)):
        walks = every[state_at[r] : state_at[r + 1]], starts[start_at[r] : start_at[r + 1]]
        count = coverage(walks, len(gaps))
        turns, tips, back, begin, again, idle, single = movement(g, walks, count, gaps, free, start_cost)
        ink = passes(g, walks, count, gaps, free)
        row = out[r]
        row[0] = len(walks[1]) - 1
        row[1], row[2], row[3], row[4] = turns, tips, back, begin
        row[5], row[6], row[7] = again / total, idle / total, single / (2 * g.pen)
        row[8], row[9], row[10], row[11] = ink[0], ink[1], ink[2], ink[3]
        row[12], row[13] = ink[4] / size, ink[5] / size
        row[14], row[15], row[16], row[17] = ink[6], ink[7], ink[8], ink[9]
        row[18], row[19] = ends_told(g, walks)
        row[20], row[21] = linked(g, walks, count, widths, variance)
    return out
