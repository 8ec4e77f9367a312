"""Ink that a match left bare, taken up: strokes led on, led into short tips, or added.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.jit import compiled, inner
from skeleton.hypotheses.parallel_lines import detour_both_ways
from skeleton.states.paths import (
    along_piece,
    concatenated,
    coverage,
    joined,
    junction_between,
    lay,
    leads_to,
    parted,
    passed,
    reversed_path,
    step_cost,
)

CORNER = 0.3
"""Pen widths up to which a tip is the far side of a corner, and no hook."""

BESIDE = 6
"""States, half a pen width apart, from the end of a walk up to which a tip may be where that end was hooked."""


@compiled
def completed(g: Any, walks: Any, count: Any) -> Any:
    """Return a match's walks with all ink taken up, each (walks, strokes added, tips that became hooks).

    The far side of a corner is no choice; longer tips are a hook of a stroke or a stroke of their own. count: how often
    the walks pass every place; it is brought up to date.
    """
    out = [(walks, 0, 0)][:0]
    for way in detour_both_ways(g, _extend(g, walks, count), count):
        walks, _ = _splice(g, way, 1.2 * g.pen)
        whole, added = _take_up(g, walks)
        out.append((whole, added, 0))
        if added:
            walks, hooks = _splice(g, walks, 4.0 * g.pen)
            if hooks:
                whole, added = _take_up(g, walks)
                out.append((whole, added, hooks))
    return out


@inner
def _extend(g: Any, walks: Any, count: Any) -> Any:
    """Return walks led on at both ends over ink that nobody has passed; `count` is brought up to date."""
    out = []
    longest = len(g.piece)
    for walk in parted(walks):
        way = walk
        for _ in range(2):  # the beginning, then the end
            room = np.empty(len(way) + longest, np.int32)
            n = len(way)
            lay(reversed_path(way), room, 0)
            while True:
                last = room[n - 1]
                nxt = -1
                for j in range(g.step_at[last], g.step_at[last + 1]):
                    v = g.step_to[j]
                    if v != last ^ 1 and g.step_cost[j] < 0.25 and count[v // 2] == 0:
                        nxt = v
                        break
                if nxt < 0:
                    break
                room[n] = nxt
                count[nxt // 2] += 1
                n += 1
            way = room[:n]
        # a ring ends where it began
        if len(way) > 4 and leads_to(g, way[-1], way[0]):
            way = concatenated(way, way[:1])
        out.append(way)
    return joined(out)


@inner
def _stretch(g: Any, a: int, b: int) -> Any:
    """Return the states along the places a to b (both included), written as most would write them."""
    way = along_piece(a, b)
    dx, dy = g.here[2 * b, 0] - g.here[2 * a, 0], g.here[2 * b, 1] - g.here[2 * a, 1]
    return reversed_path(way) if dy + 0.5 * dx < 0 else way


@inner
def _take_up(g: Any, walks: Any) -> Any:
    """Return walks with strokes added for ink that none of them passes, and how many were added."""
    count = coverage(walks, len(g.doubled))
    out = parted(walks)
    for p in range(len(g.first) - 1):
        a, b = int(g.first[p]), int(g.first[p + 1])
        k = a
        while k < b:
            if count[k] != 0:
                k += 1
                continue
            j = k
            while j + 1 < b and count[j + 1] == 0:
                j += 1
            size = (j - k + 1) * g.spacing[p]
            alone = g.junction_of[p, 0] == -1 and g.junction_of[p, 1] == -1
            if size > 0.9 * g.pen or (k == a and j == b - 1 and alone):
                out.append(_stretch(g, int(k), int(j)))
            k = j + 1
    return joined(out), len(out) - len(walks[1]) + 1


@inner
def _nearest_passing(g: Any, walks: Any, inward: Any, outward: Any, junction: int) -> Any:
    """Return (walk, step) that passes a junction and is led into a tip at the least cost, or (-1, -1).

    Step -1 is the beginning of a walk in the junction, its number of states less one its end there.
    """
    low, at, when = 1e9, -1, -1
    for i in range(len(walks)):
        w = walks[i]
        for t in range(-1, len(w)):
            before = w[t] if t >= 0 else w[0] ^ 1
            after = w[t + 1] if t < len(w) - 1 else outward[0]
            if junction_between(g, before, after) != junction:
                continue
            c = step_cost(g, before, outward[0]) if t >= 0 else 0.0
            c += step_cost(g, inward[-1], after) if t < len(w) - 1 else 0.0
            c += -1.0 if min(t + 1, len(w) - 1 - t) < BESIDE else 0.0
            if c < low:
                low, at, when = c, i, t
    return at, when


@inner
def _led_in(g: Any, w: Any, t: int, inward: Any, outward: Any) -> Any:
    """Return a walk led into a tip at its step `t`: in and out, or with the tip as its own beginning or end."""
    if t < 0:
        return concatenated(inward, w)
    if t == len(w) - 1:
        return concatenated(w, outward)
    reach = 0 if len(inward) * g.spacing[g.piece[inward[0]]] < CORNER * g.pen else BESIDE
    straight = step_cost(g, w[t], w[t + 1])
    hook_in = step_cost(g, inward[-1], w[t + 1]) >= straight
    hook_out = step_cost(g, w[t], outward[0]) >= straight
    head, tail = t + 1, len(w) - 1 - t
    early = head <= min(reach, tail)
    into = (early and not hook_in) or (tail <= reach and head > tail and not hook_out)
    if not into and early:
        return concatenated(concatenated(inward, reversed_path(w[: t + 1])), w)
    if not into and tail <= reach:
        return concatenated(concatenated(w, reversed_path(w[t + 1 :])), outward)
    return concatenated(concatenated(w[: t + 1], outward), concatenated(inward, w[t + 1 :]))


@inner
def _splice(g: Any, walks: Any, shorter_than: float) -> Any:
    """Return walks led into short tips that none of them passes, and how many tips that were.

    A tip beside a walk's own end is where the pen landed or lifted with a hook: the walk begins there, goes to its old
    end and back. Any other is gone into and come back from.
    """
    out = parted(walks)
    count = coverage(walks, len(g.doubled))
    spliced = 0
    for p in range(g.lines):
        a, b = int(g.first[p]), int(g.first[p + 1])
        ja, jb = g.junction_of[p, 0], g.junction_of[p, 1]
        if (ja < 0) == (jb < 0) or (b - a - 1) * g.spacing[p] > shorter_than or passed(count, a, b):
            continue
        inward = along_piece(a, b - 1)
        if ja >= 0:
            inward = reversed_path(inward)
        outward = reversed_path(inward)
        i, t = _nearest_passing(g, out, inward, outward, max(ja, jb))
        if i < 0:
            continue
        out[i] = _led_in(g, out[i], t, inward, outward)
        for q in range(a, b):
            count[q] += 1
        spliced += 1
    return joined(out), spliced
