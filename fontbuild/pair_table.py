"""Kerning as a table: a font of 150,000 pairs is loaded without making a dictionary of them.

That takes a tenth of a second, and a card asks for some hundred pairs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray


class PairTable(Mapping[tuple[str, str], float]):
    """Values by pairs of characters, read-only.

    Parameters
    ----------
    chars
        All characters that stand in pairs.
    pairs : ndarray of int of shape (n, 2)
        Each pair by the places of its two characters in `chars`; no pair twice.
    values : ndarray of shape (n,)
        The value of each pair; font units for kerning.

    Raises
    ------
    ValueError
        If pairs and values do not hold together.

    Examples
    --------
    >>> table = PairTable("AV", np.array([[0, 1]]), np.array([-80.0]))
    >>> table["A", "V"], table.get(("V", "A"), 0.0), dict(table)
    (-80.0, 0.0, {('A', 'V'): -80.0})
    """

    def __init__(self, chars: Sequence[str], pairs: NDArray[np.int64], values: NDArray[np.float64]) -> None:
        if pairs.shape != (len(values), 2) or (len(pairs) and not 0 <= pairs.min() <= pairs.max() < len(chars)):
            raise ValueError("pairs and values do not hold together")
        self._chars, self._pairs, self._values = list(chars), pairs, values
        self._places = {char: i for i, char in enumerate(chars)}
        self._rows = np.full((len(chars), len(chars)), -1, np.int64)
        self._rows[tuple(pairs.T)] = np.arange(len(pairs))

    def __getitem__(self, pair: tuple[str, str]) -> float:
        first, second = pair
        row = self._rows.item(self._places[first], self._places[second])
        if row < 0:
            raise KeyError(pair)
        return self._values.item(row)

    def get(self, pair: Any, default: Any = None) -> Any:
        """Return the value of a `pair` of characters, or `default`; misses cost no exception."""
        first, second = pair
        i, j = self._places.get(first), self._places.get(second)
        row = -1 if i is None or j is None else self._rows.item(i, j)
        return default if row < 0 else self._values.item(row)

    def __iter__(self) -> Iterator[tuple[str, str]]:
        for first, second in self._pairs.tolist():
            yield self._chars[first], self._chars[second]

    def __len__(self) -> int:
        return len(self._pairs)
