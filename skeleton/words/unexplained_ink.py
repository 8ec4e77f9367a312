"""What a text laid over the ink leaves unexplained: ink and pen events that no letter accounts for.

Of the ways that are found in several frames, and again with ink left bare made cheaper, the one that explains most is
nearest to what was written; how well letters suit their forms tells less once all of them are cheap ways. Of words of
people for validation the choice by cost alone had a way of .835 (joined; lifts off 1.11), this one .861 (.91).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States, junctions_of
from skeleton.words.laid_text import LaidText

Floats = NDArray[np.float64]

MOST_LOG_ODDS = 5.0
"""Log odds of a second passing beyond which it makes no difference."""

PASSED_ONCE = 0.3
"""Weight of a pen width of line that is passed once at most, for each of the ink's log odds that the pen passed twice,
against a pen width that no letter passes. The weights were chosen by way, lifts and letters of 160 words of people for
validation and 335 of training people (UNIPEN; 330 joined, 116 some of whose letters are joined, 49 print): half and
twice of each do alike."""

NO_END = 1.0
"""The same for each of the log odds that the pen came down or went up at a tip where no stroke begins or ends."""

SHARED, UNLIKE = 0.5, 0.3
"""The same for a pen width that more than one letter passes, and for each of the cost of the way (`LaidText.cost`)."""


def unexplained(net: Network, states: States, sizes: Floats, laid: LaidText) -> float:
    """Return how much a way leaves unexplained, in pen widths of line.

    Parameters
    ----------
    sizes
        Shape (places,): length of line at each place, px.
    """
    every, starts = laid.walks
    times = np.bincount(every // 2, minlength=len(sizes))
    letters = ~np.isin(states.piece[::2], laid.marks)
    twice = np.clip(states.clues.twice, 0.0, MOST_LOG_ODDS)
    out = float(sizes[laid.bare].sum()) + PASSED_ONCE * float((twice * sizes)[(times <= 1) & letters].sum())
    inward = tips_of(net, states)
    ends = np.zeros(len(states.here), bool)
    ends[every[starts[:-1]]] = True
    ends[every[starts[1:] - 1] ^ 1] = True
    missed = inward[~ends[inward] & letters[inward // 2]]
    events = np.maximum(states.clues.landed[missed], states.clues.lifted[missed ^ 1])
    out += SHARED * float(sizes[laid.twice].sum())
    return out / net.pen_px + NO_END * float(np.maximum(events, 0.0).sum()) + UNLIKE * laid.cost


def tips_of(net: Network, states: States) -> NDArray[np.int64]:
    """Return the states at free tips that head inwards, shape (tips,)."""
    free = junctions_of(net)[: len(net.pieces) - net.dots] < 0
    first = states.first.astype(np.int64)
    lines = len(free)
    at = np.stack([2 * first[:lines], 2 * first[1 : lines + 1] - 1], axis=1)
    out: NDArray[np.int64] = at[free]
    return out
