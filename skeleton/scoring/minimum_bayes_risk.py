"""The reading with the least expected loss (minimum Bayes risk) among likely ones."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from skeleton.matching.stroke_distance import Shape, stroke_distances

DISAGREEMENT_LIMIT_SIZES = 0.1
"""Disagreement, in sizes of the character, from which two readings have nothing to say for each other."""


def minimum_bayes_risk(shape: Callable[[int], Shape], odds: NDArray[np.float64]) -> int:
    """Return which of several readings is expected to be most like what was written (least Bayes risk).

    Readings that differ in the length of a hook share the odds of one way of writing; the likeliest single reading may
    be of another way. `shape` gives the shape of a reading; the unlikely ones are not asked for.
    """
    likely = np.flatnonzero(odds > 1e-3 * odds.max()).tolist()
    if len(likely) < 3:
        return int(np.argmax(odds))
    some = [shape(i) for i in likely]
    alike = np.maximum(1 - stroke_distances(some, some) / DISAGREEMENT_LIMIT_SIZES, 0) @ odds[likely]
    return int(likely[int(np.argmax(alike))])
