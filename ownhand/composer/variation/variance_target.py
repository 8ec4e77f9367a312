"""How much scatter to add to shapes that carry some of it already, so that none is added twice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class VarianceTarget:
    """What to add to, and how much to keep of, what the shapes carry."""

    keep: float
    add: float


def aim(asked: float, carried: float, strength: float) -> VarianceTarget:
    """Return how to reach `strength` times the scatter of a hand with shapes that carry some of it already.

    Up to natural strength the shapes' own scatter is damped in proportion, never beyond; what is wanting is added.

    Examples
    --------
    >>> aim(0.13, 0.05, 1.0)
    VarianceTarget(keep=1.0, add=0.12)
    >>> aim(0.13, 0.05, 0.0)
    VarianceTarget(keep=0.0, add=0.0)
    """
    keep = min(1.0, strength)
    want = strength * max(asked, carried)
    return VarianceTarget(keep, round(float(np.sqrt(max(0.0, want**2 - (keep * carried) ** 2))), 9))
