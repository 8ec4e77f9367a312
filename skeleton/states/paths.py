"""What a walk goes over, as the compiled loops take it: a network and its states in one flat argument.

`walks` are always end to end, as a pair: the states of all, and where each starts, with the end of the last.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from skeleton.geometry.jit import compiled, inner


class PathContext(NamedTuple):
    """The arrays of `skeleton.states.state_graph.States`, and of the network what walks ask for."""

    here: Any
    heading: Any
    piece: Any
    first: Any
    spacing: Any
    doubled: Any
    landed: Any
    lifted: Any
    twice: Any
    step_to: Any
    step_cost: Any
    step_at: Any
    junction_of: Any
    """Shape (pieces, 2), int32: the junctions at the ends of every piece, -1 at a free tip."""

    lines: int
    """Pieces that are not dots; dots come after them."""

    pen: float


@compiled("int32[::1](int32[::1])")
def reversed_path(walk: Any) -> Any:
    """Return a walk gone the other way."""
    n = len(walk)
    out = np.empty(n, np.int32)
    for k in range(n):
        out[k] = walk[n - 1 - k] ^ 1
    return out


@compiled("int32[::1](int64, int64)")
def along_piece(a: int, b: int) -> Any:
    """Return the states along a piece from place a to place b, both included."""
    out = np.empty(b - a + 1, np.int32)
    for q in range(a, b + 1):
        out[q - a] = 2 * q
    return out


@compiled("void(int32[::1], int32[::1], int64)")
def lay(states: Any, out: Any, at: int) -> None:
    """Lay states into `out` from `at` on: a slice takes seconds to compile."""
    for k in range(len(states)):
        out[at + k] = states[k]


@inner
def joined(parts: Any) -> Any:
    """Return a list of walks end to end."""
    starts = np.zeros(len(parts) + 1, np.int64)
    for i in range(len(parts)):
        starts[i + 1] = starts[i] + len(parts[i])
    out = np.empty(starts[-1], np.int32)
    for i in range(len(parts)):
        lay(parts[i], out, starts[i])
    return out, starts


@inner
def parted(walks: Any) -> Any:
    """Return a list of walks that stand end to end."""
    walk, starts = walks
    return [walk[starts[i] : starts[i + 1]] for i in range(len(starts) - 1)]


@compiled("int32[::1](int32[::1], int32[::1])")
def concatenated(head: Any, tail: Any) -> Any:
    """Return two stretches of states as one walk."""
    out = np.empty(len(head) + len(tail), np.int32)
    lay(head, out, 0)
    lay(tail, out, len(head))
    return out


@compiled
def coverage(walks: Any, places: int) -> Any:
    """Return how often every place is passed, shape (places,)."""
    walk, starts = walks
    count = np.zeros(places, np.int64)
    for i in range(len(starts) - 1):
        last = -1
        for k in range(starts[i], starts[i + 1]):
            q = walk[k] // 2
            if q != last:
                count[q] += 1
            last = q
    return count


@inner
def passed(count: Any, a: int, b: int) -> bool:
    """Tell whether any of the places from a to b (not included) is passed; count: `coverage` of walks."""
    most = 0
    for q in range(a, b):
        most = max(most, count[q])
    return most > 0


@inner
def junction_between(g: Any, s: int, t: int) -> int:
    """Return the junction that a step goes through, or -1."""
    p = g.piece[s]
    if g.piece[t] == p and abs(s - t) == 2:
        return -1
    q = s // 2
    if s & 1 == 0 and q == g.first[p + 1] - 1:
        return int(g.junction_of[p, 1])
    if s & 1 == 1 and q == g.first[p]:
        return int(g.junction_of[p, 0])
    return -1


@inner
def step_cost(g: Any, s: int, t: int) -> float:
    """Return the cost of the cheapest single step from `s` to `t`, 2 if there is none."""
    low = 2.0
    for j in range(g.step_at[s], g.step_at[s + 1]):
        if g.step_to[j] == t:
            low = min(low, float(g.step_cost[j]))
    return low


@inner
def leads_to(g: Any, s: int, t: int) -> bool:
    """Tell whether a single step leads from `s` to `t`."""
    found = False
    for j in range(g.step_at[s], g.step_at[s + 1]):
        found = found or g.step_to[j] == t
    return found


@inner
def ring_of(g: Any, walk: Any, least: int) -> Any:
    """Return a walk of at least so many states that leads back to its begin, its begin once; empty if it does not."""
    if len(walk) < least or not (walk[0] == walk[-1] or leads_to(g, walk[-1], walk[0])):
        return walk[:0]
    return walk[:-1] if walk[-1] == walk[0] else walk


@inner
def rotated_ring(ring: Any, k: int) -> Any:
    """Return a ring begun at its k-th state."""
    return concatenated(ring[k:], ring[:k])


@inner
def can_concatenate(g: Any, a: Any, b: Any) -> bool:
    """Tell whether a walk may go on as another."""
    return a[-1] // 2 == b[0] // 2 or leads_to(g, a[-1], b[0])


@inner
def extended(a: Any, b: Any) -> Any:
    """Return two walks whose ends meet as one."""
    return concatenated(a, b[1:] if a[-1] == b[0] else b)


@inner
def cosine(g: Any, s: int, t: int) -> float:
    """Return the cosine of the angle between the headings of two states."""
    return float(g.heading[s, 0] * g.heading[t, 0] + g.heading[s, 1] * g.heading[t, 1])
