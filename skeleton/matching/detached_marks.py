"""Marks that stand apart from their letter: dots and accents, wherever above or below it they were put.

How far a mark is from its letter says nothing of the letter, so the two are laid over the ink each by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import line_length
from skeleton.graph.connected import connected_parts
from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States

ABOVE, NOWHERE, BELOW = -1, 0, 1

MARK_GAP_SIZES = 0.03
"""Space between a letter and its marks, in sizes of the letter, from which they stand apart."""


@dataclass(frozen=True, eq=False)
class DetachedMark:
    """Ink that lies apart from the rest on one side of it."""

    pieces: int
    """How many connected pieces it is in."""

    there: NDArray[np.bool_]
    """Shape (states,): which states lie on it."""

    boxes: NDArray[np.float64]
    """Shape (2, 2, 2): lowest and highest x and y of the rest, then of what lies apart; px."""


def detached_in_template(strokes: Sequence[Points]) -> tuple[int, int]:
    """Return the first of the last strokes that lie wholly above or wholly below all before them, and where.

    (len(strokes), NOWHERE) if there are none; y down.
    """
    if len(strokes) < 2:
        return len(strokes), NOWHERE
    low = [s[:, 1].min() for s in strokes]
    high = [s[:, 1].max() for s in strokes]
    for k in range(1, len(strokes)):
        top, bottom = min(low[:k]), max(high[:k])
        size = max(bottom - top, max(float(np.ptp(s[:, 0])) for s in strokes[:k]))
        if size <= 0:
            continue
        if max(high[k:]) < top - MARK_GAP_SIZES * size:
            return k, ABOVE
        if min(low[k:]) > bottom + MARK_GAP_SIZES * size:
            return k, BELOW
    return len(strokes), NOWHERE


def detached_in_ink(net: Network, states: States) -> dict[int, DetachedMark]:
    """Return the ink that lies above the longest connected lines, and what lies below them, by side."""
    part = connected_parts(len(net.pieces), (pair for ends in net.junctions for pair in pairwise(p for p, _ in ends)))
    if not part.any():
        return {}
    length = np.bincount(part, [line_length(p) for p in net.pieces])
    of_state = part[states.piece]
    boxes = [_box(states.here[of_state == k]) for k in range(len(length))]
    main = boxes[int(length.argmax())]
    out = {}
    for side in (ABOVE, BELOW):
        middle = np.array([b[:, 1].mean() for b in boxes])
        those = middle < main[0, 1] if side == ABOVE else middle > main[1, 1]
        if those.any():
            there = those[of_state]
            box = np.stack([_box(states.here[~there]), _box(states.here[there])])
            out[side] = DetachedMark(int(those.sum()), there, box)
    return out


def _box(points: Points) -> NDArray[np.float64]:
    return np.stack([points.min(axis=0), points.max(axis=0)])
