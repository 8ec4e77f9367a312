"""Numbers of rows in words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

SHOWN = 12
"""Ranges that are listed; of further ones only how many rows."""

MOST_ROWS = 1_048_576
"""Rows of a sheet: as many as spreadsheet programs have."""


def ranges(numbers: Sequence[int]) -> str:
    """Return ascending numbers in words, neighbours together.

    Examples
    --------
    >>> ranges([2, 3, 4, 7, 9])
    '2-4, 7, 9'
    """
    if not numbers:
        return ""
    cuts = [i for i, (a, b) in enumerate(pairwise(numbers), 1) if b != a + 1]
    runs = [numbers[i:k] for i, k in zip([0, *cuts], [*cuts, len(numbers)], strict=True)]
    told = [f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    left = sum(len(run) for run in runs[SHOWN:])
    return ", ".join(told[:SHOWN]) + (f" and {left} more" if left else "")


def numbers_in(spans: Sequence[tuple[int, int]], last: int) -> list[int]:
    """Return the numbers that lie in any span, ends included, up to `last`, ascending.

    Examples
    --------
    >>> numbers_in([(7, 9), (3, 4), (8, 40)], 11)
    [3, 4, 7, 8, 9, 10, 11]
    """
    out: list[int] = []
    for first, end in sorted(spans):
        begin = max(first, out[-1] + 1) if out else first
        out += range(begin, min(end, last, MOST_ROWS) + 1)
    return out
