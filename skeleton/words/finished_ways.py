"""A way of the pen along letters' forms made a whole word: joined, all ink taken up, in the order of writing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.states.paths import coverage
from skeleton.states.state_graph import States, Walks, path_context_of
from skeleton.words.delayed_strokes import WrittenStroke, in_writing_order, owner_of
from skeleton.words.laid_text import LaidText
from skeleton.words.leftovers import taken_up
from skeleton.words.links import linked

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCRAP = 0.5
"""x-heights of line below which ink that no letter passes is no stroke of its own."""


@dataclass(frozen=True, eq=False)
class InkOfWord:
    """A word's ink, as far as it is the same for all ways to write in it."""

    net: Network
    states: States
    part: Ints
    """Shape (pieces,): number of the connected part of the ink that each piece belongs to."""

    sizes: Floats
    """Shape (places,): length of line at each place, px."""

    bars: tuple[NDArray[np.int32], ...]
    """Bars of t and f, each of shape (steps,): states, single steps."""


@dataclass(frozen=True, eq=False)
class FinishedWay:
    """A way to write a word."""

    laid: LaidText
    strokes: tuple[WrittenStroke, ...]
    """In the order of writing."""


def finished(ink: InkOfWord, text: str, laid: LaidText) -> FinishedWay:
    """Return the strokes of a way that was found along letters' forms."""
    states, sizes = ink.states, ink.sizes
    walks, letter = linked(laid.walks, laid.letter, states, sizes, laid.bare, laid.frame.x_height)
    off = np.isin(states.piece[::2], laid.marks)
    walks, letter = taken_up(walks, letter, states, sizes, off, laid.frame.x_height)
    walks, letter = _with_bars(walks, letter, ink.bars)
    whole_ways = completed(path_context_of(ink.net, states), walks, coverage(walks, len(sizes)))
    of_place = ink.part[states.piece[::2]]
    whole = _without_scraps(whole_ways[-1][0], walks, sizes, of_place, SCRAP * laid.frame.x_height)
    owner = _owners(walks, letter, whole, len(states.here))
    places = laid.frame.place(states.here)
    strokes = _dealt(places, whole, owner, text)
    order = in_writing_order(strokes, [float(places[s.walk, 0].mean()) for s in strokes])
    return FinishedWay(laid, tuple(strokes[i] for i in order))


def connected_parts(net: Network) -> Ints:
    """Return for every piece the number of the connected part of the ink that it belongs to."""
    root = np.arange(len(net.pieces))

    def find(i: int) -> int:
        while root[i] != i:
            i = int(root[i])
        return i

    for ends in net.junctions:
        for p, _ in ends[1:]:
            root[find(p)] = find(ends[0][0])
    return np.array([find(i) for i in range(len(root))], np.int64)


def _dealt(places: Floats, whole: Walks, owner: Ints, text: str) -> list[WrittenStroke]:
    """Return the strokes found, what no form has dealt to the letters, in no order; places: of states, x-heights."""
    every, starts = whole
    out: list[WrittenStroke] = []
    spans = list(zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True))
    extents: list[tuple[float, float] | None] = [None] * len(text)
    for j in range(len(text)):
        x = places[every[owner == j], 0]
        extents[j] = (float(x.min()), float(x.max())) if len(x) else None
    for a, b in spans:
        letter = owner[a:b]
        if letter[0] >= 0:
            out.append(WrittenStroke(every[a:b].tolist(), letter))
        else:
            j = owner_of(places[every[a:b]], text, extents)
            out.append(WrittenStroke(every[a:b].tolist(), np.full(b - a, j), True))
    return out


def _with_bars(walks: Walks, letter: Ints, bars: Sequence[NDArray[np.int32]]) -> tuple[Walks, Ints]:
    """Return walks and the letter of every step with bars added, which no letter's form has."""
    every, starts = walks
    ends = starts[-1] + np.cumsum([len(bar) for bar in bars], dtype=np.int64)
    none = np.full(sum(map(len, bars)), -1)
    return (np.concatenate([every, *bars]), np.concatenate([starts, ends])), np.concatenate([letter, none])


def _without_scraps(whole: Walks, before: Walks, sizes: Floats, part: Ints, least: float) -> Walks:
    """Return completed walks without short strokes that were added for ink which touches a letter's.

    Such ink is the breadth of two passes, or of a turn: nobody lifts the pen for it.
    """
    every, starts = whole
    passed = np.zeros(len(sizes), bool)
    passed[before[0] // 2] = True
    touched = np.unique(part[passed])
    kept = []
    for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        places = every[a:b] // 2
        own = passed[places].any() or part[places[0]] not in touched
        if own or float(sizes[places].sum()) >= least:
            kept.append(every[a:b])
    return np.concatenate(kept), np.cumsum([0, *map(len, kept)])


def _owners(walks: Walks, letter: Ints, whole: Walks, states: int) -> Ints:
    """Return the letter of every step of completed walks, -1 in strokes that pass nothing that a letter passes."""
    by_state, by_place = np.full(states, -1), np.full(states // 2, -1)
    by_state[walks[0]] = letter
    by_place[walks[0] // 2] = letter
    every, starts = whole
    out = np.where(by_state[every] >= 0, by_state[every], by_place[every // 2]).astype(np.int64)
    for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        named = np.flatnonzero(out[a:b] >= 0)
        if len(named):
            nearest = np.abs(np.arange(b - a)[:, None] - named[None]).argmin(axis=1)
            out[a:b] = out[a + named[nearest]]
    return out
