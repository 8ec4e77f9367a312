"""Tabs: columns of lines under each other, or stops that are evenly apart. Lengths are font units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ownhand.composer.layout.letters import Letters
from ownhand.composer.text.characters import TAB

TAB_STOP = 6.0
"""x-heights between stops, where tabs make no columns."""

COLUMN_STEP, COLUMN_GAP = 3.0, 1.5
"""x-heights: columns begin at multiples of the one, and at least the other after what is in the column before (common
practice, no source)."""


def with_tabs(letters: Letters, start: int, end: int, step: float) -> None:
    """Give the tabs of one passage the advance that reaches the next stop; changes `letters` in place.

    Stops are `step` font units apart.
    """
    at = 0.0
    for i in range(start, end):
        if letters.chars[i] == TAB:
            letters.advance[i] = (np.floor(at / step + 0.15) + 1) * step - at
        at += letters.advance[i]


def with_columns(letters: Letters, passages: Sequence[tuple[int, int]], most: float, x_height: float) -> None:
    """Give the tabs of passages under each other the advances that make columns of them; changes `letters` in place.

    A column is as wide as its widest entry needs, in steps, so that several tables stand alike. What is wider than
    `most` font units is no table: its tabs lead to stops that are evenly apart.
    """
    rows = [_entries(letters, start, end) for start, end in passages]
    at = np.zeros(len(rows))
    stops = []
    for column in range(max(map(len, rows), default=1) - 1):
        followed = [k for k, row in enumerate(rows) if len(row) > column + 1]
        ends = [at[k] + rows[k][column][1] for k in followed]
        stops.append(
            float(np.ceil((max(ends) + COLUMN_GAP * x_height) / (COLUMN_STEP * x_height))) * COLUMN_STEP * x_height
        )
        at[followed] = stops[-1]
    if max((at[k] + row[-1][1] for k, row in enumerate(rows)), default=0.0) > most:
        for start, end in passages:
            with_tabs(letters, start, end, TAB_STOP * x_height)
        return
    for row in rows:
        before = 0.0
        for (tab, width), stop in zip(row[:-1], stops, strict=False):
            letters.advance[tab] = stop - before - width
            before = stop


def _entries(letters: Letters, start: int, end: int) -> list[tuple[int, float]]:
    """Return the entries that tabs part: where the tab after each stands, and its width; the last ends the passage."""
    tabs = [i for i in range(start, end) if letters.chars[i] == TAB]
    begins = [start, *(i + 1 for i in tabs)]
    ends = [*tabs, end]
    return [(b, float(letters.advance[a:b].sum())) for a, b in zip(begins, ends, strict=True)]
