"""Lines of writing read side by side in processes; and again with the writer's own letters."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from itertools import pairwise

import numpy as np

from capture.units import Points
from skeleton.ink.ink_map import InkMap
from skeleton.words.line_reading import SUITS, SURELY, LineReading, read_line_ink
from skeleton.words.word_reading import WordLetter, WordReading, nothing_read

Progress = Callable[[str, int, int], None]

OWN_FORMS = 6
"""Most letters of one character that a further reading knows of. Of seven people for validation (UNIPEN train_r01_v07,
Guyon et al., ICPR 1994), 24 words each, letters that overlap the written ones by .65 are .836 where those most alike
are known, .849 with those likeliest cut rightly, .864 where readings are compared by that as well."""

AGAIN, AGAIN_IN_LONG = 3, 2
"""How often words are read again, and in a long text."""

LONG = 800
"""Letters of a long text. It holds plenty of each, so that its sure words are not read again, and the others twice: of
a page of 1,479 letters 1,100 are taken in 93 s of processor time; three times and all words, 1,157 in 151 s."""

MOST_SHARED = 0.5
"""Share of the narrower word by which two words of a line may lie over each other: slanting ones do a little."""

MOSTLY = 0.72
"""Share of the neighbouring letters of a hand that are joined, word by word, from which whatever runs on is joined. Of
hands of UNIPEN that join .95, .81, .81 and .97 of theirs .89, .77, .76 and .96 were read so, and with this .96, .80,
.86 and .98; one that joins .54 is read to join .66, and stays."""

SETTLED = 0.8
"""Cost of a letter up to which a word is not read again."""


def read_lines(pool: Executor, inks: Sequence[InkMap], texts: Sequence[str], tell: Progress) -> list[LineReading]:
    """Return the lines read, each in the frame of its own ink (mm, y down).

    Words are read again, with the writer's own letters as far as they are known, which is better each time; the cheaper
    reading stays.
    """
    tell("read lines", 0, len(texts))
    found = []
    for n, reading in enumerate(pool.map(read_line_ink, inks, texts)):
        found.append(reading)
        tell("read lines", n + 1, len(texts))
    long = sum(len(w) for text in texts for w in text.split()) >= LONG
    settled = SURELY if long else SETTLED
    most = AGAIN_IN_LONG if long else AGAIN
    for times in range(most):
        known = own_letters([w for r in found for w in r.words])
        costs = [{i: c for i, w in enumerate(r.words) if (c := _cost(w)) > settled} for r in found]
        unsure = [n for n, words in enumerate(costs) if words]
        if not known or not unsure:
            break
        done, whole = times * len(texts), most * len(texts)
        tell("read again", done, whole)
        again = pool.map(
            read_line_ink, [inks[n] for n in unsure], [texts[n] for n in unsure], [known] * len(unsure),
            [costs[n] for n in unsure],
        )  # fmt: skip
        for n, reading in zip(unsure, again, strict=True):
            best = [b if _cost(b) < _cost(a) else a for a, b in zip(found[n].words, reading.words, strict=True)]
            found[n] = dataclasses.replace(found[n], words=tuple(without_shared_ink(best)))
            tell("read again", done + n + 1, whole)
    return joined_as_the_hand(found)


def joined_as_the_hand(lines: Sequence[LineReading]) -> list[LineReading]:
    """Return lines read; if the hand joins most of its letters, joined wherever a stroke runs from one into the next.

    A word of its own says little: a letter of which hardly anything was found seems to be but touched by the next
    one's line (`skeleton.words.cut_letters.PASSED`).
    """
    words = [w for line in lines for w, suits in zip(line.words, line.suits, strict=True) if suits]
    neighbours = [(a, b) for w in words for a, b in pairwise(w.letters) if a.char.isalpha() and b.char.isalpha()]
    if not neighbours or np.mean([a.joined for a, _ in neighbours]) < MOSTLY:
        return list(lines)
    return [dataclasses.replace(line, words=tuple(map(_joined_where_met, line.words))) for line in lines]


def _joined_where_met(word: WordReading) -> WordReading:
    """Return a word, its letters joined where a piece of the one ends at the point at which one of the next begins."""

    def met(one: WordLetter, other: WordLetter) -> bool:
        return any(np.array_equal(p[-1], q[0]) for p in one.pieces_mm for q in other.pieces_mm)

    letters = [dataclasses.replace(a, joined=a.joined or met(a, b)) for a, b in pairwise(word.letters)]
    return dataclasses.replace(word, letters=(*letters, *word.letters[-1:]))


def without_shared_ink(words: Sequence[WordReading]) -> list[WordReading]:
    """Return the words of a line, of any two that lie on the same ink only the cheaper one read.

    Two readings of a line may give one word's ink to one of two equal words each: a word that is twice in the text and
    once on the paper was written once.
    """
    kept: list[tuple[float, float]] = []
    out = list(words)
    for i in sorted(range(len(out)), key=lambda i: _cost(out[i])):
        pieces = [p for letter in out[i].letters for p in letter.pieces_mm]
        if not pieces:
            continue
        every = np.concatenate(pieces)[:, 0]
        left, right = float(every.min()), float(every.max())
        if any(min(right, b) - max(left, a) > MOST_SHARED * min(right - left, b - a) for a, b in kept):
            out[i] = nothing_read()
        else:
            kept.append((left, right))
    return out


def _cost(word: WordReading) -> float:
    return word.cost if word.letters else np.inf


def own_letters(words: Sequence[WordReading]) -> dict[str, list[list[Points]]]:
    """Return the letters of words that suit, as `skeleton.read_word` takes a writer's own: those likeliest cut rightly.

    By character, each letter as its pieces of shape (n, 2), in x-heights from its left edge on the baseline, y down.
    """
    found: dict[str, list[tuple[float, list[Points]]]] = defaultdict(list)
    for word in sorted((w for w in words if w.letters and w.cost <= SUITS), key=lambda w: w.cost):
        for letter in word.letters:
            if letter.pieces_mm and not letter.doubtful:
                pieces = [_on_baseline(p, word) / word.x_height_mm for p in letter.pieces_mm]
                left = min(float(p[:, 0].min()) for p in pieces)
                upright = [np.stack([p[:, 0] - left + word.slant * p[:, 1], p[:, 1]], axis=1) for p in pieces]
                found[letter.char].append((letter.right, upright))
    return {
        char: [letter for _, letter in sorted(letters, key=lambda x: -x[0])[:OWN_FORMS]]
        for char, letters in found.items()
    }


def _on_baseline(points: Points, word: WordReading) -> Points:
    """Return points with the baseline at y = 0, level, y down."""
    height, slope = word.baseline_mm
    return np.stack([points[:, 0], points[:, 1] - height - slope * points[:, 0]], axis=1)
