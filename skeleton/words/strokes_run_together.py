"""Strokes of a way to write a word run together where the pen stayed down.

A form that ends too early, or begins too late, leaves two strokes where one was written, with a short line between
them. In words whose letters join such strokes are run together where the way is then likely to lose less by far
(`lost_line`). Strokes that turn back where the pen was lifted are not cut: the network cannot tell those.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.finished_ways import FinishedWay, InkOfWord
from skeleton.words.links import way_between
from skeleton.words.lost_line import judged
from skeleton.words.unexplained_ink import NO_END, missed_ends, tips_of

LEAST_GAIN = 2.0
"""Steps of the written line that a change must promise."""

RUNNING = 0.3
"""Share of a word's letters, of those that could be, that are joined from which strokes are run together: of people who
print some letters two in ten of these changes were right."""


def run_together(ink: InkOfWord, way: FinishedWay, left: float, text: str) -> FinishedWay:
    """Return a way with strokes run together where it is then likely to lose less of the written line.

    left: what it leaves unexplained, pen widths (`unexplained_ink`).
    """
    tips = tips_of(ink.net, ink.states)
    tips = tips[~np.isin(ink.states.piece[tips], way.laid.marks)]
    while changed := [replace(way, strokes=strokes) for strokes in _fewer(ink, way)]:
        ways = [way, *changed]
        missed = NO_END * np.array([missed_ends(ink.states, tips, [s.walk for s in one.strokes]) for one in ways])
        cost = judged(ink, ways, (left + missed - missed[0]).tolist(), text).cost
        best = int(np.argmin(cost))
        if cost[best] > cost[0] - LEAST_GAIN:
            break
        way, left = ways[best], left + float(missed[best] - missed[0])
    return way


def _fewer(ink: InkOfWord, way: FinishedWay) -> Iterator[tuple[WrittenStroke, ...]]:
    """Yield the strokes of a way that joins its letters, two of them run together between which a short line leads."""
    joined = sum(int((np.diff(one.letter) == 1).sum()) for one in way.strokes)
    if joined < RUNNING * max(int(one.letter.max()) for one in way.strokes):
        return
    bare, x_height = way.laid.bare, way.laid.frame.x_height
    for k, (one, other) in enumerate(pairwise(way.strokes)):
        if one.delayed or other.delayed:
            continue
        between = way_between(int(one.walk[-1]), int(other.walk[0]), ink.states, ink.sizes, bare, x_height, 0.0)
        if between is not None:
            letter = np.concatenate([one.letter, np.full(len(between), one.letter[-1]), other.letter])
            whole = replace(one, walk=[*one.walk, *between, *other.walk], letter=letter)
            yield (*way.strokes[:k], whole, *way.strokes[k + 2 :])
