"""Shapes for the letters of joined words: chosen over the whole word, so that what goes out suits what comes in.

First it is drawn by lot, as often as the hand does it, where the pen stays down; then the cheapest row of shapes is
found (Viterbi 1967): of each letter those that were written with such joins, seldom used of late, whose entry lies
where the one before goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fontbuild.joins import JOINS, next_in_word, stays_down
from ownhand.composer.glyphs.variant_bank import Index, Pool, VariantBank
from ownhand.composer.glyphs.variant_selector import FRESH

CANDIDATES = 10
"""Shapes of a letter that are looked at, the longest unused ones first."""

OTHER_JOINS = 3.0
"""Cost of a shape that was written with other joins than the word wants."""

AGAIN = 20.0
"""Cost of the shape used last; the one before costs half, and so on: whoever writes a word twice does not draw it the
same way, and of several ways in which letters were written beside each other none is used much more than the others."""

STEP, TURN = 0.12, 35.0
"""x-heights between exit and entry, and degrees between their directions, that cost 1, by the square."""

OUT_OF_STEP, FARTHEST = 0.3, 4.0
"""x-heights by which the step between two letters' middles is not the hand's own (`fontbuild.letter_steps`) that cost
1, by the square, and what that costs at most."""


LAPS, LAPPING, ACROSS = 0.3, 0.12, 0.6
"""x-heights by which two letters' boxes may lie over each other where one goes out into the other, at no cost; how much
more costs 1, by the square; and from how much the pen is lifted rather than led across a letter."""


TOGETHER = 5.0
"""What is taken off the cost where two letters were written in one word, one after the other, joined where the pen is
to stay down and lifted where not: no join suits better than the one that was written, and where two were cut in the
wrong place, their line is still whole. Letters that were joined do not stand so where the pen is to be lifted: a hand
that joins now and prints then would join nearly all that it has joined once."""

MEET = 0.15
"""x-heights between where one letter goes out and the next one comes in from which they cannot be where the two met."""

ALONE = 3.0
"""Cost of a letter that stands in words alone (`Font.in_words`) on each side where it stands beside another one, or at
a word's end though it was cut from another one there: a part of it may have gone to that one."""


MOSTLY_FROM = 0.38
"""Share of its neighbouring letters from which a hand joins most of what it writes, so that its letters are to stand
beside those that they were written with. Of hands that seldom join the letters that were cut out of words are few and
worse than those from cells: two of UNIPEN's (donor kai, shares of .19 and .27) are told from their own words by an area
under the curve of .59 and .59 (pictures, strokes) where neighbours are preferred, of .53 and .59 where not; one that is
read to join .40 by .55 and .74 where they are, by .59 and .68 where not; hands from .42 on (donor cee) gain by it."""


@dataclass(frozen=True, eq=False)
class Chosen:
    """The shapes of n characters; every array has shape (n,)."""

    shape: Index
    other: Index
    """The shape that is mixed in."""

    share: NDArray[np.float64]
    """How much of that."""

    held: NDArray[np.bool_]
    """Where the pen stays down to the next."""

    together: NDArray[np.bool_]
    """... and both were written so, one after the other."""

    led: NDArray[np.bool_]
    """Where it stays down though one of the two was not written so: a line leads from the one to the other."""


