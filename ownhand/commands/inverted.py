"""Pictures that show the writing white on black: negatives, and white ink on black paper."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.errors import InputError

DARK_PAPER = 100
"""Grey below which the paper of a picture is dark: a photograph by lamplight keeps above it."""


def check_not_inverted(grey: NDArray[np.uint8], place: str) -> None:
    """Refuse a picture `grey`, shape (h, w), three quarters of which are dark, while what little differs is lighter.

    Raises
    ------
    InputError
        If it is such a picture; `place` is what to call it.
    """
    low, paper, high = np.percentile(grey, [0.5, 75, 99.5])
    if paper < DARK_PAPER and high - paper > 2 * (paper - low):
        remedy = "Turn 'negative' or 'invert' off in the scanner, or invert the picture."
        raise InputError(place, "the picture is inverted, white on black", remedy)
