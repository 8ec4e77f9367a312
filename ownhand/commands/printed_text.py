"""Whether a page that was read is printed: the same letter is then the same line again and again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import combinations

import numpy as np

from capture.units import Points
from skeleton.geometry.arc_length import resample
from skeleton.words.line_reading import LineReading

POINTS = 24
"""Points of every piece of a letter at which letters are compared."""

SHARE, ALIKE = 0.15, 0.025
"""On a printed page at least this share of all pairs of one letter differ by no more than so many x-heights: a tenth by
.002 and a quarter by .017 were measured on one set in the font of the labels; .048 and .068 on the steady simulated
hand of the sample, .07 and .17 on its joined one."""

MOST = 20
"""Letters of one kind that are compared."""

FEWEST = 12
"""Pairs of letters that tell."""


def is_printed(readings: Sequence[LineReading]) -> bool:
    """Return whether the letters of a page are so alike that no hand wrote them."""
    kinds: defaultdict[tuple[str, int], list[Points]] = defaultdict(list)
    for reading in readings:
        for word, suits in zip(reading.words, reading.suits, strict=True):
            for letter in word.letters if suits else ():
                if letter.pieces_mm:
                    line = np.concatenate([resample(p, POINTS) for p in letter.pieces_mm]) / word.x_height_mm
                    kinds[letter.char, len(letter.pieces_mm)].append(line - line.min(axis=0))
    apart = [float(np.hypot(*(a - b).T).mean()) for lines in kinds.values() for a, b in combinations(lines[:MOST], 2)]
    return len(apart) >= FEWEST and float(np.quantile(apart, SHARE)) < ALIKE
