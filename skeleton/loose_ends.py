"""Ink that a match left bare, taken up: strokes led on, led into short tips, or added."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skeleton.network import Network
from skeleton.walk import States, coverage


def extend(states: States, walk: list[int], count: NDArray[np.int64]) -> list[int]:
    """Return the walk led on at both ends over ink that nobody has passed; `count` is brought up to date."""
    out = walk
    for _ in range(2):  # the end, then the beginning
        out = [s ^ 1 for s in reversed(out)]
        last = out[-1]
        while True:
            nxt = [
                int(v)
                for v, c in zip(
                    states.step_to[states.step_at[last] : states.step_at[last + 1]],
                    states.step_cost[states.step_at[last] : states.step_at[last + 1]],
                    strict=True,
                )
                if v != last ^ 1 and c < 0.25 and count[v // 2] == 0
            ]
            if not nxt:
                break
            last = nxt[0]
            out.append(last)
            count[last // 2] += 1
    # a ring ends where it began
    if len(out) > 4 and out[0] in states.step_to[states.step_at[out[-1]] : states.step_at[out[-1] + 1]]:
        out.append(out[0])
    return out


def take_up(net: Network, states: States, walks: list[list[int]]) -> tuple[list[list[int]], int]:
    """Return the walks with strokes added for ink that none of them passes, and how many were added."""
    count = coverage(states, walks)
    added = 0
    for p in range(len(net.pieces)):
        a, b = int(states.first[p]), int(states.first[p + 1])
        bare = count[a:b] == 0
        if not bare.any():
            continue
        k = 0
        while k < b - a:
            if not bare[k]:
                k += 1
                continue
            j = k
            while j + 1 < b - a and bare[j + 1]:
                j += 1
            size = (j - k + 1) * states.spacing[p]
            if size > 0.9 * net.pen_px or (k == 0 and j == b - a - 1 and net.junction_of[p] == (-1, -1)):
                stretch = list(range(2 * (a + k), 2 * (a + j) + 1, 2))
                d = states.here[stretch[-1]] - states.here[stretch[0]]
                if d[1] + 0.5 * d[0] < 0:
                    stretch = [s ^ 1 for s in reversed(stretch)]
                walks = [*walks, stretch]
                added += 1
            k = j + 1
    return walks, added


def splice(net: Network, states: States, walks: list[list[int]], *, shorter_than: float) -> tuple[list[list[int]], int]:
    """Return the walks led into short tips that none of them passes, and how many tips that were.

    A tip beside a walk's own end is where the pen landed or lifted with a hook: the walk begins there, goes to its old
    end and back. Any other is gone into and come back from.
    """
    walks = [list(w) for w in walks]
    count = coverage(states, walks)
    spliced = 0
    for p in range(len(net.pieces) - net.dots):
        a, b = int(states.first[p]), int(states.first[p + 1])
        ja, jb = net.junction_of[p]
        if (ja < 0) == (jb < 0) or count[a:b].any():
            continue
        size = (b - a - 1) * states.spacing[p]
        if size > shorter_than:
            continue
        junction = max(ja, jb)
        inward = list(range(2 * a, 2 * b, 2)) if ja < 0 else list(range(2 * b - 1, 2 * a, -2))
        outward = [s ^ 1 for s in reversed(inward)]
        best: tuple[float, int, int] | None = None
        for i, w in enumerate(walks):
            for t in range(len(w) - 1):
                if not _passes(net, states, w[t], w[t + 1], junction):
                    continue
                c = _step_cost(states, w[t], outward[0]) + _step_cost(states, inward[-1], w[t + 1])
                ends = min(t + 1, len(w) - 1 - t)
                near = ends * 0.5 * net.pen_px < 3.0 * net.pen_px
                c += -1.0 if near else 0.0
                if best is None or c < best[0]:
                    best = (c, i, t)
        if best is None:
            continue
        _, i, t = best
        w = walks[i]
        reach = 3.0 * net.pen_px / (0.5 * net.pen_px)
        hook_in = _step_cost(states, inward[-1], w[t + 1]) >= _step_cost(states, w[t], w[t + 1])
        hook_out = _step_cost(states, w[t], outward[0]) >= _step_cost(states, w[t], w[t + 1])
        head, tail = t + 1, len(w) - 1 - t
        if (head <= min(reach, tail) and not hook_in) or (tail <= reach and head > tail and not hook_out):
            walks[i] = w[: t + 1] + outward + inward + w[t + 1 :]
        elif head <= min(reach, tail):
            walks[i] = inward + [s ^ 1 for s in reversed(w[: t + 1])] + w
        elif tail <= reach:
            walks[i] = w + [s ^ 1 for s in reversed(w[t + 1 :])] + outward
        else:
            walks[i] = w[: t + 1] + outward + inward + w[t + 1 :]
        count[a:b] += 1
        spliced += 1
    return walks, spliced


def _passes(net: Network, states: States, s: int, t: int, junction: int) -> bool:
    """Tell whether the step from `s` to `t` goes through `junction`."""
    p = int(states.piece[s])
    if abs(s - t) == 2 and states.piece[t] == p:
        return False
    k = s // 2 - int(states.first[p])
    n = int(states.first[p + 1] - states.first[p])
    return (k == 0 and net.junction_of[p][0] == junction and s & 1 == 1) or (
        k == n - 1 and net.junction_of[p][1] == junction and s & 1 == 0
    )


def _step_cost(states: States, s: int, t: int) -> float:
    row = slice(int(states.step_at[s]), int(states.step_at[s + 1]))
    return float(states.step_cost[row][states.step_to[row] == t].min(initial=2.0))
