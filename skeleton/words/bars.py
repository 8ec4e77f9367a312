"""Bars of t and f: found before the letters, as no form has them and the pen was lifted for them.

A bar is a level, straight line from one free tip of the ink to another, across another line, or from a tip to a stem
that it only touches. The bounds were set by hand on 240 joined words of 20 training people of UNIPEN (see
`tests.bench.people`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States
from skeleton.words.frame import WordFrame
from skeleton.words.letter_forms import BARRED

Walk = NDArray[np.int32]

LEVEL, STRAIGHT = 0.4, 0.93
"""Most rise of a bar against its width, and least chord against its length."""

WIDTH = (0.3, 2.8)
"""x-heights from end to end."""

HIGH, AMONG, LOW = 0.9, 0.8, 0.5
"""x-heights above the baseline from which a line across another is a bar; where the pen went up at its end it may be
lower, less so across several. Lower ones join letters."""

TURN = 1.0
"""Cost of a step across a junction up to which the halves of a bar are one line; thinning bends them to the stem."""

MOST_CROSSED = 3
"""Junctions on the way from tip to tip."""

CROOKED = 50.0
"""Weight of what a bar is longer than its chord, as a share, against log odds that the pen went up at its end."""

STEM, STEM_TURN = 0.7, 0.5
"""Least rise of a pen on a stem, as a share of its way, and most cost of its step past a bar."""


def bars_of(net: Network, states: States, text: str, frame: WordFrame) -> tuple[Walk, ...]:
    """Return the bars of a word as walks of single steps, from left to right; no more than letters that have bars.

    Parameters
    ----------
    frame
        A first guess at where the writing stands.
    """
    wanted = sum(c in BARRED for c in text)
    tips = list(_from_tips(net, states)) if wanted else []
    inward = {int(walk[-1]) ^ 1: walk for walk in tips}
    found: list[tuple[bool, float, Walk]] = []
    for walk in tips:
        at_left = states.here[walk[0], 0] <= states.here[walk[-1], 0]
        alone = walk if at_left else walk[::-1] ^ 1
        up = _went_up(states, alone)
        if up > 0 and _touches_stem(states, walk, frame):
            found += [(True, cost - up, alone) for cost in _like_a_bar(alone, states, frame, LOW, hidden=net.pen_px)]
        for whole in _across(walk, inward, states, frame, MOST_CROSSED) if at_left else ():
            up = _went_up(states, whole)
            once = len(np.unique(states.piece[whole])) == 2
            if up > 0 or once:
                above = HIGH if up <= 0 else LOW if once else AMONG
                found += [(False, cost - up, whole) for cost in _like_a_bar(whole, states, frame, above)]
    out: list[Walk] = []
    for _, _, walk in sorted(found, key=lambda f: f[:2]):
        if len(out) < wanted and not any(np.isin(walk // 2, w // 2).any() for w in out):
            out.append(walk)
    return tuple(sorted(out, key=lambda walk: float(states.here[walk, 0].mean())))


def _from_tips(net: Network, states: States) -> Iterator[Walk]:
    """Yield the states of pieces with one free tip, from there to their junction."""
    for piece in range(len(net.pieces) - net.dots):
        free = [end for end, junction in enumerate(net.junction_of[piece]) if junction < 0]
        if len(free) == 1:
            along = np.arange(2 * states.first[piece], 2 * states.first[piece + 1], 2, dtype=np.int32)
            yield along if free[0] == 0 else along[::-1] + np.int32(1)


def _across(walk: Walk, inward: Mapping[int, Walk], states: States, frame: WordFrame, junctions: int) -> Iterator[Walk]:
    """Yield walks led on over level pieces to another tip; inward: walks from tips, by their last step's reverse."""
    for t, cost in _onward(states, int(walk[-1])):
        if cost > TURN or frame.direction(states.heading[[t]])[0, 0] < 0.5:
            continue
        if t in inward:
            yield np.concatenate([walk, inward[t][::-1] ^ 1])
        elif junctions > 1:
            piece = states.piece[t]
            last = 2 * int(states.first[piece + 1]) - 2 if t % 2 == 0 else 2 * int(states.first[piece]) + 1
            on = np.arange(t, last + (2 if t % 2 == 0 else -2), 2 if t % 2 == 0 else -2, dtype=np.int32)
            yield from _across(np.concatenate([walk, on]), inward, states, frame, junctions - 1)


def _like_a_bar(walk: Walk, states: States, frame: WordFrame, above: float, hidden: float = 0.0) -> tuple[float, ...]:
    """Return how far a walk to the right is from a bar, nothing where it is not level, straight, high and wide enough.

    hidden: px of a bar that may lie inside a stem.
    """
    at = frame.place(states.here[walk])
    wide, down = at[-1] - at[0]
    chord = float(np.hypot(wide, down))
    straight = chord / max(float(np.hypot(*np.diff(at, axis=0).T).sum()), 1e-9)
    wide_enough = WIDTH[0] <= wide + hidden / frame.x_height and wide <= WIDTH[1]
    if not (wide_enough and abs(down) <= LEVEL * wide and straight >= STRAIGHT and -float(at[:, 1].mean()) > above):
        return ()
    return (CROOKED * (1.0 - straight) + abs(down) / wide,)


def _went_up(states: States, walk: Walk) -> float:
    """Return the log odds that the pen went up at either end of a walk, coming along it."""
    return float(max(states.clues.lifted[walk[-1]], states.clues.lifted[walk[0] ^ 1]))


def _touches_stem(states: States, walk: Walk, frame: WordFrame) -> bool:
    """Tell whether a walk from a tip ends where a stem passes."""
    arms = [t for t, _ in _onward(states, int(walk[-1]))]
    steep = [t for t in arms if abs(frame.direction(states.heading[[t]])[0, 1]) > STEM]
    return any(u in steep and cost < STEM_TURN for t in steep for u, cost in _onward(states, t ^ 1))


def _onward(states: States, s: int) -> list[tuple[int, float]]:
    """Return the states to which single steps lead from one, but for its reverse, with their costs."""
    rows = slice(int(states.step_at[s]), int(states.step_at[s + 1]))
    steps = zip(states.step_to[rows].tolist(), states.step_cost[rows].tolist(), strict=True)
    return [(t, cost) for t, cost in steps if t != s ^ 1]
