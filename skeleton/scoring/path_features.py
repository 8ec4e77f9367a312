"""What ink tells of walks over it, whatever the character: what the readings of a character have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.scoring.path_features_kernels import path_features
from skeleton.scoring.width_consistency import own_widths
from skeleton.states.paths import PathContext, coverage
from skeleton.states.state_graph import Pack, States, Walks, path_context_of

Floats = NDArray[np.float64]

PATH_FEATURE_NAMES = (
    "strokes", "turns", "tip turns", "junction turns", "starts", "twice", "idle", "single",
    "pro", "contra", "landing", "thrice", "rise", "travel", "retraces", "retraces told", "missed", "missed told",
    "landed", "lifted", "linked", "parted",
)  # fmt: skip
"""What ink tells of a reading: its strokes; turns, turns at tips, turns back in junctions, what starts cost, shares of
the length passed again and idly, evidence against that; evidence for and against passing twice, against landings
inside lines, length passed a third time; how much lower strokes begin than they end, and how far the pen goes between
them, in sizes of the character; stretches passed twice, and of those that look so but are not: how many, how surely;
against where strokes begin and end; the cost of taking a stroke's parts for one."""


@dataclass(frozen=True, eq=False)
class PathScorer:
    """Ink that can be asked about walks."""

    net: Network
    states: States
    context: PathContext
    gaps: Floats
    """Shape (places,): size of every place, px."""

    total: float
    """Length of all lines, px."""

    size: float
    """Of the character, px."""

    tip: NDArray[np.bool_]
    """Shape (states,): whether it is the last before a free tip."""

    widths: Floats
    """Shape (places,): width of the ink less the mean, as shares of the usual; NaN where it is not the line's own."""

    variance: float
    """Variance of those widths, less what noise adds."""

    def path_features(self, pack: Pack) -> Floats:
        """Return the columns `PATH_FEATURE_NAMES` of some readings, shape (readings, 22)."""
        out: Floats = path_features(
            self.context, pack, self.gaps, self.tip, self.states.start_cost,
            self.widths, self.variance, self.total, self.size,
        )  # fmt: skip
        return out

    def bare(self, count: NDArray[np.int64]) -> float:
        """Return the share of the lines at places never passed; count: `skeleton.states.paths.coverage` of walks."""
        return float(self.gaps[count == 0].sum()) / self.total

    def coverage(self, walks: Walks) -> NDArray[np.int64]:
        """Return how often every place is passed, shape (places,)."""
        out: NDArray[np.int64] = coverage(walks, len(self.gaps))
        return out


def path_scorer(net: Network, states: States) -> PathScorer:
    """Return what scores the paths over a network."""
    gaps = np.repeat(states.spacing, np.diff(states.first))
    context = path_context_of(net, states)
    size = max(float(np.ptp(states.here, axis=0).max()), net.pen_px) if len(states.here) else 1.0
    widths, variance = own_widths(context, states.width)
    return PathScorer(
        net, states, context, gaps, max(float(gaps.sum()), 1e-6), size, _tips(net, states), widths, variance
    )


def _tips(net: Network, states: States) -> NDArray[np.bool_]:
    """Return for every state whether it is the last before a free tip."""
    out = np.zeros(len(states.here), bool)
    free = np.array(net.junction_of) < 0
    out[2 * states.first[:-1] + 1] = free[:, 0]
    out[2 * states.first[1:] - 2] = free[:, 1]
    return out
