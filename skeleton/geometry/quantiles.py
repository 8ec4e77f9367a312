"""Medians and quantiles of a few values, without the care for axes and gaps that makes NumPy's slow for these.

Reckoned in the values' own precision, as NumPy does.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def median(values: NDArray[Any]) -> np.floating[Any]:
    """Return the middle of `values`, shape (n >= 1,), or the mean of the two in the middle."""
    k = len(values) // 2
    if len(values) % 2:
        middle: np.floating[Any] = np.partition(values, k)[k]
        return middle
    a, b = np.partition(values, (k - 1, k))[k - 1 : k + 1]
    mean: np.floating[Any] = (a + b) / 2
    return mean


def quantile(values: NDArray[Any], share: float) -> np.floating[Any]:
    """Return a quantile of `values`, shape (n >= 1,), in proportion between two of them (Hyndman & Fan 1996)."""
    at = share * (len(values) - 1)
    k = min(int(at), len(values) - 1)
    m = min(k + 1, len(values) - 1)
    a, b = np.partition(values, (k, m))[[k, m]]
    t = at - k
    between: np.floating[Any] = a + (b - a) * t if t < 0.5 else b - (b - a) * (1 - t)
    return between
