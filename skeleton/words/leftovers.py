"""Ink that no letter passes, taken up by the strokes that meet it, as a pen that stays down would.

What the forms of a word leave bare is a chain of lines that begins and ends where strokes pass, or at a tip. The stroke
that can take it up with the least turning and the least line passed twice does so: it begins with it, ends with it,
goes round it, or goes into it and comes back. Where all of this is dearer than lifting the pen the chain stays bare.
The costs were set by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from skeleton.states.state_graph import States, Walks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SHORTEST = 0.25
"""x-heights of a chain from which it is taken up here."""

GOES_ON = 0.7
"""Cost of a step up to which a chain goes on."""

AGAIN = 0.6
"""Cost of an x-height of line passed once more."""

TURN = 1.5
"""Weight of the cost of a step."""

ALONE = 2.4
"""Cost of a chain as a stroke of its own."""


@dataclass(frozen=True, eq=False)
class _Stroke:
    """A stroke while chains are taken up: its states, and whose each step is."""

    walk: list[int]
    letter: list[int]

    @cached_property
    def passed_at(self) -> dict[int, list[int]]:
        """At which steps every state is passed."""
        out: dict[int, list[int]] = {}
        for t, s in enumerate(self.walk):
            out.setdefault(s, []).append(t)
        return out

    def passing(self, costs: dict[int, float]) -> list[tuple[int, float]]:
        """Return the steps, in order, that pass one of some states, each with that state's cost."""
        return sorted((t, c) for s, c in costs.items() for t in self.passed_at.get(s, ()))


@dataclass(frozen=True, eq=False)
class _Chain:
    """A chain of bare places, to be passed in one direction."""

    way: list[int]
    into: dict[int, float]
    """From which states single steps lead into it, and their costs."""

    out: dict[int, float]
    """To which states they lead out of it."""

    turn: float | None
    """Cost of turning back at its end; None where the pen can not."""

    home: dict[int, float]
    """To which states single steps lead out of it again where the pen turns back."""


def taken_up(
    walks: Walks, letter: Ints, states: States, sizes: Floats, off: NDArray[np.bool_], x_height: float
) -> tuple[Walks, Ints]:
    """Return strokes, and the letter of every step, that pass what they left bare where that is like a pen.

    Parameters
    ----------
    letter
        Shape (steps,): which letter each step of the walks belongs to.
    sizes
        Shape (places,): length of line at each place, px.
    off
        Shape (places,): what is no letter's ink.
    x_height
        px.
    """
    every, starts = walks
    strokes = [
        _Stroke(every[a:b].tolist(), letter[a:b].tolist())
        for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)
    ]
    bare = ~off
    bare[every // 2] = False
    lengths = sizes / x_height
    for chain in _chains(states, bare, sizes, SHORTEST * x_height):
        best: tuple[float, int, _Stroke] | None = None
        both = [_to_pass(way, states) for way in (chain, [s ^ 1 for s in reversed(chain)])]
        for i, stroke in enumerate(strokes):
            for way in both:
                offer = _with_chain(stroke, way, lengths)
                if offer is not None and (best is None or offer[0] < best[0]):
                    best = offer[0], i, offer[1]
        if best is not None and best[0] < ALONE:
            strokes[best[1]] = best[2]
    return (
        (np.concatenate([s.walk for s in strokes]).astype(np.int32), np.cumsum([0, *(len(s.walk) for s in strokes)])),
        np.concatenate([s.letter for s in strokes]).astype(np.int64),
    )


def _chains(states: States, bare: NDArray[np.bool_], sizes: Floats, least: float) -> list[list[int]]:
    """Return chains of bare places longer than `least` px, as states, the longest first."""
    free = bare.copy()
    out: list[tuple[float, list[int]]] = []
    for place in np.flatnonzero(bare).tolist():
        if not free[place]:
            continue
        chain = [2 * place]
        free[place] = False
        for _ in range(2):
            while (t := _next(states, chain[-1], free)) >= 0:
                chain.append(t)
                free[t // 2] = False
            chain = [s ^ 1 for s in reversed(chain)]
        long = float(sizes[np.array(chain) // 2].sum())
        if long >= least:
            out.append((long, chain))
    return [chain for _, chain in sorted(out, key=lambda c: -c[0])]


def _steps(states: States, s: int) -> dict[int, float]:
    """Return where single steps lead from a state, and their costs."""
    a, b = int(states.step_at[s]), int(states.step_at[s + 1])
    return dict(zip(states.step_to[a:b].tolist(), states.step_cost[a:b].tolist(), strict=True))


def _next(states: States, s: int, free: NDArray[np.bool_]) -> int:
    """Return the state to which a chain goes on over free places, -1 where it ends."""
    ways = [(c, t) for t, c in _steps(states, s).items() if t != s ^ 1 and free[t // 2] and c < GOES_ON]
    return min(ways)[1] if ways else -1


def _to_pass(way: list[int], states: States) -> _Chain:
    """Return a chain to be passed as it stands."""
    # what leads into the chain, mirrored: steps out of it the other way
    into = {t ^ 1: c for t, c in _steps(states, way[0] ^ 1).items()}
    out = _steps(states, way[-1])
    return _Chain(way, into, out, out.get(way[-1] ^ 1), _steps(states, way[0] ^ 1))


def _with_chain(stroke: _Stroke, chain: _Chain, sizes: Floats) -> tuple[float, _Stroke] | None:
    """Return the least cost at which a stroke passes a chain in its direction, and the stroke then; None if it can not.

    sizes: length of line at each place, x-heights.
    """
    walk, letter, way = stroke.walk, stroke.letter, chain.way
    best, cut = np.inf, (-1, -1)
    enters, leaves = stroke.passing(chain.into), stroke.passing(chain.out)
    if enters and enters[-1][0] == len(walk) - 1:
        best, cut = TURN * enters[-1][1], (len(walk) - 1, len(walk))
    if leaves and leaves[0][0] == 0 and TURN * leaves[0][1] < best:
        best, cut = TURN * leaves[0][1], (-1, 0)
    if enters and leaves:
        along = np.concatenate([[0.0], np.cumsum(sizes[np.array(walk) // 2])])
        for t, c in enters:
            for u, d in leaves:
                if u <= t + 1:
                    cost = TURN * (c + d) + AGAIN * float(along[t + 1] - along[u])
                    if cost < best:
                        best, cut = cost, (t, u)
    back = [s ^ 1 for s in reversed(way)]
    there_and_back = False
    if chain.turn is not None:
        for t, c in enters:
            if t + 1 < len(walk) and walk[t + 1] in chain.home:
                cost = TURN * (c + chain.turn + chain.home[walk[t + 1]])
                cost += AGAIN * float(sizes[np.array(way) // 2].sum())
                if cost < best:
                    best, cut, there_and_back = cost, (t, t + 1), True
    if not np.isfinite(best):
        return None
    t, u = cut
    added = [*way, *back] if there_and_back else way
    owner = letter[max(t, 0)]
    return best, _Stroke([*walk[: t + 1], *added, *walk[u:]], [*letter[: t + 1], *[owner] * len(added), *letter[u:]])
