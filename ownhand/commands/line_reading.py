"""Lines of writing read side by side in processes; and again with the writer's own letters."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Sequence
from concurrent.futures import Executor

import numpy as np

from capture.units import Points
from ownhand.hands.line_letters import MISFIT
from skeleton.ink.ink_map import InkMap
from skeleton.words.line_reading import SURELY, LineReading, read_line_ink
from skeleton.words.word_reading import WordReading

Progress = Callable[[str, int, int], None]

OWN_FORMS = 6
"""Most letters of one character that a further reading knows of."""

AGAIN = 2
"""How often words are read again."""

SETTLED = 0.8
"""Cost of a letter up to which a word is not read again."""


def read_lines(pool: Executor, inks: Sequence[InkMap], texts: Sequence[str], tell: Progress) -> list[LineReading]:
    """Return the lines read, each in the frame of its own ink (mm, y down).

    Words are read again, with the writer's own letters from the sure ones, of which there are more each time; the
    cheaper reading stays.
    """
    tell("read lines", 0, len(texts))
    found = []
    for n, reading in enumerate(pool.map(read_line_ink, inks, texts)):
        found.append(reading)
        tell("read lines", n + 1, len(texts))
    for times in range(AGAIN):
        known = own_letters([w for r in found for w in r.words])
        open_words = [frozenset(i for i, w in enumerate(r.words) if _cost(w) > SETTLED) for r in found]
        unsure = [n for n, words in enumerate(open_words) if words]
        if not known or not unsure:
            break
        done, whole = times * len(texts), AGAIN * len(texts)
        tell("read again", done, whole)
        again = pool.map(
            read_line_ink, [inks[n] for n in unsure], [texts[n] for n in unsure], [known] * len(unsure),
            [open_words[n] for n in unsure],
        )  # fmt: skip
        for n, reading in zip(unsure, again, strict=True):
            best = [b if _cost(b) < _cost(a) else a for a, b in zip(found[n].words, reading.words, strict=True)]
            found[n] = dataclasses.replace(found[n], words=tuple(best))
            tell("read again", done + n + 1, whole)
    return found


def _cost(word: WordReading) -> float:
    return word.cost if word.letters else np.inf


def own_letters(words: Sequence[WordReading]) -> dict[str, list[list[Points]]]:
    """Return the letters of words that surely suit, as `skeleton.read_word` takes a writer's own.

    By character, each letter as its pieces of shape (n, 2), in x-heights from its left edge on the baseline, y down.
    """
    out: dict[str, list[list[Points]]] = defaultdict(list)
    for word in sorted((w for w in words if w.letters and w.cost <= SURELY), key=lambda w: w.cost):
        for letter in word.letters:
            if letter.pieces_mm and letter.misfit <= MISFIT and len(out[letter.char]) < OWN_FORMS:
                pieces = [_on_baseline(p, word) / word.x_height_mm for p in letter.pieces_mm]
                left = min(float(p[:, 0].min()) for p in pieces)
                upright = [np.stack([p[:, 0] - left + word.slant * p[:, 1], p[:, 1]], axis=1) for p in pieces]
                out[letter.char].append(upright)
    return dict(out)


def _on_baseline(points: Points, word: WordReading) -> Points:
    """Return points with the baseline at y = 0, level, y down."""
    height, slope = word.baseline_mm
    return np.stack([points[:, 0], points[:, 1] - height - slope * points[:, 0]], axis=1)
