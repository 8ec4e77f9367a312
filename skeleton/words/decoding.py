"""A word's text laid over its ink: the cheapest way of the pen, and the frame of the writing, found in turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.states.paths import coverage
from skeleton.states.state_graph import States, Walks, path_context_of
from skeleton.words.bars import bars_of
from skeleton.words.frame import WordFrame, first_frame
from skeleton.words.laid_text import LaidText, laid_over, misfit_of
from skeleton.words.leftovers import taken_up
from skeleton.words.letter_forms import FormTable, Known, expected_extent, form_table, forms_of
from skeleton.words.links import linked
from skeleton.words.unexplained_ink import unexplained

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BONUS, MALUS = 0.08, 0.08
"""What passing a place is worth that was left bare before, and costs where two letters passed it."""

SCRAP = 0.5
"""x-heights of line below which ink that no letter passes is no stroke of its own."""

STARTS = ((1.0, 0.0), (0.8, 0.0), (1.0, 0.5), (0.8, 0.5))
"""Frames tried first: x-heights, as shares of what the height of all ink tells, and slants."""

OTHERS = ((0.62, 0.0), (1.25, 0.0), (0.62, 0.5), (1.25, 0.5))
"""Frames tried where the first lead to nothing that suits."""

AWRY = 3.0
"""Cost of a letter from which nothing suits."""

FEW = 5
"""How many forms of a letter, the commonest, are tried in the other frames."""

USUAL_HEIGHT, USUAL_WIDTH = (0.0, 0.12), (-0.1, 0.18)
"""Means and standard deviations of the logs of a frame's x-height, against what the height of all ink tells, and of its
width: of words of which more than nine tenths of the way are read rightly (half of the people of UNIPEN's words)."""

UNUSUAL = 1.0
"""Weight of a frame's log likelihood."""

FOLLOWED = 2
"""How many of them, the cheapest, are found anew from what they found."""

AGAIN = 3
"""How often ink left bare is tried to be won."""

OF_COST, OF_UNEXPLAINED, OF_FRAME, OF_A_WORD = 0.5, 0.4, 0.18, 2.5
"""What counts for how badly a text suits: a letter's share of the way's cost, of the pen widths that it leaves
unexplained and of one for the word, and the root of what is unusual in the frame. Logistic regression, own text against
another word's, on 354 words, of two letters at least, of UNIPEN's people for training and validation; the scale is by
half that of the cost."""


@dataclass(frozen=True, eq=False)
class Decoded:
    """A text found in ink."""

    cost: float
    """Of a letter, on the average: how badly forms and ink suit each other, and what stays unexplained."""

    walks: Walks
    """Single steps, all ink taken up: the letters' strokes in the order of writing, then what was added."""

    letter: Ints
    """Shape (steps,): which letter every step belongs to, -1 in strokes that were added."""

    frame: WordFrame
    marks: tuple[int, ...]
    """Pieces of ink that stand apart above the letters."""

    misfit: Floats
    """Shape (letters,): mean cost of a letter's points; near 0 where it suits, see `word_reading`."""


def decode_text(net: Network, states: States, text: str, known: Known | None = None) -> Decoded | None:
    """Return the way to write a text that leaves least of a network's ink unexplained; None where there is none."""
    forms = [forms_of(c, known) for c in text]
    if not text or not all(forms):
        return None
    sizes = np.repeat(states.spacing, np.diff(states.first))
    part = connected_parts(net)
    upright = first_frame(states.here, *expected_extent(text, known), len(text), net.pen_px)
    bars = bars_of(net, states, text, upright)
    barred = np.unique(states.piece[np.concatenate(bars)]).tolist() if bars else []
    laid = partial(laid_over, net, states, part, sizes, text, barred=tuple(barred))
    every, few = form_table(forms), form_table([of_letter[:FEW] for of_letter in forms])
    ways = _ways(laid, states, upright, every, few)
    if not ways:
        return None
    left = [unexplained(net, states, sizes, way) for way in ways]
    least = min(left)
    best = ways[left.index(least)]
    walks, letter = linked(best.walks, best.letter, states, sizes, best.bare, best.frame.x_height)
    off = np.isin(states.piece[::2], best.marks)
    walks, letter = taken_up(walks, letter, states, sizes, off, best.frame.x_height)
    walks, letter = _with_bars(walks, letter, bars)
    whole_ways = completed(path_context_of(net, states), walks, coverage(walks, len(sizes)))
    of_place = part[states.piece[::2]]
    whole = _without_scraps(whole_ways[-1][0], walks, sizes, of_place, SCRAP * best.frame.x_height)
    owner = _owners(walks, letter, whole, len(states.here))
    cost = OF_COST * (best.cost + best.events) + OF_UNEXPLAINED * least + OF_A_WORD
    cost = cost / max(len(text), 2) + OF_FRAME * _unusual(best.frame, upright) ** 0.5
    return Decoded(cost, whole, owner, best.frame, best.marks, misfit_of(states, best, len(text)))


def _ways(
    laid: Callable[..., LaidText | None],
    states: States,
    upright: WordFrame,
    forms: FormTable,
    few: FormTable,
) -> list[LaidText]:
    """Return ways to write a text: in first frames, in those found from them, and with what is left bare cheaper.

    laid: gives the cheapest way from letters' forms, a frame, and what passing each state costs beside. few: the
    forms that are tried in the other frames.
    """
    nothing = np.zeros(len(states.here))
    ways: list[LaidText] = []
    second: list[tuple[float, int, LaidText]] = []
    for starts, ways_of in ((STARTS, forms), (OTHERS, few)):
        tries: list[tuple[float, int, LaidText]] = []
        for x_height, slant in starts:
            try_ = laid(ways_of, upright.changed(x_height, slant), nothing)
            if try_ is not None:
                tries.append((try_.cost + _unusual(try_.refitted(states), upright), len(tries), try_))
        ways += [try_ for _, _, try_ in tries]
        for cost, _, first in sorted(tries)[:FOLLOWED]:
            frame = first.refitted(states)
            try_ = laid(forms, frame, nothing)
            cost, try_ = (cost, first) if try_ is None else (try_.cost + _unusual(frame, upright), try_)
            second.append((cost, len(second), try_))
        if second and min(second)[0] < AWRY * (len(forms.letter_at) - 1):
            break
    if not second:
        return []
    ways += [try_ for _, _, try_ in second]
    now = min(second)[2]
    frame, extra = now.frame, nothing
    for _ in range(AGAIN):
        extra = extra + np.repeat(MALUS * now.twice - BONUS * now.bare, 2)
        again = laid(forms, frame, extra)
        if again is None:
            break
        ways.append(again)
        if not (again.bare.any() or again.twice.any()):
            break
        now = again
    return ways


def _unusual(frame: WordFrame, upright: WordFrame) -> float:
    """Return the cost of a frame's height and width."""
    height, width = np.log(frame.x_height / upright.x_height), np.log(frame.width)
    off = ((height - USUAL_HEIGHT[0]) / USUAL_HEIGHT[1], (width - USUAL_WIDTH[0]) / USUAL_WIDTH[1])
    return float(UNUSUAL * 0.5 * (off[0] ** 2 + off[1] ** 2))


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
