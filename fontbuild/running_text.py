"""What a sheet does to a writer, taken back: in cells people write larger and with more care than in running text.

The words of the copied lines tell how large the hand writes when it is not led by guides, beside what its letters from
the cells would make of the same words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import regex

from capture.units import Points
from fontbuild.geometry import bounds
from fontbuild.text_spacing_statistics import LEAST_WORDS, CopiedWord

TRUST = 8.0
"""So many words weigh as much as the supposition that cells change nothing."""

MOST = 1.25
"""Factor of the size at most: what lies farther off was not this text."""

DRAWS = 16
"""Choices of attempts from which the expected height of a word is taken: it is that of its tallest letter."""


def size_on_lines(
    words: Sequence[CopiedWord],
    letters: Mapping[str, Sequence[Sequence[Points]]],
    *,
    pen_mm: float,
    x_height_mm: float,
) -> float:
    """Return how large the hand writes in running text, as a multiple of its size in the cells.

    1 where too little tells it.

    Parameters
    ----------
    letters
        By character: its attempts, each a sequence of strokes in mm, y up from the line.
    x_height_mm
        Of the guides to whose size the attempts were brought.
    """
    rng = np.random.default_rng(0)
    spans = {c: np.array([bounds(strokes)[1::2] for strokes in group]) for c, group in letters.items() if group}
    found = []
    for word in words:
        chars = regex.findall(r"\X", word.text)
        if len(chars) < 2 or any(c not in spans for c in chars):
            continue
        rows = np.stack([spans[c][rng.integers(0, len(spans[c]), DRAWS)] for c in chars])
        expected = float((rows[..., 1].max(axis=0) - rows[..., 0].min(axis=0)).mean())
        tall = (word.box[3] - word.box[1]) * x_height_mm - pen_mm
        if expected > 0 and tall > 0:
            found.append(np.log(tall / expected))
    if len(found) < LEAST_WORDS:
        return 1.0
    middle = float(np.median(found)) * len(found) / (len(found) + TRUST)
    return float(np.exp(np.clip(middle, -np.log(MOST), np.log(MOST))))
