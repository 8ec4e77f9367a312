"""What a sheet does to a writer, taken back: in cells people write larger and with more care than in running text.

The words of the copied lines tell how large the hand writes when it is not led by guides, beside what its letters from
the cells would make of the same words.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import regex

from capture.limits import is_count
from capture.units import Points
from fontbuild.geometry import bounds
from fontbuild.joins import IN_TEXT
from fontbuild.text_spacing_statistics import DESCENDS, LEAST_WORDS, CopiedWord
from fontbuild.variants import AttemptStrokes

TRUST = 8.0
"""So many words weigh as much as the supposition that cells change nothing."""

MOST = 1.25
"""Factor of the size at most: what lies farther off was not this text."""

DRAWS = 16
"""Choices of attempts from which the expected height of a word is taken: it is that of its tallest letter."""

STANDS = 0.15
"""x-heights: a character whose attempts from cells have their mean foot within this of the line stands on it."""

LETTERS = 1.0
"""So many letters of a word weigh as much, where the word's line is found, as those of all other words. The lines of
words (eight writers of UNIPEN train_r01_v07, donors kai and art; Guyon et al., ICPR 1994) were read .04 to .2 x-heights
too low, and scattered from word to word by about as much as a letter's foot does about its word's line."""


def on_the_line(
    letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float
) -> dict[str, list[AttemptStrokes]]:
    """Return the attempts by character, those of running text moved up or down to where their word's line must be.

    A cell's line is printed. A word's is read off its ink, and where it is read too low all its letters would stand
    higher than the cells' beside them. So the feet of a word's letters are laid where those of the same characters
    stand in cells, or on the line where no cell tells, in the middle of the word's letters that stand on the line.

    Parameters
    ----------
    letters
        By character: its attempts, in mm, y up from the line.
    x_height_mm
        Their size.
    """
    feet = {c: np.array([bounds(w.strokes)[1] for w in group]) for c, group in letters.items()}
    wanted = {}
    for char, group in letters.items():
        cells = feet[char][[w.allograph not in IN_TEXT for w in group]]
        known = float(cells.mean()) if len(cells) else 0.0
        if char[0].isalnum() and not set(char) & DESCENDS and abs(known) < STANDS * x_height_mm:
            wanted[char] = known
    words = words_of([w.id for group in letters.values() for w in group if w.allograph in IN_TEXT])
    off = defaultdict(list)
    for char, known in wanted.items():
        for w, foot in zip(letters[char], feet[char].tolist(), strict=True):
            if w.id in words:
                off[words[w.id]].append(foot - known)
    if not off:
        return {c: list(group) for c, group in letters.items()}
    usual = float(np.median(np.concatenate(list(off.values()))))
    up = {word: usual + (np.median(v) - usual) * len(v) / (len(v) + LETTERS) for word, v in off.items()}

    def moved(w: AttemptStrokes) -> AttemptStrokes:
        if w.id not in words:
            return w
        by = np.array([0.0, up.get(words[w.id], usual)])
        return replace(w, strokes=tuple(s - by for s in w.strokes))

    return {c: [moved(w) for w in group] for c, group in letters.items()}


def words_of(ids: Sequence[str]) -> dict[str, str]:
    """Return by the id of each letter of running text that of its word's first letter that was read.

    Examples
    --------
    >>> words_of(["s/1/2.7", "s/1/2.4", "s/1/2.5"])
    {'s/1/2.4': 's/1/2.4', 's/1/2.5': 's/1/2.4', 's/1/2.7': 's/1/2.7'}
    """
    rows: dict[str, list[int]] = defaultdict(list)
    for key in ids:
        row, _, column = key.rpartition(".")
        if is_count(column):
            rows[row].append(int(column))
    out: dict[str, str] = {}
    for row, columns in rows.items():
        for n in sorted(columns):
            out[f"{row}.{n}"] = out.get(f"{row}.{n - 1}", f"{row}.{n}")
    return out


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
