"""What a walk goes over, as the compiled loops take it: a network and its states in one flat argument.

`walks` are always end to end, as a pair: the states of all, and where each starts, with the end of the last.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from skeleton.geometry.array_types import FlatPaths, IndexTable, Indices, Line, Path, Vector
from skeleton.geometry.jit import compiled, inner


class PathContext(NamedTuple):
    """The arrays of `skeleton.states.state_graph.States`, and of the network what walks ask for."""

    here: Line
    """Shape (states, 2), px: place of every state."""

    heading: Line
    """Shape (states, 2), unit vectors."""

    piece: Indices
    """Shape (states,), int32: the piece that it lies on."""

    first: Indices
    """Shape (pieces + 1,), int32: the first *place* of every piece, with the end of the last."""

    spacing: Vector
    """Shape (pieces,), px: distance between the places of a piece."""

    doubled: Vector
    """Shape (places,): log odds of a double pass, above those of any place."""

    landed: Vector
    """Shape (states,): log odds that the pen landed there in that heading."""

    lifted: Vector
    """Shape (states,): log odds that it lifted there."""

    twice: Vector
    """Shape (places,): log odds of a double pass."""

    step_to: Indices
    """Shape (steps,), int32: where single steps lead, in rows by the state that they start from."""

    step_cost: Vector
    """Shape (steps,), float32."""

    step_at: Indices
    """Shape (states + 1,), int64: the first step of every state, with the end of the last."""

    junction_of: IndexTable
    """Shape (pieces, 2), int32: the junctions at the ends of every piece, -1 at a free tip."""

    lines: int
    """Pieces that are not dots; dots come after them."""

    pen: float


@compiled("int32[::1](int32[::1])")
def reversed_path(walk: Path) -> Path:
    """Return a walk gone the other way."""
    n = len(walk)
    out = np.empty(n, np.int32)
    for k in range(n):
        out[k] = walk[n - 1 - k] ^ 1
    return out


@compiled("int32[::1](int64, int64)")
def along_piece(a: int, b: int) -> Path:
    """Return the states along a piece from place a to place b, both included."""
    out = np.empty(b - a + 1, np.int32)
    for q in range(a, b + 1):
        out[q - a] = 2 * q
    return out


@compiled("void(int32[::1], int32[::1], int64)")
def lay(states: Path, out: Path, at: int) -> None:
    """Lay states into `out` from `at` on: a slice takes seconds to compile."""
    for k in range(len(states)):
        out[at + k] = states[k]


@inner
def joined(parts: list[Path]) -> FlatPaths:
    """Return a list of walks end to end."""
    starts = np.zeros(len(parts) + 1, np.int64)
    for i in range(len(parts)):
        starts[i + 1] = starts[i] + len(parts[i])
    out = np.empty(starts[-1], np.int32)
    for i in range(len(parts)):
        lay(parts[i], out, starts[i])
    return out, starts


@inner
def parted(walks: FlatPaths) -> list[Path]:
    """Return a list of walks that stand end to end."""
    walk, starts = walks
    return [walk[starts[i] : starts[i + 1]] for i in range(len(starts) - 1)]


@compiled("int32[::1](int32[::1], int32[::1])")
def concatenated(head: Path, tail: Path) -> Path:
    """Return two stretches of states as one walk."""
    out = np.empty(len(head) + len(tail), np.int32)
    lay(head, out, 0)
    lay(tail, out, len(head))
    return out


@compiled
def coverage(walks: FlatPaths, places: int) -> Indices:
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
def passed(count: Indices, a: int, b: int) -> bool:
    """Tell whether any of the places from a to b (not included) is passed; count: `coverage` of walks."""
    most = 0
    for q in range(a, b):
        most = max(most, count[q])
    return most > 0


@inner
def junction_between(context: PathContext, s: int, t: int) -> int:
    """Return the junction that a step goes through, or -1."""
    p = context.piece[s]
    if context.piece[t] == p and abs(s - t) == 2:
        return -1
    q = s // 2
    if s & 1 == 0 and q == context.first[p + 1] - 1:
        return int(context.junction_of[p, 1])
    if s & 1 == 1 and q == context.first[p]:
        return int(context.junction_of[p, 0])
    return -1


@inner
def step_cost(context: PathContext, s: int, t: int) -> float:
    """Return the cost of the cheapest single step from `s` to `t`, 2 if there is none."""
    low = 2.0
    for j in range(context.step_at[s], context.step_at[s + 1]):
        if context.step_to[j] == t:
            low = min(low, float(context.step_cost[j]))
    return low


@inner
def leads_to(context: PathContext, s: int, t: int) -> bool:
    """Tell whether a single step leads from `s` to `t`."""
    found = False
    for j in range(context.step_at[s], context.step_at[s + 1]):
        found = found or context.step_to[j] == t
    return found


@inner
def ring_of(context: PathContext, walk: Path, least: int) -> Path:
    """Return a walk of at least so many states that leads back to its begin, its begin once; empty if it does not."""
    if len(walk) < least or not (walk[0] == walk[-1] or leads_to(context, walk[-1], walk[0])):
        return walk[:0]
    return walk[:-1] if walk[-1] == walk[0] else walk


@inner
def rotated_ring(ring: Path, k: int) -> Path:
    """Return a ring begun at its k-th state."""
    return concatenated(ring[k:], ring[:k])


@inner
def can_concatenate(context: PathContext, a: Path, b: Path) -> bool:
    """Tell whether a walk may go on as another."""
    return a[-1] // 2 == b[0] // 2 or leads_to(context, a[-1], b[0])


@inner
def extended(a: Path, b: Path) -> Path:
    """Return two walks whose ends meet as one."""
    return concatenated(a, b[1:] if a[-1] == b[0] else b)


@inner
def cosine(context: PathContext, s: int, t: int) -> float:
    """Return the cosine of the angle between the headings of two states."""
    return float(context.heading[s, 0] * context.heading[t, 0] + context.heading[s, 1] * context.heading[t, 1])
