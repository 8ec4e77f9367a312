"""Lines smoothed where no ink is asked."""

from __future__ import annotations

import numpy as np
from scipy.linalg import solveh_banded

from capture.units import Points


def smooth(line: Points, stiffness: float) -> Points:
    """Return the line of evenly spaced points that stays near `line` and changes its bend least (Whittaker 1923).

    Parameters
    ----------
    stiffness
        Weight of the squared third differences against the squared distances.
    """
    n = len(line)
    if n < 5:
        return line
    diag = np.array([-1.0, 3.0, -3.0, 1.0])
    band = np.zeros((4, n))
    for i in range(4):
        for j in range(i, 4):
            band[3 - (j - i), j : j + n - 3] += stiffness * diag[i] * diag[j]
    band[3] += 1.0
    out: Points = solveh_banded(band, line)
    return out
