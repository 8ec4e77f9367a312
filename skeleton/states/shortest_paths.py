"""Walks from state to state: all short ones, and the shortest between two states.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Indices, Path, Vector
from skeleton.geometry.jit import compiled, inner


@compiled
def moves_within(
    step_to: Indices, step_len: Vector, step_cost: Vector, step_at: Indices, reach: float
) -> tuple[Indices, Indices, Vector, Vector]:
    """Return (at, to, length, cost): every walk of at most `reach` from every state, cheapest first found.

    The steps are in compressed rows: those of state s are `step_at[s]:step_at[s + 1]`. Dijkstra on length plus cost.
    """
    n = len(step_at) - 1
    at = np.zeros(n + 1, np.int64)
    cap = 24 * n + 64
    to = np.zeros(cap, np.int32)
    length = np.zeros(cap, np.float32)
    cost = np.zeros(cap, np.float32)
    total = 0
    best = np.full(n, 1e9)
    frontier = np.zeros(256, np.int32)
    f_len = np.zeros(256)
    f_cost = np.zeros(256)
    done = np.zeros(256, np.bool_)
    for s in range(n):
        size = 1
        frontier[0], f_len[0], f_cost[0], done[0] = s, 0.0, 0.0, False
        best[s] = 0.0
        while True:
            pick = -1
            low = 1e9
            for i in range(size):
                if not done[i] and f_len[i] + f_cost[i] < low:
                    low = f_len[i] + f_cost[i]
                    pick = i
            if pick < 0:
                break
            done[pick] = True
            u = frontier[pick]
            if f_len[pick] + f_cost[pick] > best[u] + 1e-9:
                continue
            if total < cap:
                to[total], length[total], cost[total] = u, f_len[pick], f_cost[pick]
                total += 1
            for j in range(step_at[u], step_at[u + 1]):
                v = step_to[j]
                ln = f_len[pick] + step_len[j]
                if ln > reach:
                    continue
                c = f_cost[pick] + step_cost[j]
                if ln + c < best[v] - 1e-9 and size < 256:
                    best[v] = ln + c
                    frontier[size], f_len[size], f_cost[size], done[size] = v, ln, c, False
                    size += 1
        for i in range(size):
            best[frontier[i]] = 1e9
        at[s + 1] = total
    return at, to[:total], length[:total], cost[:total]


@inner
def shortest_walk(
    step_to: Indices, step_len: Vector, step_cost: Vector, step_at: Indices, a: int, b: int, reach: float
) -> Path:
    """Return the states from a to b (both included) of the cheapest walk, empty if there is none within reach."""
    n = len(step_at) - 1
    best = np.full(n, 1e9)
    size_of = np.full(n, 1e9)
    prev = np.full(n, -1, np.int32)
    done = np.zeros(n, np.bool_)
    best[a] = 0.0
    size_of[a] = 0.0
    while True:
        u = -1
        low = 1e8
        for i in range(n):
            if not done[i] and best[i] < low:
                low = best[i]
                u = i
        if u < 0:
            return np.zeros(0, np.int32)
        if u == b:
            break
        done[u] = True
        for j in range(step_at[u], step_at[u + 1]):
            v = step_to[j]
            ln = size_of[u] + step_len[j]
            c = low + step_len[j] + step_cost[j]
            if ln <= reach and c < best[v]:
                best[v] = c
                size_of[v] = ln
                prev[v] = u
    k = 1
    v = b
    while v != a:
        v = prev[v]
        k += 1
    out = np.zeros(k, np.int32)
    v = b
    for i in range(k - 1, -1, -1):
        out[i] = v
        v = prev[v]
    return out


@inner
def fill_walk(
    walk: Path, breaks: Indices, piece: Indices, step_to: Indices, step_len: Vector, step_cost: Vector, step_at: Indices
) -> tuple[Path, Indices]:
    """Return (states, starts): the walk with every single step in between, and where its strokes begin."""
    n = len(walk)
    cap = 64 + 8 * len(piece)
    out = np.zeros(cap, np.int32)
    starts = np.zeros(n + 1, np.int64)
    k, strokes = 0, 0
    for i in range(n):
        b = walk[i]
        if breaks[i] == 1:
            starts[strokes] = k
            strokes += 1
            out[k] = b
            k += 1
            continue
        a = out[k - 1]
        if a == b:
            continue
        if k + len(piece) + 8 > cap:
            break
        same = piece[a] == piece[b] and (a ^ b) & 1 == 0
        if same and ((a & 1 == 0 and b > a) or (a & 1 == 1 and b < a)):
            step = 2 if a & 1 == 0 else -2
            s = a
            while s != b:
                s += step
                out[k] = s
                k += 1
            continue
        way = shortest_walk(step_to, step_len, step_cost, step_at, a, b, 1e6)
        for j in range(1, len(way)):
            out[k] = way[j]
            k += 1
    starts[strokes] = k
    return out[:k], starts[: strokes + 1]
