"""Where the pen comes down after it was lifted: costs by bins along the line.

Compiled by numba on first use and kept on disk; imported only when a word is read.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Indices, Vector
from skeleton.geometry.jit import inner

NEVER = 1e18


@inner
def lowest_by_bin(cost: Vector, bins: Indices, shift: Indices, out: Vector, arg: Indices) -> None:
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
def gone_on(
    edge: Vector, edge_arg: Indices, skipped: Vector, overlap: float, reach: int, out: Vector, arg: Indices
) -> None:
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
def _jumped(edge: Vector, edge_arg: Indices, shift: int, reach: int, spread: float, out: Vector, arg: Indices) -> None:
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


@inner
def lifted(
    before: Vector,
    lifting: Vector,
    bin_of: Indices,
    gap: int,
    weights: Vector,
    bin_width: float,
    bins: int,
    jump: Vector,
    arg: Indices,
) -> None:
    """Set what it costs to begin a letter's next stroke in every bin, `gap` bins from where the last one ended."""
    states = len(before)
    after, shift = np.empty(states), np.zeros(states, np.int32)
    for s in range(states):
        after[s] = before[s] + lifting[s] if before[s] < NEVER else NEVER
    edge, edge_arg = np.empty(bins), np.empty(bins, np.int32)
    lowest_by_bin(after, bin_of, shift, edge, edge_arg)
    _jumped(edge, edge_arg, gap, int(weights[12]), weights[11] * bin_width * bin_width, jump, arg)
