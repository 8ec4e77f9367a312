"""Dots, bars and other strokes that no letter's form has: dealt to the letters, and put where the pen made them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import line_length
from skeleton.words.letter_forms import BARRED, DOTTED

ASKED_FOR = 1.2
"""x-heights by which a letter that wants a dot or bar may be farther away than one that does not."""

TO_MIDDLE = 0.15
"""How much being aside of a letter's middle counts against being aside of the letter."""

THROUGH = 0.1
"""x-heights between a bar and a stem's point that it goes through."""

CROSSED = BARRED | frozenset("TFEHAGQJ")


@dataclass(frozen=True, eq=False)
class WrittenStroke:
    """A stroke found in a word."""

    walk: list[int]
    letter: NDArray[np.int64]
    """Shape (steps,): which letter each step belongs to."""

    delayed: bool = False
    """True for what no letter's form has."""


def owner_of(stroke: Points, text: str, extents: Sequence[tuple[float, float] | None]) -> int:
    """Return the number of the letter that a stroke belongs to which no form has.

    Parameters
    ----------
    stroke
        Shape (n, 2), x-heights, baseline at y = 0, y down.
    extents
        Left and right of every letter's ink, None where it has none.
    """
    middle, extent = stroke.mean(axis=0), np.ptp(stroke, axis=0)
    length = line_length(stroke) if len(stroke) > 1 else 0.0
    bar = extent[0] > 1.2 * extent[1] and middle[1] < -0.6
    dot = length < 0.9 and middle[1] < -0.9
    best, who = np.inf, 0
    for j, (char, reach) in enumerate(zip(text, extents, strict=True)):
        if reach is None:
            continue
        aside = max(reach[0] - middle[0], middle[0] - reach[1], 0.0)
        aside += TO_MIDDLE * abs(middle[0] - 0.5 * (reach[0] + reach[1]))
        if (bar and char in CROSSED) or (dot and char in DOTTED):
            aside -= ASKED_FOR
        if aside < best:
            best, who = aside, j
    return who


def in_writing_order(strokes: Sequence[WrittenStroke], middles: Sequence[float]) -> list[int]:
    """Return the numbers of strokes in the order of writing.

    A delayed stroke follows its letter where the pen was lifted there, and comes after the word where the letter is
    joined to the next one. middles: of every stroke, from left to right.
    """
    main = [i for i, s in enumerate(strokes) if not s.delayed]
    after: dict[int, list[int]] = {i: [] for i in main}
    last: list[int] = []
    for i in sorted((i for i, s in enumerate(strokes) if s.delayed), key=lambda i: middles[i]):
        j = strokes[i].letter[0]
        passing = [m for m in main if (strokes[m].letter == j).any()]
        if passing and strokes[passing[-1]].letter[-1] == j:
            after[passing[-1]].append(i)
        else:
            last.append(i)
    return [k for m in main for k in (m, *after[m])] + last


def sharing_a_bar(letters: Sequence[tuple[str, Sequence[Points]]], x_height: float) -> frozenset[int]:
    """Return the numbers of letters whose bar goes through a neighbour's stem as well, and of those neighbours.

    Whoever writes `tt` often crosses both at once: one letter has a bar too long, the other none.

    Parameters
    ----------
    letters
        A word's letters: character and pieces, each (n, 2), in one unit, y down.
    x_height
        In that unit.
    """
    out: set[int] = set()
    for j, (char, pieces) in enumerate(letters):
        for k in (j - 1, j + 1):
            if char not in BARRED or not 0 <= k < len(letters) or letters[k][0] not in BARRED:
                continue
            stems = [p for p in letters[k][1] if not _lies(p)]
            if any(_crosses(bar, stem, x_height) for bar in pieces if _lies(bar) for stem in stems):
                out |= {j, k}
    return frozenset(out)


def _lies(piece: Points) -> bool:
    wide, high = np.ptp(piece, axis=0)
    return bool(wide > 1.5 * high)


def _crosses(bar: Points, stem: Points, x_height: float) -> bool:
    order = np.argsort(bar[:, 0])
    at = np.interp(stem[:, 0], bar[order, 0], bar[order, 1])
    inside = (stem[:, 0] > bar[:, 0].min()) & (stem[:, 0] < bar[:, 0].max())
    return bool((inside & (np.abs(stem[:, 1] - at) < THROUGH * x_height)).any())
