"""Ink that a match left bare, taken up: strokes led on, led into short tips, or added.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Indices, Path
from skeleton.geometry.jit import compiled, inner
from skeleton.hypotheses.parallel_lines import detour_both_ways
from skeleton.states.paths import (
    PathContext,
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

CORNER_TIP_PEN_WIDTHS = 0.3
"""Pen widths up to which a tip is the far side of a corner, and no hook."""

HOOK_REACH_STATES = 6
"""States, half a pen width apart, from the end of a walk up to which a tip may be where that end was hooked."""


@compiled
def completed(context: PathContext, walks: FlatPaths, count: Indices) -> list[tuple[FlatPaths, int, int]]:
    """Return a match's walks with all ink taken up, each (walks, strokes added, tips that became hooks).

    The far side of a corner is no choice; longer tips are a hook of a stroke or a stroke of their own. count: how often
    the walks pass every place; it is brought up to date.
    """
    out = [(walks, 0, 0)][:0]
    for way in detour_both_ways(context, _extend(context, walks, count), count):
        walks, _ = _splice(context, way, 1.2 * context.pen)
        whole, added = _take_up(context, walks)
        out.append((whole, added, 0))
        if added:
            walks, hooks = _splice(context, walks, 4.0 * context.pen)
            if hooks:
                whole, added = _take_up(context, walks)
                out.append((whole, added, hooks))
    return out


@inner
def _extend(context: PathContext, walks: FlatPaths, count: Indices) -> FlatPaths:
    """Return walks led on at both ends over ink that nobody has passed; `count` is brought up to date."""
    out = []
    longest = len(context.piece)
    for walk in parted(walks):
        way = walk
        for _ in range(2):  # the beginning, then the end
            room = np.empty(len(way) + longest, np.int32)
            n = len(way)
            lay(reversed_path(way), room, 0)
            while True:
                last = room[n - 1]
                nxt = -1
                for j in range(context.step_at[last], context.step_at[last + 1]):
                    v = context.step_to[j]
                    if v != last ^ 1 and context.step_cost[j] < 0.25 and count[v // 2] == 0:
                        nxt = v
                        break
                if nxt < 0:
                    break
                room[n] = nxt
                count[nxt // 2] += 1
                n += 1
            way = room[:n]
        # a ring ends where it began
        if len(way) > 4 and leads_to(context, way[-1], way[0]):
            way = concatenated(way, way[:1])
        out.append(way)
    return joined(out)


@inner
def _stretch(context: PathContext, a: int, b: int) -> Path:
    """Return the states along the places a to b (both included), written as most would write them."""
    way = along_piece(a, b)
    dx, dy = context.here[2 * b, 0] - context.here[2 * a, 0], context.here[2 * b, 1] - context.here[2 * a, 1]
    return reversed_path(way) if dy + 0.5 * dx < 0 else way


@inner
def _take_up(context: PathContext, walks: FlatPaths) -> tuple[FlatPaths, int]:
    """Return walks with strokes added for ink that none of them passes, and how many were added."""
    count = coverage(walks, len(context.doubled))
    out = parted(walks)
    for p in range(len(context.first) - 1):
        a, b = int(context.first[p]), int(context.first[p + 1])
        k = a
        while k < b:
            if count[k] != 0:
                k += 1
                continue
            j = k
            while j + 1 < b and count[j + 1] == 0:
                j += 1
            size = (j - k + 1) * context.spacing[p]
            alone = context.junction_of[p, 0] == -1 and context.junction_of[p, 1] == -1
            if size > 0.9 * context.pen or (k == a and j == b - 1 and alone):
                out.append(_stretch(context, int(k), int(j)))
            k = j + 1
    return joined(out), len(out) - len(walks[1]) + 1


@inner
def _nearest_passing(
    context: PathContext, walks: list[Path], inward: Path, outward: Path, junction: int
) -> tuple[int, int]:
    """Return (walk, step) that passes a junction and is led into a tip at the least cost, or (-1, -1).

    Step -1 is the beginning of a walk in the junction, its number of states less one its end there.
    """
    low, at, when = 1e9, -1, -1
    for i in range(len(walks)):
        w = walks[i]
        for t in range(-1, len(w)):
            before = w[t] if t >= 0 else w[0] ^ 1
            after = w[t + 1] if t < len(w) - 1 else outward[0]
            if junction_between(context, before, after) != junction:
                continue
            c = step_cost(context, before, outward[0]) if t >= 0 else 0.0
            c += step_cost(context, inward[-1], after) if t < len(w) - 1 else 0.0
            c += -1.0 if min(t + 1, len(w) - 1 - t) < HOOK_REACH_STATES else 0.0
            if c < low:
                low, at, when = c, i, t
    return at, when


@inner
def _extended_into_tip(context: PathContext, w: Path, t: int, inward: Path, outward: Path) -> Path:
    """Return a walk led into a tip at its step `t`: in and out, or with the tip as its own beginning or end."""
    if t < 0:
        return concatenated(inward, w)
    if t == len(w) - 1:
        return concatenated(w, outward)
    reach = (
        0
        if len(inward) * context.spacing[context.piece[inward[0]]] < CORNER_TIP_PEN_WIDTHS * context.pen
        else HOOK_REACH_STATES
    )
    straight = step_cost(context, w[t], w[t + 1])
    hook_in = step_cost(context, inward[-1], w[t + 1]) >= straight
    hook_out = step_cost(context, w[t], outward[0]) >= straight
    head, tail = t + 1, len(w) - 1 - t
    early = head <= min(reach, tail)
    into = (early and not hook_in) or (tail <= reach and head > tail and not hook_out)
    if not into and early:
        return concatenated(concatenated(inward, reversed_path(w[: t + 1])), w)
    if not into and tail <= reach:
        return concatenated(concatenated(w, reversed_path(w[t + 1 :])), outward)
    return concatenated(concatenated(w[: t + 1], outward), concatenated(inward, w[t + 1 :]))


@inner
def _splice(context: PathContext, walks: FlatPaths, shorter_than: float) -> tuple[FlatPaths, int]:
    """Return walks led into short tips that none of them passes, and how many tips that were.

    A tip beside a walk's own end is where the pen landed or lifted with a hook: the walk begins there, goes to its old
    end and back. Any other is gone into and come back from.
    """
    out = parted(walks)
    count = coverage(walks, len(context.doubled))
    spliced = 0
    for p in range(context.lines):
        a, b = int(context.first[p]), int(context.first[p + 1])
        ja, jb = context.junction_of[p, 0], context.junction_of[p, 1]
        if (ja < 0) == (jb < 0) or (b - a - 1) * context.spacing[p] > shorter_than or passed(count, a, b):
            continue
        inward = along_piece(a, b - 1)
        if ja >= 0:
            inward = reversed_path(inward)
        outward = reversed_path(inward)
        i, t = _nearest_passing(context, out, inward, outward, max(ja, jb))
        if i < 0:
            continue
        out[i] = _extended_into_tip(context, out[i], t, inward, outward)
        for q in range(a, b):
            count[q] += 1
        spliced += 1
    return joined(out), spliced
