"""The same word written twice: `tests.bench likeness --repeats`. Does a composed page repeat itself as its writer does?

Two words of a writer with the same text differ by so much, in the figures of their pictures; so do two composed ones.
A classifier that is given these differences, cross-validated so that no text is on both sides, tells the writer's own
pairs from composed ones; chance is .5.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tests.bench.likeness_hands import Letter, Word

Floats = NDArray[np.float64]


def repeated(words: Sequence[Word]) -> list[tuple[int, int]]:
    """Return the pairs of places at which the same text stands, of two letters or more."""
    by_text: dict[str, list[int]] = {}
    for k, word in enumerate(words):
        if len(word.text) > 1:
            by_text.setdefault(word.text, []).append(k)
    return [pair for places in by_text.values() for pair in combinations(places, 2)]


def repeats(
    words: Sequence[Word], made: Sequence[Sequence[Letter]], picture: Callable[[Letter, int], Floats]
) -> tuple[int, float, float, float]:
    """Return the number of pairs, how much own and composed ones differ, and the share of pairs told right.

    Differences are root mean squares over the pictures' figures, in standard deviations of the writer's own words.

    Parameters
    ----------
    made
        The same words as they were composed, once or several times.
    picture
        Returns the figures of an inked word; the number draws the ink.
    """
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import GroupKFold, cross_val_predict
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    pairs = repeated(words)
    own = np.array([picture(w.strokes, k) for k, w in enumerate(words)])
    scale = own.std(axis=0) + 1e-6
    mine = np.array([np.abs(own[a] - own[b]) / scale for a, b in pairs])
    texts = [words[a].text for a, _ in pairs]
    shares, sizes = [], []
    for n, composed in enumerate(made, 1):
        seen = np.array([picture(m, 5000 * n + k) for k, m in enumerate(composed)])
        theirs = np.array([np.abs(seen[a] - seen[b]) / scale for a, b in pairs])
        model = make_pipeline(StandardScaler(), LogisticRegression(C=0.02, max_iter=2000))
        x, y = np.vstack([mine, theirs]), np.repeat([0, 1], len(pairs))
        found = cross_val_predict(model, x, y, groups=[*texts, *texts], cv=GroupKFold(min(8, len(set(texts)))))
        shares.append(float((found == y).mean()))
        sizes.append(float(np.sqrt((theirs**2).mean())))
    return len(pairs), float(np.sqrt((mine**2).mean())), float(np.mean(sizes)), float(np.mean(shares))
