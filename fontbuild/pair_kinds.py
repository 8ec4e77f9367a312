"""Pairs of letters that stand wider apart than the white between them tells: before a point, a capital's first letter.

By what their shapes ask for, marks and the letter after a capital would stand too near. How far off people put them was
measured on UNIPEN train_r01_v07 (donors kai and art, whose letters are marked; Guyon et al., ICPR 1994): before a full
stop or comma .32 x-heights more, of one writer (18 pairs); after a capital .30, .09 and .03, of three (72). A hand's
copied words tell its own figure, as far as they can (empirical Bayes: Efron and Morris, "Stein's estimation rule and
its competitors", J. Amer. Statist. Assoc. 68, 1973).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS = frozenset(".,:;!?…")
"""Marks that end a word and stand off from it."""

STAND_OFF = (0.2, 0.08)
"""x-heights that are added to the white before a point, and between a capital and a small letter, where nothing else is
known: less than was measured on so few writers."""

SPREAD = (0.15, 0.1)
"""x-heights: standard deviation of these figures from hand to hand."""

LEAST_NOISE = 0.02
"""x-heights by which gaps scatter at least, however even a few words look."""


def kind_of(first: str, second: str) -> int | None:
    """Return the place of a pair's figure in `STAND_OFF`, None for a pair of no such kind.

    Examples
    --------
    >>> kind_of("e", "."), kind_of("T", "h"), kind_of("t", "h"), kind_of(".", ".")
    (0, 1, None, None)
    """
    if second in POINTS and first.isalnum():
        return 0
    return 1 if first.isupper() and second.islower() else None


def stand_off(pairs: Sequence[tuple[str, str]], figures: Sequence[float]) -> Floats:
    """Return what is added to the white of pairs, shape (n,), in the unit of `figures`, one for each kind."""
    padded = [*figures, 0.0]
    return np.array([padded[-1 if (k := kind_of(a, b)) is None else k] for a, b in pairs], float)


def of_words(
    words: Sequence[str], short: Floats, figures: Sequence[float], *, x_height: float
) -> tuple[float, tuple[float, ...]]:
    """Return what is to be added to all gaps, and the figures of the kinds, that make words as wide as they are.

    Least squares over the words' widths; the figures are drawn to `STAND_OFF`, the more the less the words tell.

    Parameters
    ----------
    short
        Shape (n,): by how much each word, of two letters or more, is wider than it is set now; font units.
    figures
        With which it is set, font units.
    x_height
        Font units.
    """
    gaps = np.array([len(w) - 1 for w in words], float)
    count = np.zeros((len(words), len(STAND_OFF)))
    for row, word in zip(count, words, strict=True):
        for k in (kind_of(a, b) for a, b in pairwise(word)):
            if k is not None:
                row[k] += 1
    # each gap scatters by as much, so a word's width does by the root of its gaps
    root = np.sqrt(gaps)
    left, right = np.column_stack([gaps, count]) / root[:, None], short / root
    towards = np.array([0.0, *(g * x_height - f for g, f in zip(STAND_OFF, figures, strict=True))])
    found = np.array([short.sum() / gaps.sum(), *towards[1:]])
    for _ in range(2):
        noise = float(np.var(right - left @ found)) + (LEAST_NOISE * x_height) ** 2
        pull = np.diag([0.0, *(noise / (s * x_height) ** 2 for s in SPREAD)])
        found = np.linalg.solve(left.T @ left + pull, left.T @ right + pull @ towards)
    return float(found[0]), tuple(float(f + d) for f, d in zip(figures, found[1:], strict=True))
