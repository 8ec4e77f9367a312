"""Which pass of the pen is which, where several made one broad line: other orders in which the points may be passed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from capture.units import Points

MIN_LEG_POINTS = 3
"""Points of a leg from which it is worth exchanging."""


def exchanged_orders(
    points: Points, stroke: NDArray[np.int64], met: NDArray[np.int64], wide: float
) -> Iterator[NDArray[np.int64]]:
    """Yield orders of all points with a narrow loop turned, or two stretches between crossings in exchanged places.

    points: shape (n, 2), of all strokes; stroke: shape (n,), the number of each point's stroke; met: shape (k, 2), the
    segments that cross (`residual_ink.crossings`); wide: distance, px, up to which two stretches are one blot. Each
    order has shape (n,). Few are tried, so each is made when it is asked for.
    """
    from skeleton.fitting.residual_ink import gap

    p, n = points, np.arange(len(points))
    for i, j in met:
        half = (j - i) // 2
        if half < MIN_LEG_POINTS:
            continue
        if stroke[i] == stroke[j] and gap(p[i + 1 : i + 1 + half], p[j - half : j + 1], wide) <= wide:
            yield np.concatenate([n[: i + 1], n[i + 1 : j + 1][::-1], n[j + 1 :]])
    for a, (i, j) in enumerate(met):
        for k, m in met[a + 1 :]:
            low, high = min(j, m), max(j, m)
            if not (i + MIN_LEG_POINTS < k < low < high) or stroke[i] != stroke[k] or stroke[j] != stroke[m]:
                continue
            one, other = n[i + 1 : k + 1], n[low + 1 : high + 1]
            if gap(p[one], p[other], wide) > wide:
                continue
            # of two stretches unlike in length one gives up points and one doubles some, so that strokes keep theirs
            one_new = other[np.round(np.linspace(0, len(other) - 1, len(one))).astype(int)]
            other_new = one[np.round(np.linspace(0, len(one) - 1, len(other))).astype(int)]
            if m < j:
                one_new, other_new = one_new[::-1], other_new[::-1]
            yield np.concatenate([n[: i + 1], one_new, n[k + 1 : low + 1], other_new, n[high + 1 :]])
