"""Ways to write a word put together of two: one up to a letter, another from the next one on.

Ways that are found in several frames go wrong at different letters. What a network expects each of them to miss at
every letter (`lost_line`) tells where one is better than the other; where both pass the same place between two letters,
or lift the pen there, they can be spliced. A spliced way is finished and judged as a whole, as the others are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from skeleton.states.state_graph import States
from skeleton.words.cut_letters import cut_way
from skeleton.words.cut_rightness import LEAST, rightness
from skeleton.words.finished_ways import FinishedWay, InkOfWord, finished
from skeleton.words.laid_text import LaidText, walked
from skeleton.words.lost_line import Judged, judged
from skeleton.words.unexplained_ink import unexplained

Splice = tuple[int, int, int]
"""Numbers of the first way, of the second, and of the last letter of the first."""

OF_RIGHTNESS = 2.0
"""Steps of lost line that an e-fold of the likelihood that a letter was cut rightly is worth. Of people for validation
(282 joined words, 185 partly joined, 46 printed; without splices) letters that overlap the written ones by .65 are .587
to .619, .940 to .944, .966 to .980, way .841 to .839, .937 to .937, .941 to .938."""

LOOKED_AT = 12.0
"""Steps of lost line by which a way is behind the best whose letters are not looked at: a gain of .02, .004 and .014 is
left of .032, .004 and .014, and of ten ways four are looked at."""

LEAST_GAIN = 1.0
"""Steps of the written line that a splice must promise."""

TRIED, ROUNDS = 3, 2
"""Splices that are tried at a time, and how often, as long as one of them wins."""

ONWARD = 16
"""States of a piece by which one way may be ahead of the other where they are spliced: eight places."""

LIFTED_NEAR = 0.5
"""x-heights between the ends of a letter after which only one of two ways lifts the pen."""


def likeliest_way(ink: InkOfWord, text: str, laid: Sequence[LaidText], left: Sequence[float]) -> FinishedWay:
    """Return the way that is likeliest to be the one that was written, of those given and of what is spliced of them.

    left: what each leaves unexplained, pen widths (`unexplained_ink`).
    """
    ways = [finished(ink, text, one) for one in laid]
    if len(ways) == 1:
        return ways[0]
    found = _weighed(ink, ways, left, text)
    tried: set[Splice] = set()
    for _ in range(ROUNDS):
        worth = _worth_trying(ink, ways, found, tried)
        tried.update(worth)
        more = [spliced(ink.states, ways[a].laid, ways[b].laid, k) for a, b, k in worth]
        if not more:
            break
        their_left = [unexplained(ink.net, ink.states, ink.sizes, one) for one in more]
        new = [finished(ink, text, one) for one in more]
        theirs = _weighed(ink, new, their_left, text)
        won = theirs.cost.min() < found.cost.min()
        ways += new
        found = Judged(np.concatenate([found.of_letter, theirs.of_letter]), np.concatenate([found.cost, theirs.cost]))
        if not won:
            break
    return ways[int(np.argmin(found.cost))]


def _weighed(ink: InkOfWord, ways: Sequence[FinishedWay], left: Sequence[float], text: str) -> Judged:
    """Return what ways are likely to miss, and what letters that were cut wrongly count, in steps of lost line.

    Ways that are likely to lose much more than the best are not looked at: all of their letters count as wrong.
    """
    found = judged(ink, ways, left, text)
    near = np.flatnonzero(found.cost <= found.cost.min() + LOOKED_AT)
    right = np.full((len(ways), len(text)), LEAST)
    right[near] = rightness([cut_way(ink.net, ink.states, ways[i], text) for i in near.tolist()])
    wrong = -OF_RIGHTNESS * np.log(np.maximum(right, LEAST))
    return Judged(found.of_letter + wrong, found.cost + wrong.sum(axis=1))


def spliced(states: States, first: LaidText, second: LaidText, letter: int) -> LaidText:
    """Return a way that is the first up to a letter, and the second after it, in the first one's frame."""
    before, after = first.rows[first.rows[:, 1] <= letter], second.rows[second.rows[:, 1] > letter].copy()
    after[after[:, 2] >= 0, 2] += len(first.model)
    rows: NDArray[np.int32] = np.concatenate([before, after]).astype(np.int32)
    walks, letters, bare, twice = walked(states, rows, first.marks)
    model = np.concatenate([first.model, second.model])
    cost = min(first.cost, second.cost)
    return LaidText(cost, first.events, rows, model, walks, letters, first.frame, first.marks, bare, twice)


def _worth_trying(ink: InkOfWord, ways: Sequence[FinishedWay], found: Judged, tried: set[Splice]) -> list[Splice]:
    """Return the splices that promise most and were not tried, one of two ways each."""
    best: dict[tuple[int, int], tuple[float, int]] = {}
    for cost, a, b, k in _promising(found):
        new = (a, b, k) not in tried and ((a, b) not in best or cost < best[a, b][0])
        if new and meet(ink.states, ways[a].laid, ways[b].laid, k):
            best[a, b] = cost, k
    return [(a, b, k) for (a, b), (_, k) in sorted(best.items(), key=lambda item: item[1])[:TRIED]]


def _promising(found: Judged) -> Iterator[tuple[float, int, int, int]]:
    """Yield what splices may cost, with both ways and the last letter of the first."""
    upto = np.cumsum(found.of_letter, axis=1)
    whole, least = upto[:, -1], found.cost.min()
    for k in range(upto.shape[1] - 1):
        together = upto[:, None, k] + (whole - upto[:, k])[None]
        gain = np.minimum(whole[:, None], whole[None]) - together
        cost = np.minimum(found.cost[:, None], found.cost[None]) - gain
        for a, b in np.argwhere((gain >= LEAST_GAIN) & (cost <= least - LEAST_GAIN)).tolist():
            yield float(cost[a, b]), a, b, k


def meet(states: States, first: LaidText, second: LaidText, letter: int) -> bool:
    """Tell whether one way can go on as the other does after a letter."""
    i, j = (int(np.searchsorted(way.rows[:, 1], letter, side="right")) for way in (first, second))
    end, other_end, goes_on = int(first.rows[i - 1, 0]), int(second.rows[j - 1, 0]), int(second.rows[j, 0])
    if second.rows[j, 3] == 1:
        apart = float(np.hypot(*(states.here[end] - states.here[other_end])))
        return first.rows[i, 3] == 1 or apart < LIFTED_NEAR * first.frame.x_height
    ahead = (goes_on - end) * (1 if end % 2 == 0 else -1)
    alike = states.piece[end] == states.piece[goes_on] and end % 2 == goes_on % 2
    return end == other_end or (alike and 0 <= ahead <= ONWARD)
