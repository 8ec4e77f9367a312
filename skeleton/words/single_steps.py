"""Every single step between the rows of a way: the moves of `letter_viterbi` are up to several steps long.

Compiled by numba on first use and kept on disk; imported only when a word is read.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.array_types import FlatPaths, IndexTable, Indices, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.words.pen_jumps import NEVER


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
