"""How letters of one word stand beside each other on the ruled lines: joined ones, and those where the pen was lifted.

All neighbours count that were read, those too that do not become letters of the font: these are the narrower ones
(four writers of UNIPEN train_r01_v07, Guyon et al., ICPR 1994: by .01 to .12 x-heights a joined pair).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fontbuild.joins import IN_TEXT, WAYS, next_in_word
from fontbuild.letter_steps import middle_and_spread, steps_of
from skeleton.attempt import Attempt

LEAST_PAIRS = 20
"""Fewer than these tell nothing."""

QUARTILES_SD = 1.349
"""Standard deviations between the quartiles of a normal distribution."""


@dataclass(frozen=True)
class _Letter:
    """Where a letter's lines lie along the page, x-heights of the sheet."""

    left: float
    right: float
    middle: float
    spread: float
    leaves: bool
    """Whether the pen stays down to the next letter."""


def letters_on_lines(attempts: Iterable[Attempt], places: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    """Return the gap where the pen was lifted, and the steps where it stayed down, x-heights of the sheet.

    `pen_up_gap` between the boxes of neighbours' lines and its standard deviation, `pen_up_gap_sd`, both by quartiles:
    a letter that was cut wrongly holds a part of its neighbour, so that their boxes lie over each other. `step`,
    `step_share` and `step_sd` as in `fontbuild.letter_steps`. What too few pairs tell is absent.

    Parameters
    ----------
    places
        By attempt id, where the origin of its strokes lies on the page, mm.
    """
    known = {
        a.id: _letter(a, places[a.id][0])
        for a in attempts
        if a.allograph in IN_TEXT and a.char.isalpha() and a.id in places and any(len(s.points_mm) for s in a.strokes)
    }
    gaps, rows = [], []
    for key, one in known.items():
        two = known.get(next_in_word(key))
        if two is not None and one.leaves:
            rows.append((two.middle - one.middle, one.spread + two.spread))
        elif two is not None:
            gaps.append(two.left - one.right)
    out = steps_of(rows)
    if len(gaps) >= LEAST_PAIRS:
        low, middle, high = np.quantile(gaps, [0.25, 0.5, 0.75]).tolist()
        out |= {"pen_up_gap": middle, "pen_up_gap_sd": (high - low) / QUARTILES_SD}
    return out


def _letter(attempt: Attempt, at_mm: float) -> _Letter:
    lines = [s.points_mm for s in attempt.strokes if len(s.points_mm)]
    x = np.concatenate([line[:, 0] for line in lines])
    middle, spread = middle_and_spread(lines)
    left, right, middle = ((at_mm + float(v)) / attempt.x_height_mm for v in (x.min(), x.max(), middle))
    leaves = attempt.allograph in (WAYS[False, True], WAYS[True, True])
    return _Letter(left, right, middle, spread / attempt.x_height_mm, leaves)
