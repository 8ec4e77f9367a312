"""Where the pen comes into a letter from the one before, and where it goes on to the next.

Lengths are font units, y up.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT
from ownhand.composer.variation.handwriting_statistics import Array


def ends_of(glyph: Glyph) -> tuple[int, int]:
    """Return the stroke by which the pen comes in from the letter before, and that by which it goes on; -1 for none."""
    places = (
        (glyph.anchors.get(ENTRY), [s[0] for s in glyph.strokes]),
        (glyph.anchors.get(EXIT), [s[-1] for s in glyph.strokes]),
    )
    first, last = (
        int(np.argmin([float(np.hypot(*(p - at))) for p in points])) if at is not None and points else -1
        for at, points in places
    )
    return first, last


def join_figures(points: Array, sizes: Sequence[int], first: int, last: int) -> tuple[float, ...]:
    """Return the last seven of `variant_bank.COLUMNS` for the points of all strokes; see `ends_of`."""
    if first < 0 and last < 0:
        return (0.0,) * 7
    strokes = np.split(points, np.cumsum(sizes)[:-1])
    come, go = strokes[max(first, 0)], strokes[last]

    def degrees(d: Array) -> float:
        return float(np.degrees(np.arctan2(d[1], d[0])))

    return (
        float(first >= 0), float(last >= 0), float(come[0, 1]), degrees(come[min(3, len(come) - 1)] - come[0]),
        float(go[-1, 0]), float(go[-1, 1]), degrees(go[-1] - go[-min(4, len(go))]),
    )  # fmt: skip
