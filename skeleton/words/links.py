"""Letters whose forms part where the pen went on: ink between them that no letter passes is their join.

A form may end before the stroke that leads to the next letter, or begin after it. Where the ink between the end of one
and the beginning of the next is one line that nothing else passes, nobody lifted the pen there.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skeleton.states.state_graph import States, Walks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONGEST = 1.4
"""x-heights of a join at most."""

BARE = 0.55
"""Share of it that no letter passes, at least: letters of a printing hand touch, but leave nothing bare."""

LEAST = 0.12
"""x-heights of bare line from which it is a join, not the breadth of two lines that touch."""

RUNNING = 0.6
"""Share of a word's letters, of those that could be, that are joined so far from which the writer joins letters."""

JUMPED = 0.5
"""x-heights by which steps across junctions may be longer than the places that they lead to, all together."""

PASSED = 2.0
"""What a step over a place costs, against one over a bare place, where a letter passes it already."""


def linked(
    walks: Walks, letter: Ints, states: States, sizes: Floats, bare: NDArray[np.bool_], x_height: float
) -> tuple[Walks, Ints]:
    """Return strokes run together where the ink between neighbouring letters is their join.

    Parameters
    ----------
    letter
        Shape (steps,): which letter each step of the walks belongs to; a join belongs to the one that it leaves.
    sizes
        Shape (places,): length of line at each place, px.
    bare
        Shape (places,): whether no letter passes it.
    x_height
        px.
    """
    every, starts = walks
    bounds = list(zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True))
    parts = [(every[a:b], letter[a:b]) for a, b in bounds]
    parts = _run_together(parts, states, sizes, bare, x_height, BARE)
    pairs = int(letter.max(initial=0))
    joined = sum(int((np.diff(of) == 1).sum()) for _, of in parts)
    if pairs and joined >= RUNNING * pairs:
        # who joins letters goes back over a line as well
        parts = _run_together(parts, states, sizes, bare, x_height, 0.0)
    return (np.concatenate([s for s, _ in parts]), np.cumsum([0, *(len(s) for s, _ in parts)])), np.concatenate(
        [of for _, of in parts]
    )


def _run_together(
    parts: Sequence[tuple[NDArray[np.int32], Ints]],
    states: States,
    sizes: Floats,
    bare: NDArray[np.bool_],
    x_height: float,
    least: float,
) -> list[tuple[NDArray[np.int32], Ints]]:
    """Return strokes and their letters, those run together between which a share `least` of the way is bare."""
    out = list(parts[:1])
    for mine, of in parts[1:]:
        last, last_of = out[-1]
        way = None
        if of[0] == last_of[-1] + 1:
            way = _way_between(int(last[-1]), int(mine[0]), states, sizes, bare, x_height, least)
        if way is None:
            out.append((mine, of))
        else:
            owner = np.concatenate([last_of, np.full(len(way), last_of[-1]), of])
            out[-1] = np.concatenate([last, np.array(way, mine.dtype), mine]), owner
    return out


def _way_between(
    start: int, goal: int, states: States, sizes: Floats, bare: NDArray[np.bool_], x_height: float, least: float
) -> list[int] | None:
    """Return the states between two of the cheapest way (Dijkstra 1959), None where it is no join."""
    most = LONGEST * x_height
    if float(np.hypot(*(states.here[goal] - states.here[start]))) > most + JUMPED * x_height:
        return None
    best, came = {start: 0.0}, {start: start}
    queue = [(0.0, start)]
    done: set[int] = set()
    while queue:
        cost, s = heapq.heappop(queue)
        if s in done:
            continue
        done.add(s)
        if s == goal or cost > PASSED * most:
            break
        steps = slice(int(states.step_at[s]), int(states.step_at[s + 1]))
        to, long = states.step_to[steps].tolist(), states.step_len[steps].tolist()
        for t, length, turned in zip(to, long, states.step_cost[steps].tolist(), strict=True):
            c = cost + length * (1.0 if bare[t // 2] else PASSED) + 5.0 * turned
            if c < best.get(t, np.inf):
                best[t], came[t] = c, s
                heapq.heappush(queue, (c, t))
    if goal not in done or goal == start:
        return None
    way = []
    s = came[goal]
    while s != start:
        way.append(s)
        s = came[s]
    places = np.array(way, np.int64) // 2
    long, free = float(sizes[places].sum()), float(sizes[places][bare[places]].sum())
    if long > most or free < least * long or (least and free < LEAST * x_height):
        return None
    return way[::-1]
