"""A word's text laid over its ink: the cheapest way of the pen, and the frame of the writing, found in turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States
from skeleton.words.bars import bars_of
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.finished_ways import InkOfWord, connected_parts
from skeleton.words.frame import WordFrame, first_frame
from skeleton.words.laid_text import LaidText, laid_over, misfit_of
from skeleton.words.letter_forms import FormTable, Known, expected_extent, form_table, forms_of
from skeleton.words.spliced_ways import likeliest_way
from skeleton.words.unexplained_ink import unexplained

Floats = NDArray[np.float64]

BONUS, MALUS = 0.08, 0.08
"""What passing a place is worth that was left bare before, and costs where two letters passed it."""

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

    strokes: tuple[WrittenStroke, ...]
    """In the order of writing; all ink is taken up."""

    frame: WordFrame
    misfit: Floats
    """Shape (letters,): mean cost of a letter's points; near 0 where it suits, see `word_reading`."""


@dataclass(frozen=True, eq=False)
class WaysToWrite:
    """Ways to write a text in ink."""

    ink: InkOfWord
    upright: WordFrame
    """A first guess at where the writing stands."""

    laid: tuple[LaidText, ...]
    """Each once."""

    unexplained: Floats
    """Shape (ways,): how much each leaves unexplained, pen widths of line."""


def decode_text(
    net: Network, states: States, text: str, known: Known | None = None, *, below: float = np.inf
) -> Decoded | None:
    """Return the likeliest way to write a text in a network's ink; None where there is none that costs less than so."""
    found = ways_to_write(net, states, text, known)
    if found is None:
        return None
    # whether the text suits is told by the way that explains most
    most = int(np.argmin(found.unexplained))
    laid, least = found.laid[most], float(found.unexplained[most])
    cost = OF_COST * (laid.cost + laid.events) + OF_UNEXPLAINED * least + OF_A_WORD
    cost = cost / max(len(text), 2) + OF_FRAME * _unusual(laid.frame, found.upright) ** 0.5
    if cost >= below:
        return None
    way = likeliest_way(found.ink, text, found.laid, found.unexplained.tolist())
    return Decoded(cost, way.strokes, way.laid.frame, misfit_of(states, way.laid, len(text)))


def ways_to_write(net: Network, states: States, text: str, known: Known | None = None) -> WaysToWrite | None:
    """Return the ways to write a text that are found in a network's ink; None where there are none."""
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
    each: dict[tuple[bytes, bytes], tuple[float, LaidText]] = {}
    for way in _ways(laid, states, upright, every, few):
        walk, left = (way.walks[0].tobytes(), way.walks[1].tobytes()), unexplained(net, states, sizes, way)
        if walk not in each or left < each[walk][0]:
            each[walk] = left, way
    if not each:
        return None
    least, ways = zip(*each.values(), strict=True)
    return WaysToWrite(InkOfWord(net, states, part, sizes, bars), upright, ways, np.array(least))


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
