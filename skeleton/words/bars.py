"""Bars of t and f that cross a stem: found before the letters, as no form has them and the pen lifted for them.

A bar is a level, straight line from one free tip of the ink to another that crosses at least one other line on its way.
The bounds were set by hand on joined words of a hundred (20 training people of UNIPEN, see `tests.bench.people`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States
from skeleton.words.frame import WordFrame
from skeleton.words.letter_forms import BARRED

STRAIGHT_ON = 0.2
"""Cost of a step across a junction up to which a bar goes straight on."""

LEVEL, STRAIGHT = 0.4, 0.93
"""Most rise of a bar against its width, and least chord against its length."""

WIDTH = (0.3, 2.8)
"""x-heights from tip to tip."""

HEIGHT = 0.9
"""x-heights above the baseline from which level lines are bars: lower ones join letters."""


def bars_across(net: Network, states: States, text: str, frame: WordFrame) -> tuple[NDArray[np.int32], ...]:
    """Return the bars of a word as walks of single steps, from left to right.

    Parameters
    ----------
    frame
        A first guess at where the writing stands.
    """
    wanted = sum(c in BARRED for c in text)
    found: list[tuple[float, NDArray[np.int32]]] = []
    for piece in range(len(net.pieces) - net.dots) if wanted else ():
        free = [end for end, junction in enumerate(net.junction_of[piece]) if junction < 0]
        if len(free) != 1:
            continue
        walk = _tip_to_tip(net, states, piece, free[0])
        if walk is None:
            continue
        at = frame.place(states.here[walk])
        wide, down = at[-1] - at[0]
        long = float(np.hypot(*np.diff(at, axis=0).T).sum())
        level = wide > 0 and abs(down) <= LEVEL * wide and np.hypot(wide, down) >= STRAIGHT * long
        if level and WIDTH[0] <= wide <= WIDTH[1] and at[:, 1].mean() < -HEIGHT:
            found.append((float(np.hypot(wide, down)) / long, walk))
    found.sort(key=lambda f: -f[0])
    return tuple(sorted((walk for _, walk in found[:wanted]), key=lambda walk: float(states.here[walk, 0].mean())))


def _tip_to_tip(net: Network, states: States, piece: int, end: int) -> NDArray[np.int32] | None:
    """Return the states from a free tip straight on to another, None where there is none or no junction between."""
    walk: list[int] = []
    passed: set[int] = set()
    while piece not in passed:
        passed.add(piece)
        a, b = int(states.first[piece]), int(states.first[piece + 1])
        walk += range(2 * a, 2 * b, 2) if end == 0 else range(2 * b - 1, 2 * a, -2)
        if net.junction_of[piece][1 - end] < 0:
            return np.array(walk, np.int32) if len(passed) > 1 else None
        last = walk[-1]
        rows = slice(int(states.step_at[last]), int(states.step_at[last + 1]))
        ways = [
            (float(c), int(t))
            for t, c in zip(states.step_to[rows], states.step_cost[rows], strict=True)
            if t != last ^ 1 and c < STRAIGHT_ON
        ]
        if not ways:
            return None
        _, to = min(ways)
        piece = int(states.piece[to])
        end = 0 if to == 2 * int(states.first[piece]) else 1
    return None
