"""Shapes for the letters of joined words: chosen over the whole word, so that what goes out suits what comes in.

First it is drawn by lot, as often as the hand does it, where the pen stays down; then the cheapest row of shapes is
found (Viterbi 1967): of each letter those that were written with such joins, seldom used of late, whose entry lies
where the one before goes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fontbuild.joins import stays_down
from ownhand.composer.glyphs.variant_bank import Index, Pool, VariantBank
from ownhand.composer.glyphs.variant_selector import FRESH

CANDIDATES = 10
"""Shapes of a letter that are looked at, the longest unused ones first."""

OTHER_JOINS = 3.0
"""Cost of a shape that was written with other joins than the word wants."""

AGAIN = 1.2
"""Cost of the shape used last; the one before costs half, and so on."""

STEP, TURN = 0.12, 35.0
"""x-heights between exit and entry, and degrees between their directions, that cost 1, by the square."""


LAPS, LAPPING, ACROSS = 0.3, 0.12, 0.6
"""x-heights by which two letters' boxes may lie over each other where one goes out into the other, at no cost; how much
more costs 1, by the square; and from how much the pen is lifted rather than led across a letter."""


class JoinedWords:
    """Remembers what was written on the pages of one composition."""

    def __init__(
        self, bank: VariantBank, rng: np.random.Generator, rhythm: Mapping[str, float], *, x_height: float, mixing: bool
    ) -> None:
        self._bank, self._rng, self._rhythm = bank, rng, rhythm
        self._x, self._mixing = x_height, mixing
        self._used: dict[int, int] = {}
        self._time = 0

    def choose(
        self, chars: Sequence[str], inked: NDArray[np.bool_]
    ) -> tuple[Index, Index, NDArray[np.float64], NDArray[np.bool_]]:
        """Return for each character its shape, the shape mixed into it, how much of that, and where the pen goes on.

        A character that is not inked parts words; its shape is 0.
        """
        n = len(chars)
        shape, other, share = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n)
        held = np.zeros(n, bool)
        for char in dict.fromkeys(c for c, ink in zip(chars, inked, strict=True) if ink):
            self._bank.pool(char)
        self._bank.settle()
        start = 0
        while start < n:
            end = start
            while end < n and inked[end]:
                end += 1
            if end > start:
                found, joined = self._word(chars[start:end])
                held[start:end] = joined
                for i, s in enumerate(found, start):
                    pool = self._bank.pool(chars[i])
                    partners = pool.partners[s - pool.first]
                    shape[i] = other[i] = s
                    if self._mixing and partners:
                        other[i] = pool.first + partners[int(self._rng.integers(len(partners)))]
                        share[i] = self._rng.uniform(0, FRESH)
            start = end + 1
        return shape, other, share, held

    def _word(self, word: Sequence[str]) -> tuple[list[int], list[bool]]:
        n = len(word)
        wanted = [
            a.isalpha() and b.isalpha() and bool(self._rng.random() < stays_down(self._rhythm, a, b))
            for a, b in pairwise(word)
        ] + [False]
        options = [self._options(self._bank.pool(c)) for c in word]
        entry, leaves = self._bank.column("entry"), self._bank.column("exit")
        total: list[NDArray[np.float64]] = []
        back: list[NDArray[np.int64]] = []
        for k in range(n):
            mine = options[k]
            before = k > 0 and wanted[k - 1]
            cost = OTHER_JOINS * ((entry[mine] > 0) != before) + OTHER_JOINS * ((leaves[mine] > 0) != wanted[k])
            cost = cost + np.array([self._again(s) for s in mine.tolist()]) + 0.3 * self._rng.random(len(mine))
            if not k:
                total.append(cost)
                back.append(np.zeros(len(mine), np.int64))
                continue
            step = self._steps(options[k - 1], mine) if before else np.zeros((len(options[k - 1]), len(mine)))
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
        held = [
            k + 1 < n
            and wanted[k]
            and leaves[found[k]] > 0
            and entry[found[k + 1]] > 0
            and self._laps(found[k], found[k + 1]) < ACROSS
            for k in range(n)
        ]
        return found, [bool(h) for h in held]

    def _options(self, pool: Pool) -> Index:
        every = np.arange(pool.first, pool.first + pool.size)
        waited = np.array([self._used.get(s, 0) for s in every.tolist()]) + self._rng.random(pool.size)
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
        return cost

    def _laps(self, before: Index | int, after: Index | int) -> NDArray[np.float64]:
        """Return how far two letters' boxes lie over each other where the one's exit is the other's entry, x-heights.

        An exit or an entry in the midst of its letter is one that was cut out wrongly.
        """
        column = self._bank.column
        beyond = column("right")[before] - column("exit_x")[before]
        laps: NDArray[np.float64] = (beyond - np.minimum(column("left")[after], 0.0)) / self._x
        return laps
