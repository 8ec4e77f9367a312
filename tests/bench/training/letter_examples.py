"""What the network of `legibility` is trained on: letters of words as they were written, drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.words.along_ways import OTHERS, row_of
from skeleton.words.letter_pictures import picture_of
from tests.bench.training.cut_examples import WrittenWord
from tests.bench.training.example_files import load_files, make_files
from tests.bench.training.joined_words import composed
from tests.bench.training.letter_forms import X_HEIGHT_MM, found_on_path
from tests.bench.words import Word


@dataclass(frozen=True, eq=False)
class LetterExamples:
    """Letters of words as they were written."""

    pictures: NDArray[np.uint8]
    """Shape (letters, SIZE, SIZE), 255 for line."""

    rows: NDArray[np.int16]
    """Shape (letters,): see `along_ways.row_of`."""

    source: NDArray[np.str_]
    writer: NDArray[np.str_]


def make_letters(every: Sequence[WrittenWord], where: Path, *, cores: int, seconds: float) -> None:
    """Draw the letters of words for some time, and write them to files in a folder."""
    make_files(every, examples_of, where, cores=cores, seconds=seconds)


def load_letters(where: Path) -> LetterExamples:
    """Return what `make_letters` wrote into a folder."""
    return load_files(LetterExamples, where)


def examples_of(one: WrittenWord) -> list[LetterExamples]:
    """Return the letters a to z of a word; none where it is not known which line belongs to which."""
    word = one.word or composed(one.text, one.letters or {}, np.random.default_rng(one.seed))
    letters = on_the_line(word, put_together=one.word is None) if word is not None else []
    known = [(row_of(c), lines) for c, lines in letters if row_of(c) % (OTHERS + 1) != OTHERS]
    if word is None or not known:
        return []
    pictures = np.stack([np.round(picture_of(lines) * 255).astype(np.uint8) for _, lines in known])
    rows = np.array([row for row, _ in known], np.int16)
    return [LetterExamples(pictures, rows, *(np.full(len(rows), x) for x in (one.source, word.writer)))]


def on_the_line(word: Word, *, put_together: bool) -> list[tuple[str, list[Points]]]:
    """Return the letters of a word in x-heights, baseline at y = 0, y down; none where they are not known."""
    if put_together:
        return [(c, [p / X_HEIGHT_MM for p in pieces]) for c, pieces in word.letters or []]
    found = found_on_path(word)
    if found is None:
        return []
    frame, letters = found[0], word.letters or found[1]
    if len(letters) != len(word.text):
        return []

    def upright(p: Points) -> Points:
        return np.stack([p[:, 0], p[:, 1] - frame.y - frame.slope * (p[:, 0] - frame.x)], axis=1) / frame.x_height

    return [(c, [upright(p) for p in pieces]) for c, pieces in letters]
