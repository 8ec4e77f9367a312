"""How far the sizes of attempts lie off, as sizes vary in this hand: a restless hand is allowed more than a steady one.

Sizes are logarithms, so that half and twice lie equally far. What a character's attempts vary by is told by them as far
as they can; the hand's other letters fill in, and people's letters where these are few (empirical Bayes: Efron and
Morris, "Stein's estimation rule and its competitors", J. Amer. Statist. Assoc. 68, 1973). Figures of people's letters:
twelve writers of UNIPEN train_r01_v07, donors kai and art (Guyon et al., ICPR 1994).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ODD_SIZE = 3.5
"""Standard deviations of its character's sizes from which on an attempt is oddly large or small: of a thousand letters
that vary normally half a one lies farther off."""

ODD_PAIR = 2.5
"""Standard deviations by which two attempts may differ: usual forms, too, must speak against one of them."""

LEAST_SIZE, MOST_PAIR_SIZE = 0.26, 0.36
"""The logarithm of size by which attempts may differ however steady the hand, and by which two attempts may differ
at most."""

USUAL_SD, SD_TRUST = 0.1, 20.0
"""Standard deviation of the logarithm of people's sizes, a character's mean taken off (0.08 to 0.18), and how many
letters of the hand weigh as much as it."""

CHAR_TRUST = 6.0
"""So many attempts at one character weigh as much as what all of the hand's characters vary by."""

STRAY = 3.0
"""Standard deviations beyond which a size counts as no farther off where the scatter is measured."""

FROM_MEDIAN = np.pi / 2
"""The median of n normal figures varies by so many times the n-th part of their variance."""


def size_scatter(characters: Iterable[Floats]) -> float:
    """Return the standard deviation of the logarithm of a letter's size about its character's, as the hand writes.

    Parameters
    ----------
    characters
        Of each character the logarithms of its attempts' sizes, shape (n,).
    """
    away = np.concatenate([np.zeros(0), *(_from_others(sizes) for sizes in characters if len(sizes) > 2)])
    most = STRAY * 1.4826 * float(np.median(np.abs(away - np.median(away)))) if len(away) else 0.0
    squares = float((np.clip(away, -most, most) ** 2).sum()) + SD_TRUST * USUAL_SD**2
    return float(np.sqrt(squares / (len(away) + SD_TRUST)))


def deviations(sizes: Floats, size_sd: float) -> Floats:
    """Return how far each attempt's size lies from the others', in standard deviations of the character's sizes.

    Parameters
    ----------
    sizes
        Shape (n,): logarithms of the sizes of the attempts at one character. Of fewer than three none is far off.
    size_sd
        What the sizes of the hand's letters vary by (`size_scatter`).
    """
    if len(sizes) < 3:
        return np.zeros(len(sizes))
    scatter = np.zeros(len(sizes))
    for i in range(len(sizes)):
        others = np.delete(sizes, i)
        squares = np.minimum((others - np.median(others)) ** 2, (STRAY * size_sd) ** 2).sum()
        scatter[i] = np.sqrt((squares + CHAR_TRUST * size_sd**2) / (len(others) - 1 + CHAR_TRUST))
    return np.asarray(_from_others(sizes) / np.maximum(scatter, LEAST_SIZE / ODD_SIZE), float)


def most_of_pair(size_sd: float) -> float:
    """Return by how much the sizes of two attempts at one character may differ, as a logarithm."""
    return float(np.clip(ODD_PAIR * np.sqrt(2) * size_sd, LEAST_SIZE, MOST_PAIR_SIZE))


def _from_others(sizes: Floats) -> Floats:
    """Return how far each of three or more sizes lies from the median of the others, less what that is unsure of."""
    away = np.array([v - np.median(np.delete(sizes, i)) for i, v in enumerate(sizes)])
    return np.asarray(away / np.sqrt(1 + FROM_MEDIAN / (len(sizes) - 1)), float)
