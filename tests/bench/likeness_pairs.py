"""Gaps between letters by the kind of pair, composed beside the writers' own: `tests.bench likeness --pairs`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

import numpy as np

from tests.bench.likeness_hands import X_HEIGHT_MM, Letter

Row = tuple[str, Letter]

QUOTES, DASHES = frozenset("'\"‘’“”"), frozenset("-–—")
KINDS: dict[str, Callable[[str, str], bool]] = {
    "two small letters": lambda a, b: a.islower() and b.islower(),
    "before j": lambda a, b: b == "j",
    "after j": lambda a, b: a == "j",
    "before f": lambda a, b: b == "f",
    "after f": lambda a, b: a == "f",
    "before g, y": lambda a, b: b in "gy",
    "after g, y": lambda a, b: a in "gy",
    "before t": lambda a, b: b == "t",
    "after t": lambda a, b: a == "t",
    "after r": lambda a, b: a == "r",
    "beside i, l": lambda a, b: a in "il" or b in "il",
    "capital, small": lambda a, b: a.isupper() and b.islower(),
    "two capitals": lambda a, b: a.isupper() and b.isupper(),
    "before a comma": lambda a, b: b == ",",
    "before a full stop": lambda a, b: b == ".",
    "beside a quotation mark": lambda a, b: bool({a, b} & QUOTES),
    "beside a dash": lambda a, b: bool({a, b} & DASHES),
}


def gaps_by_kind(words: Iterable[Sequence[Row]]) -> dict[str, list[float]]:
    """Return the gaps between the boxes of neighbours, in x-heights, by kind; a pair may be of several kinds."""
    out: dict[str, list[float]] = defaultdict(list)
    for word in words:
        boxes = [(c, np.vstack(strokes)[:, 0]) for c, strokes in word]
        for (a, one), (b, two) in pairwise(boxes):
            for kind, is_such in KINDS.items():
                if is_such(a, b):
                    out[kind].append(float(two.min() - one.max()) / X_HEIGHT_MM)
    return out


def pair_rows(writers: Sequence[tuple[dict[str, list[float]], ...]]) -> list[tuple[str, int, list[float]]]:
    """Return kind, number of the writers' own pairs, and the mean gap in each way of writing.

    Parameters
    ----------
    writers
        Of each writer the gaps of several ways of writing the same words, the own way first. A writer counts by how
        many own pairs of the kind there are, so that all ways are seen on the same texts.
    """
    rows = []
    for kind in KINDS:
        having = [ways for ways in writers if all(kind in way for way in ways)]
        if having:
            weight = [len(ways[0][kind]) for ways in having]
            means = np.array([[float(np.mean(way[kind])) for way in ways] for ways in having])
            rows.append((kind, sum(weight), np.average(means, axis=0, weights=weight).tolist()))
    return rows
