"""Where lines end: greedy, as a person writes, who goes on until the edge is near.

Lengths are font units. Indices count the characters of one text (`Letters`).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ownhand.composer.text.characters import characters
from ownhand.composer.text.passage import Break
from ownhand.composer.variation.handwriting_statistics import Array

MIN_BEFORE, MIN_AFTER = 2, 3
"""Letters left before and taken over after a hyphen (common practice, no source)."""

WORTH_IT = 0.12
"""Share of the line that must be empty before a word is hyphenated."""

LOOSE = 0.75
"""Share of a justified line that must be filled, or its gaps are holes (common practice, no source)."""

_MARKS = ".,;:!?…)]}»”\"'’"

Syllables = Callable[[str], Sequence[int]]
"""From a word to the places, counted in graphemes, where it may be divided."""


@dataclass(frozen=True)
class Wrapped:
    """One line: characters `start` to `end` (not included), and what it takes."""

    start: int
    end: int
    hyphen: bool
    last: bool
    """The last of its passage: never stretched to justify."""

    natural: float
    """Length up to the last character's advance, the hyphen's not included."""


@dataclass(frozen=True)
class Wrapping:
    """The lines of a passage and how many words had to be broken where no hyphen is allowed."""

    lines: tuple[Wrapped, ...]
    broken: int


def wrap(
    reach: Array,
    start: int,
    end: int,
    breaks: Sequence[Break],
    words: Sequence[tuple[int, int, str]],
    *,
    room: Callable[[int], float],
    hyphen: float,
    syllables: Syllables | None = None,
    justified: bool = False,
) -> Wrapping:
    """Break characters `start` to `end` into lines.

    Parameters
    ----------
    reach : ndarray of shape (n + 1,)
        Sum of the advances of all characters before each.
    breaks
        In the same count of characters as `start`, ascending.
    words
        Start, end and spelling of each run between spaces.
    room
        From the number of the line in this passage, from 0, to its length.
    hyphen
        Advance of a hyphen; 0: the hand has none, so nothing is hyphenated.
    justified
        Lines will be drawn out to the edge: one that would be too loose may end at a poor place.
    """
    options = [b for b in breaks if hyphen or not b.hyphen]
    options.append(Break(end, end))
    places = reach.tolist()
    stops = [places[b.end] for b in options]
    lines: list[Wrapped] = []
    broken = 0
    at = start
    while at < end:
        width = room(len(lines))
        origin = float(reach[at])
        k = bisect_right(stops, origin + width + 1e-9) - 1
        while k >= 0 and options[k].hyphen and stops[k] + hyphen > origin + width:
            k -= 1
        chosen = _best(options, k, at, places, width, LOOSE if justified else 0.0)
        full = chosen is not None and chosen.start >= end
        if not full and syllables is not None and hyphen:
            # also a word that a better place to end would take along, as a name with its title, may be divided
            after = options[k].start if chosen else at
            divided = _divide(reach, after, words, origin + width - hyphen, syllables)
            used = float(reach[chosen.end]) - origin if chosen else 0.0
            if divided is not None and divided > at and width - used > WORTH_IT * width:
                chosen = Break(divided, divided, hyphen=True)
        if chosen is None:
            chosen = _broken(places, at, end, words, width, hyphen)
            broken += 1
        natural = float(reach[chosen.end]) - origin
        lines.append(Wrapped(at, chosen.end, chosen.hyphen, chosen.start >= end, natural))
        at = chosen.start
    return Wrapping(tuple(lines), broken)


def _best(
    options: Sequence[Break], k: int, at: int, places: Sequence[float], width: float, least: float
) -> Break | None:
    """Return the last of the options up to the `k`th that is good and lies after `at`, or else the last of them all.

    What belongs together and is longer than a line is parted at any rate: then it begins on this one. A line that would
    fill less than the share `least` of its room ends at the last of all as well.
    """
    good = k
    while good >= 0 and options[good].poor and options[good].end > at:
        good -= 1
    if 0 <= good < k and options[good].end > at:
        upto = next(b for b in options[k + 1 :] if not b.poor)
        long = places[upto.end] - places[options[good].start] > width
        if long or places[options[good].end] - places[at] < least * width:
            return options[k]
    for i in (good, k):
        if i >= 0 and options[i].end > at:
            return options[i]
    return None


def _broken(
    places: Sequence[float], at: int, end: int, words: Sequence[tuple[int, int, str]], width: float, hyphen: float
) -> Break:
    """Return where to break a word that is longer than a line: not just before its end; with a hyphen in letters."""
    first, last, spelling = next((w for w in words if w[0] <= at < w[1]), (at, end, ""))
    plain = hyphen > 0 and spelling.strip(_MARKS).isalpha() and len(characters(spelling)) == last - first
    room = width - (hyphen if plain else 0.0)
    cut = bisect_right(places, places[at] + room, at, end) - 1
    if last - cut < MIN_AFTER and last - MIN_AFTER >= at + MIN_BEFORE:
        cut = last - MIN_AFTER
    cut = max(at + 1, cut)
    return Break(cut, cut, hyphen=plain)


def _divide(
    reach: Array, start: int, words: Sequence[tuple[int, int, str]], limit: float, syllables: Syllables
) -> int | None:
    """Return where to divide the word that holds or follows `start` so that it ends before `limit`; None: nowhere."""
    k = bisect_left(words, start, key=lambda w: w[1] - 1)
    if k >= len(words):
        return None
    first, last, spelling = words[k]
    bare = spelling.rstrip(_MARKS)
    if not bare.isalpha() or len(characters(spelling)) != last - first:
        return None
    letters = len(characters(bare))
    best = None
    for p in syllables(bare):
        if MIN_BEFORE <= p <= letters - MIN_AFTER and first + p > start and reach[first + p] <= limit:
            best = first + p
    return best


def reach_of(advance: Array) -> Array:
    """Return where each character begins, counted from the first; shape (n + 1,)."""
    return np.concatenate([[0.0], np.cumsum(advance)])
