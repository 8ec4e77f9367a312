"""Which readings of a character are right."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from tests.bench.trace_score import gap, spread

WITHIN_MM = 0.35


def rightness(
    readings: Sequence[Sequence[Points]], true: Sequence[Points], within_mm: float = WITHIN_MM
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which readings are right in their paths, and which in order and direction too, each shape (readings,).

    readings, true: strokes, (n, 2) each, mm, in one frame. A stroke that several readings share is compared once, if it
    is the same array.
    """
    want = [spread(s) for s in true]
    seen: dict[int, tuple[NDArray[np.bool_], NDArray[np.bool_]]] = {}
    paths, full = np.zeros(len(readings), bool), np.zeros(len(readings), bool)
    for i, strokes in enumerate(readings):
        if len(strokes) != len(want):
            continue
        for s in strokes:
            if id(s) not in seen:
                got = spread(s)
                ahead, back = ([gap(g, q) <= within_mm for q in want] for g in (got, got[::-1]))
                seen[id(s)] = np.array(ahead), np.array(back)
        both = np.array([seen[id(s)] for s in strokes])
        left = list(range(len(want)))
        for row in both.any(axis=1):
            hit = next((j for j in left if row[j]), None)
            if hit is not None:
                left.remove(hit)
        paths[i] = not left
        full[i] = paths[i] and bool(np.diag(both[:, 0]).all())
    return paths, full
