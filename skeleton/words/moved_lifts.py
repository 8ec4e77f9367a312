"""Lifts that a way to write a word has too few or too many: its strokes are cut, and run together.

A form that runs on where the pen was lifted turns back at the end of a line and goes over it once more; one that ends
too early, or begins too late, parts what was one stroke. Each such change of a way is judged as ways are (`lost_line`),
and the one that is likely to lose least is made, as long as it loses less by far.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.finished_ways import FinishedWay, InkOfWord
from skeleton.words.links import way_between
from skeleton.words.lost_line import judged
from skeleton.words.unexplained_ink import NO_END, missed_ends, tips_of

Floats = NDArray[np.float64]

LEAST_GAIN = 2.5
"""Steps of the written line that a change must promise. Of 284 joined words of people for validation (UNIPEN, two inks)
strokes too many or too few come to .85 a word without changes, and, 404 words paired, .13 less from 2.5 on (standard
error .03; 51 words nearer, 20 farther), .08 less from 3 on (35, 15), .14 from 2 on (61, 41)."""

ROUNDS = 3
"""How often a change is sought."""

TRIED = 4
"""Cuts that are tried at a time, those where the ink tells most of an end."""

RUNNING = 0.3
"""Share of a word's letters, of those that could be, that are joined from which strokes are run together: where people
print some letters, most of these changes were wrong."""


def with_lifts_moved(ink: InkOfWord, way: FinishedWay, left: float, text: str) -> FinishedWay:
    """Return a way with strokes cut and run together where it is then likely to lose less of the written line.

    left: what it leaves unexplained, pen widths (`unexplained_ink`).
    """
    letters = ~np.isin(ink.states.piece[::2], way.laid.marks)
    inward = tips_of(ink.net, ink.states)
    inward = inward[letters[inward // 2]]

    def ends_missed(one: FinishedWay) -> float:
        return NO_END * missed_ends(ink.states, inward, [s.walk for s in one.strokes])

    for _ in range(ROUNDS):
        changed = [replace(way, strokes=strokes) for strokes in (*_cut(ink, way), *_run_together(ink, way))]
        if not changed:
            break
        ways = [way, *changed]
        missed = np.array([ends_missed(one) for one in ways])
        cost = judged(ink, ways, (left + missed - missed[0]).tolist(), text).cost
        best = int(np.argmin(cost))
        if cost[best] > cost[0] - LEAST_GAIN:
            break
        way, left = ways[best], left + missed[best] - missed[0]
    return way


def _cut(ink: InkOfWord, way: FinishedWay) -> list[tuple[WrittenStroke, ...]]:
    """Return the strokes of a way, one of them cut where it turns back."""
    clues = ink.states.clues
    found: list[tuple[float, int, int]] = []
    for k, stroke in enumerate(way.strokes):
        walk = np.asarray(stroke.walk)
        for t in np.flatnonzero(walk[1:] == walk[:-1] ^ 1).tolist():
            found.append((max(clues.lifted[walk[t]], clues.landed[walk[t + 1]]), k, t + 1))
    return [_cut_at(way.strokes, k, t) for _, k, t in sorted(found, reverse=True)[:TRIED]]


def _cut_at(strokes: Sequence[WrittenStroke], k: int, t: int) -> tuple[WrittenStroke, ...]:
    """Return strokes, the one of number k cut before a step."""
    one = strokes[k]
    first = replace(one, walk=one.walk[:t], letter=one.letter[:t])
    return (*strokes[:k], first, replace(one, walk=one.walk[t:], letter=one.letter[t:]), *strokes[k + 1 :])


def _run_together(ink: InkOfWord, way: FinishedWay) -> Iterator[tuple[WrittenStroke, ...]]:
    """Yield the strokes of a way that joins its letters, two of them run together between which a short line leads."""
    joined = sum(int((np.diff(one.letter) == 1).sum()) for one in way.strokes)
    if joined < RUNNING * max(int(one.letter.max()) for one in way.strokes):
        return
    for k, (one, other) in enumerate(pairwise(way.strokes)):
        if one.delayed or other.delayed:
            continue
        bare, x_height = way.laid.bare, way.laid.frame.x_height
        between = way_between(one.walk[-1], other.walk[0], ink.states, ink.sizes, bare, x_height, 0.0)
        if between is not None:
            letter = np.concatenate([one.letter, np.full(len(between), one.letter[-1]), other.letter])
            whole = replace(one, walk=[*one.walk, *between, *other.walk], letter=letter)
            yield (*way.strokes[:k], whole, *way.strokes[k + 2 :])
