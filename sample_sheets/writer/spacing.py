"""How a writer sets letters beside each other: by the white between their facing sides.

Letters are clouds of points, (n, 2), x-heights, y up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.letterforms import Path

Array = NDArray[np.float64]

DEEP = 0.30
"""A hollow deeper than this is no whiter for it."""


def outline(paths: Sequence[Path]) -> Array:
    """Return points along the paths of a letter."""
    t = np.linspace(0, 1, 9)[:, None]
    return np.vstack([a + t * (b - a) for p in paths for a, b in zip(p.at[:-1], p.at[1:], strict=True)])


def beside(left: Array, right: Array, gap: float, *, least: float) -> float:
    """Return how far `right` stands from `left` (both at x = 0) so that the mean gap of their sides is `gap`.

    Sides are looked at in bands of height; a band that one of the letters leaves empty, or where it is deeply cut,
    counts as a little white and no more. Nowhere do they come nearer than `least`, but for tails, which may cross.
    """
    bands = np.arange(-0.75, 1.9, 0.15)
    most_l, least_r = float(left[:, 0].max()), float(right[:, 0].min())
    side_l = np.array([_extreme(left, b, 0.16, np.max, most_l - DEEP) for b in bands])
    side_r = np.array([_extreme(right, b, 0.16, np.min, least_r + DEEP) for b in bands])
    weight = np.where((bands > -0.1) & (bands < 1.05), 1.0, 0.3)
    white = np.maximum(side_r, least_r) - np.minimum(side_l, most_l)
    white = np.minimum(white, white.min() + 2 * DEEP)
    shift = gap + 0.10 - float(np.average(white, weights=weight))
    near_l = np.array([_extreme(left, b, 0.28, np.max, -9.0) for b in bands])
    near_r = np.array([_extreme(right, b, 0.28, np.min, 9.0) for b in bands])
    tight = float((near_l - near_r - np.where(bands < -0.25, 0.45, 0.0)).max())
    # Nothing slides far under its neighbour, even where heights do not meet.
    return max(shift, tight + least, side_of(left, np.max) - side_of(right, np.min) - 0.35)


def side_of(cloud: Array, which: Callable[[Array], Any]) -> float:
    """Return where a letter ends on one side, tails and ascenders left out if it has a body between the guides."""
    body = cloud[(cloud[:, 1] > -0.3) & (cloud[:, 1] < 1.05), 0]
    return float(which(body if len(body) else cloud[:, 0]))


def _extreme(cloud: Array, band: float, half: float, which: Callable[[Array], Any], otherwise: float) -> float:
    inside = np.abs(cloud[:, 1] - band) < half
    found = float(which(cloud[inside, 0])) if inside.any() else otherwise
    return max(found, otherwise) if which is np.max else min(found, otherwise)
