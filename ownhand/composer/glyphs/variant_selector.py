"""Which shape each letter gets: none twice within sight, doubled letters unlike each other, all used evenly.

Of a character's shapes, ordered by how long ago each was written, only the longer-ago half is open to choice; of
three drawn from it, the one least like the last two is taken, or the oldest when it has waited long. So every shape is
used before any is used much more, and a shape comes back after at least half of the pool.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ownhand.composer.glyphs.variant_bank import Index, Pool, VariantBank

CANDIDATES = 3
LONGEST_WAIT = 1
"""Choices after which the oldest shape has its turn."""

FRESH = 0.15
"""Largest share of a second shape that is mixed into each letter, so that even later no shape returns."""


class VariantSelector:
    """Remembers what was written on the pages of one composition."""

    def __init__(self, bank: VariantBank, rng: np.random.Generator, *, variants: float, blends: float) -> None:
        self._bank, self._rng = bank, rng
        self._variants, self._blends = variants, blends
        self._queues: dict[str, list[int]] = {}
        self._last: dict[str, tuple[int, int]] = {}
        self._passed: dict[str, int] = {}

    def choose(self, chars: Sequence[str]) -> tuple[Index, Index, np.ndarray]:
        """Return for each character its shape, the shape mixed into it, and how much of that.

        Spaces and '' must have been taken out.
        """
        n = len(chars)
        draws = self._rng.integers(0, 1 << 30, size=(n, CANDIDATES + 1)).tolist()
        first, second = [0] * n, [0] * n
        mixing = self._mixing
        pools = {char: self._bank.pool(char) for char in dict.fromkeys(chars)}
        for i, char in enumerate(chars):
            pool = pools[char]
            shape = self._next(pool, draws[i])
            partners = pool.partners[shape]
            other = partners[draws[i][CANDIDATES] % len(partners)] if partners and mixing else shape
            first[i], second[i] = pool.first + shape, pool.first + other
        share = self._rng.uniform(0, FRESH, n) * min(1.0, self._blends) if mixing else np.zeros(n)
        return np.array(first, np.int64), np.array(second, np.int64), share

    @property
    def _mixing(self) -> bool:
        return self._variants > 0 and self._blends > 0

    def _next(self, pool: Pool, draws: list[int]) -> int:
        queue = self._queues.get(pool.char)
        if queue is None:
            queue = self._queues[pool.char] = self._start(pool)
        if len(queue) == 1:
            return queue[0]
        open_to_choice = max(1, len(queue) // 2)
        place = draws[0] % open_to_choice
        last = self._last.get(pool.char)
        if last is not None and open_to_choice > 1:
            newest, older = pool.apart[last[0]], pool.apart[last[1]]
            best = -1.0
            for draw in draws[:CANDIDATES]:
                at = draw % open_to_choice
                shape = queue[at]
                score = min(newest[shape], 1.5 * older[shape])
                if score > best:
                    best, place = score, at
        # lest a shape that is like most others be passed over for ever
        passed = self._passed.get(pool.char, 0)
        if passed >= min(open_to_choice, LONGEST_WAIT):
            place = 0
        self._passed[pool.char] = 0 if place == 0 else passed + 1
        shape = queue.pop(place)
        queue.append(shape)
        self._last[pool.char] = (shape, last[0] if last else shape)
        return shape

    def _start(self, pool: Pool) -> list[int]:
        size = pool.size if self._blends > 0 else pool.written
        size = max(1, round(min(1.0, self._variants) * size))
        queue = list(range(size))
        if size > 1:
            self._rng.shuffle(queue)
        return queue
