"""Random figures with the habits of a hand: cut off, with a memory, or wandering slowly."""

from __future__ import annotations

from itertools import accumulate

import numpy as np

from ownhand.composer.variation.handwriting_statistics import Array

MOST = 2.2
"""Standard deviations at which every draw is cut off: no letter falls out of the hand."""

SD_OF_MOST = 0.9762
"""Standard deviation of a normal variable cut off there."""


def draw(rng: np.random.Generator, n: int) -> Array:
    """Return n normal figures, cut off at `MOST` and scaled back to a variance of one.

    Shape (n,), no unit.
    """
    z = np.clip(rng.standard_normal(n), -MOST, MOST)
    return np.asarray(z / SD_OF_MOST, float)


def ar1_noise(z: Array, memory: float) -> Array:
    """Return an AR(1) series of the same variance from independent draws: each remembers the one before.

    Examples
    --------
    >>> ar1_noise(np.array([1.0, 0.0, 0.0]), 0.5).round(3)
    array([1.  , 0.5 , 0.25])
    """
    if len(z) == 0 or memory <= 0:
        return z
    scaled = z * np.sqrt(1 - memory**2)
    scaled[0] = z[0]
    # scipy.signal.lfilter does the same, but importing it takes longer than composing twenty pages
    return np.fromiter(accumulate(scaled.tolist(), lambda last, new: memory * last + new), float, len(z))


def pink_noise(rng: np.random.Generator, n: int) -> Array:
    """Return a series of variance one that is like 1/f noise over 4 to 64 letters.

    A sum of AR(1) series whose time constants lie octaves apart has a spectrum near 1/f (van der Ziel, Physica 16,
    1950); the wander of human movement has one (Gilden, Thornton and Mallon, Science 267, 1995).

    Shape (n,), no unit.
    """
    constants = (4.0, 8.0, 16.0, 32.0, 64.0)
    series = [ar1_noise(draw(rng, n), float(np.exp(-1 / c))) for c in constants]
    return np.asarray(np.sum(series, axis=0) / np.sqrt(len(constants)), float)
