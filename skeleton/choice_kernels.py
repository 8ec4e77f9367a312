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

LIKELY = 2.0
"""Log odds from which a place looks passed twice."""


@njit(cache=True)
def shape_of_walks(walk: Any, starts: Any, here: Any, samples: int) -> Any:
    """Return (strokes, lengths): walks at equal arc lengths, laid into a box of size 1, and their shares of length."""
    n = len(starts) - 1
    out = np.zeros((n, samples, 2))
    lengths = np.zeros(n)
    low = np.array([1e9, 1e9])
    high = np.array([-1e9, -1e9])
    for s in walk:
        for c in range(2):
            low[c] = min(low[c], here[s, c])
            high[c] = max(high[c], here[s, c])
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
            for c in range(2):
                x = here[walk[k], c] + u * (here[e, c] - here[walk[k], c])
                out[i, j, c] = (x - 0.5 * (low[c] + high[c])) / max(high[c] - low[c], 0.3 * longest)
    whole = max(lengths.sum(), 1e-9)
    return out, lengths / whole


@inner
def how_far(strokes: Any, lengths: Any, forms: Any, form_lengths: Any) -> Any:
    """Return (forms, 3): mean distance of strokes from forms of as many strokes, worst stroke's, and that of ends."""
    out = np.zeros((len(forms), 3))
    n, m = strokes.shape[0], strokes.shape[1]
    for f in range(len(forms)):
        weights = 0.0
        for i in range(n):
            d = 0.0
            for j in range(m):
                e = np.hypot(strokes[i, j, 0] - forms[f, i, j, 0], strokes[i, j, 1] - forms[f, i, j, 1])
                d += e
                if j == 0 or j == m - 1:
                    out[f, 2] += 0.5 * e / n
            w = 0.5 * (lengths[i] + form_lengths[f, i]) + 0.25 / n
            out[f, 0] += w * d / m
            out[f, 1] = max(out[f, 1], d / m)
            weights += w
        out[f, 0] /= weights
    return out


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
def suits(walk: Any, starts: Any, here: Any, samples: int, forms: Any, form_lengths: Any, priors: Any) -> Any:
    """Return how well walks suit forms of as many strokes, as five numbers; priors (forms,): how usual each is.

    Surprise at the shape, narrow and wide, then what `how_far` tells of the form nearest to it.
    """
    strokes, lengths = shape_of_walks(walk, starts, here, samples)
    far = how_far(strokes, lengths, forms, form_lengths)
    likely, widely = 0.0, 0.0
    low, near = 1e9, 0
    for f in range(len(forms)):
        likely += priors[f] * math.exp(-far[f, 0] / SPREAD)
        widely += priors[f] * math.exp(-far[f, 0] / WIDE)
        rank = far[f, 0] - WIDE * math.log(priors[f])
        if rank < low:
            low, near = rank, f
    mean, worst, ends = far[near, 0], far[near, 1], far[near, 2]
    return (
        -math.log(likely + UNKNOWN), -math.log(widely + UNKNOWN), min(mean, 0.3), min(worst, 0.5), min(ends, 0.5)
    )  # fmt: skip


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
def told_of_walks(g: Any, walks: Any, gaps: Any, free: Any, start_cost: Any, widths: Any, variance: float) -> Any:
    """Return what `movement`, `passes`, `ends_told` and `linked` tell of walks: one call, whose arguments are many."""
    count = coverage(walks, len(gaps))
    return (
        movement(g, walks, count, gaps, free, start_cost),
        passes(g, walks, count, gaps, free),
        ends_told(g, walks),
        linked(g, walks, count, widths, variance),
    )
