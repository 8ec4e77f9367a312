"""Whether two readings of one page show the same paper, as far as pens and writing tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ownhand.hands.decisions import INK_MOVED_MM, seen
from skeleton.attempt import Attempt

PEN_RATIO = 1.3
"""Two scans of one pen differ by a tenth (tests), a fine pen and a broad one by half and more (common practice, no
source)."""

FEWEST = 6
"""Cells written in both that tell."""

MOVED_SHARE = 0.5
"""From this share of them on with ink in another place, it is other writing. A better scan of the same paper moves
bounds by hundredths of a millimetre."""


def unlike(before: Sequence[Attempt], now: Sequence[Attempt]) -> str:
    """Return in words why two readings of a page are not of the same paper; '' if they may be."""
    old = {a.id: a for a in before if a.status != "blank" and a.strokes}
    pairs = [(old[a.id], a) for a in now if a.id in old and a.status != "blank" and a.strokes]
    if len(pairs) < FEWEST:
        return ""
    pens = [float(np.median([pair[k].pen_mm for pair in pairs])) for k in (0, 1)]
    if min(pens) > 0 and max(pens) / min(pens) > PEN_RATIO:
        return f"it was read before, written with a pen of {pens[0]:.2f} mm, and this one is {pens[1]:.2f} mm broad"
    moved = sum(_moved(a, b) for a, b in pairs)
    if moved > MOVED_SHARE * len(pairs):
        return f"it was read before, and {moved} of {len(pairs)} cells hold other writing now"
    return ""


def _moved(a: Attempt, b: Attempt) -> bool:
    """Return whether the ink lies elsewhere; one stray stroke alone moves no more than two sides of its bounds."""
    apart = np.abs(np.array(seen(a.strokes)[:4]) - np.array(seen(b.strokes)[:4]))
    return int(np.count_nonzero(apart > INK_MOVED_MM)) >= 3