class JoinedWords:
    """Remembers what was written on the pages of one composition."""

    def __init__(
        self, bank: VariantBank, rng: np.random.Generator, rhythm: Mapping[str, float], *, x_height: float, mixing: bool
    ) -> None:
        self._bank, self._rng, self._rhythm = bank, rng, rhythm
        self._x, self._mixing = x_height, mixing
        self.mostly = rhythm.get(JOINS, 0.0) >= MOSTLY_FROM
        """Whether the hand joins most of what it writes."""

        self._used: dict[int, int] = {}
        self._written: dict[str, dict[str, int]] = {}
        self._source: dict[int, str] = {}
        self._loose: set[int] = set()
        self._beside: dict[tuple[str, str], list[tuple[int, int]]] = {}
        self._time = 0

    def choose(self, chars: Sequence[str], inked: NDArray[np.bool_]) -> Chosen:
        """Return the shapes of characters; one that is not inked parts words, its shape is 0."""
        n = len(chars)
        shape, other, share = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n)
        held, together, led = np.zeros(n, bool), np.zeros(n, bool), np.zeros(n, bool)
        for char in dict.fromkeys(c for c, ink in zip(chars, inked, strict=True) if ink):
            self._places(char)
        self._bank.settle()
        start = 0
        while start < n:
            end = start
            while end < n and inked[end]:
                end += 1
            if end > start:
                found, held[start:end], together[start:end], led[start:end] = self._word(chars[start:end])
                for i, s in enumerate(found, start):
                    pool = self._bank.pool(chars[i])
                    shape[i] = other[i] = s
                    partners = () if pool.joins or s in self._loose else pool.partners[s - pool.first]
                    if self._mixing and partners:
                        other[i] = pool.first + partners[int(self._rng.integers(len(partners)))]
                        share[i] = self._rng.uniform(0, FRESH)
            start = end + 1
        return Chosen(shape, other, share, held, together, led)

    def _word(self, word: Sequence[str]) -> tuple[list[int], list[bool], list[bool], list[bool]]:
        n = len(word)
        wanted = [
            a.isalpha() and b.isalpha() and bool(self._rng.random() < stays_down(self._rhythm, a, b))
            for a, b in pairwise(word)
        ] + [False]
        options, beside = self._options(word)
        entry, leaves = self._bank.column("entry"), self._bank.column("exit")
        total: list[NDArray[np.float64]] = []
        back: list[NDArray[np.int64]] = []
        for k in range(n):
            mine = options[k]
            cost = np.array([self._again(s) for s in mine.tolist()]) + 0.3 * self._rng.random(len(mine))
            lone = OTHER_JOINS + ALONE * self._are_loose(mine)
            cost += lone * (leaves[mine] > 0) * (k == n - 1)
            if not k:
                total.append(cost + lone * (entry[mine] > 0))
                back.append(np.zeros(len(mine), np.int64))
                continue
            last = options[k - 1]
            step = self._steps(last, mine) if wanted[k - 1] else np.zeros((len(last), len(mine)))
            out = OTHER_JOINS * ((leaves[last] > 0) != wanted[k - 1]) + ALONE * self._are_loose(last)
            into = OTHER_JOINS * ((entry[mine] > 0) != wanted[k - 1]) + ALONE * self._are_loose(mine)
            step = step + out[:, None] + into[None]
            one, two = beside[k - 1]
            joined = (leaves[last[one]] > 0) & (entry[mine[two]] > 0)
            step[one[joined == wanted[k - 1]], two[joined == wanted[k - 1]]] = -TOGETHER
            ways = total[-1][:, None] + step
            back.append(np.asarray(ways.argmin(axis=0), np.int64))
            total.append(ways.min(axis=0) + cost)
        i = int(total[-1].argmin())
        found = []
        for k in range(n - 1, -1, -1):
            found.append(int(options[k][i]))
            i = int(back[k][i])
        found.reverse()
        for s in found:
            self._time += 1
            self._used[s] = self._time
        may = [wanted[k] and leaves[found[k]] > 0 and entry[found[k + 1]] > 0 for k in range(n)]
        together = [may[k] and self._follows(found[k], found[k + 1]) for k in range(n)]
        held = [together[k] or (may[k] and bool(self._laps(found[k], found[k + 1]) < ACROSS)) for k in range(n)]
        return found, held, together, [wanted[k] and not may[k] for k in range(n)]

    def _places(self, char: str) -> dict[str, int]:
        """Return the written shapes of a character by the ids of their attempts; none in a hand that seldom joins."""
        if char not in self._written:
            pool = self._bank.pool(char)
            self._written[char] = {}
            if self.mostly:
                alone = self._bank.in_words(char)
                self._loose |= set(alone.values())
                self._written[char] = alone | {key: pool.first + k for k, key in enumerate(pool.sources) if key}
            self._source |= {shape: key for key, shape in self._written[char].items()}
        return self._written[char]

    def _follows(self, one: int, other: int) -> bool:
        """Tell whether two shapes were written one after the other, and meet."""
        up = self._bank.column("exit_y")[one] - self._bank.column("entry_y")[other]
        return next_in_word(self._source.get(one, "")) == self._source.get(other) and bool(abs(up) <= MEET * self._x)

    def _are_loose(self, shapes: Index) -> NDArray[np.float64]:
        return np.array([float(s in self._loose) for s in shapes.tolist()])

    def _options(self, word: Sequence[str]) -> tuple[list[Index], list[tuple[Index, Index]]]:
        """Return the shapes that are looked at, by letter, and which of two letters' were written in one word.

        The latter as places in the lists of both.
        """
        pairs = [self._neighbours(a, b) for a, b in pairwise(word)]
        out = []
        for k, char in enumerate(word):
            own = [s for s, _ in pairs[k]] if k < len(pairs) else []
            own += [s for _, s in pairs[k - 1]] if k else []
            out.append(np.union1d(self._unused(self._bank.pool(char)), np.array(own, np.int64)))
        beside = []
        for k, found in enumerate(pairs):
            two = np.array(found, np.int64).reshape(-1, 2)
            beside.append((np.searchsorted(out[k], two[:, 0]), np.searchsorted(out[k + 1], two[:, 1])))
        return out, beside

    def _neighbours(self, one: str, other: str) -> list[tuple[int, int]]:
        """Return the shapes of two characters that were written in one word, one after the other."""
        if (one, other) not in self._beside:
            column = self._bank.column
            entry, leaves = column("entry") > 0, column("exit") > 0
            up, down = column("exit_y"), column("entry_y")
            after = self._places(other)
            found = [(s, after[t]) for key, s in self._places(one).items() if (t := next_in_word(key)) in after]
            # cells stand beside each other too, and of two that were joined the ends may have been lost
            self._beside[one, other] = [
                (s, t)
                for s, t in found
                if (entry[s] or leaves[s] or entry[t] or leaves[t])
                and not (leaves[s] and entry[t] and abs(up[s] - down[t]) > MEET * self._x)
            ]
        return self._beside[one, other]

    def _unused(self, pool: Pool) -> Index:
        """Return those of a character's shapes that were not used for longest, of each way of joining.

        Letters of joined words are taken as they were written: where one was cut from the next differs, and a blend of
        two goes out where neither did.
        """
        every = np.arange(pool.first, pool.first + (pool.written if pool.joins else pool.size))
        waited = np.array([self._used.get(s, 0) for s in every.tolist()]) + self._rng.random(len(every))
        ways = self._bank.column("entry")[every] + 2 * self._bank.column("exit")[every]
        kept = []
        for way in np.unique(ways):
            own = np.flatnonzero(ways == way)
            kept.append(own[np.argsort(waited[own], kind="stable")][:CANDIDATES])
        return np.asarray(every[np.concatenate(kept)], np.int64)

    def _again(self, shape: int) -> float:
        return AGAIN / (1 + self._time - self._used[shape]) if shape in self._used else 0.0

    def _steps(self, before: Index, after: Index) -> NDArray[np.float64]:
        """Return what it costs to go on from each shape to each other."""
        column = self._bank.column
        up = (column("exit_y")[before][:, None] - column("entry_y")[after][None]) / (STEP * self._x)
        turn = column("exit_deg")[before][:, None] - column("entry_deg")[after][None]
        turn = ((turn + 180.0) % 360.0 - 180.0) / TURN
        over = np.maximum(self._laps(before[:, None], after[None]) - LAPS, 0.0) / LAPPING
        cost: NDArray[np.float64] = up**2 + np.minimum(turn**2, 4.0) + over**2
        return cost + np.minimum(self._out_of_step(before, after) ** 2, FARTHEST)

    def _out_of_step(self, before: Index, after: Index) -> NDArray[np.float64]:
        """Return how far the next letter's middle is from where the hand sets it, if the one goes out into it."""
        if "step" not in self._rhythm:
            return np.zeros((len(before), len(after)))
        column, share = self._bank.column, self._rhythm["step_share"]
        ahead = (column("exit_x") - column("middle") - share * column("spread"))[before]
        beyond = (column("middle") - share * column("spread"))[after]
        off: NDArray[np.float64] = (ahead[:, None] + beyond[None] - self._rhythm["step"]) / (OUT_OF_STEP * self._x)
        return off

    def _laps(self, before: Index | int, after: Index | int) -> NDArray[np.float64]:
        """Return how far two letters' boxes lie over each other where the one's exit is the other's entry, x-heights.

        An exit or an entry in the midst of its letter is one that was cut out wrongly.
        """
        column = self._bank.column
        beyond = column("right")[before] - column("exit_x")[before]
        laps: NDArray[np.float64] = (beyond - np.minimum(column("left")[after], 0.0)) / self._x
        return laps
