"""What the network of `cut_rightness` is trained on: letters as they are cut out of words, and how rightly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from capture.units import Points, image_from_pixels
from skeleton.ink.ink_map import find_ink_of_words
from skeleton.words import decoding
from skeleton.words.cut_letters import cut_way
from skeleton.words.finished_ways import FinishedWay, InkOfWord, finished
from skeleton.words.laid_text import LaidText
from skeleton.words.letter_pictures import CutWord, pictures_of
from skeleton.words.spliced_ways import likeliest_way
from skeleton.words.word_reading import read_word_ink
from tests.bench.trace_ink import even, ink
from tests.bench.training.example_files import load_files, make_files
from tests.bench.training.joined_words import Letters, composed
from tests.bench.training.letter_forms import X_HEIGHT_MM, found_on_path
from tests.bench.words import NEAR_MM, Word

STEP_MM = 0.1
"""Between the points by which letters are compared."""

X_HEIGHTS_MM, PENS = (1.6, 4.5), (0.09, 0.34)
"""Between which sizes, and the pen's width in x-heights, are drawn by lot, by their logarithms."""

USUAL = 0.3
"""Share of the words that are written as most are measured: 3.5 mm high, half a millimetre broad."""

WAYS, OF_A_WAY = 3, ", a way"
"""Ways to write a word, drawn by lot of those found, whose letters are seen besides, before lines are fitted to the
ink; and what is added to the name of their source."""

DPI = (200, 300, 300, 300, 400, 600)


@dataclass(frozen=True, eq=False)
class CutExamples:
    """Letters cut out of words."""

    pictures: NDArray[np.uint8]
    """Shape (letters, 3, rows, columns), 255 for line."""

    measures: NDArray[np.float32]
    rows: NDArray[np.int16]
    """Shape (letters, 3); see `letter_pictures.pictures_of`."""

    overlap: NDArray[np.float32]
    """Shape (letters,): intersection over union of the cut letter's line and the written one's."""

    source: NDArray[np.str_]
    writer: NDArray[np.str_]
    word: NDArray[np.int64]
    """Shape (letters,): number of the word."""


@dataclass(frozen=True, eq=False)
class WrittenWord:
    """A word to be read: one that somebody wrote, or a text to be put together."""

    source: str
    seed: int
    word: Word | None = None
    text: str = ""
    letters: Letters | None = None


def make_cuts(every: Sequence[WrittenWord], where: Path, *, cores: int, seconds: float) -> None:
    """Read words for some time, and write their letters to files in a folder."""
    make_files(every, examples_of, where, cores=cores, seconds=seconds)


def load_cuts(where: Path) -> CutExamples:
    """Return what `make_cuts` wrote into a folder."""
    return load_files(CutExamples, where)


def examples_of(one: WrittenWord) -> list[CutExamples]:
    """Return the letters of a word as they are cut; none where nothing is read, or the true letters are unknown."""
    rng = np.random.default_rng(one.seed)
    word = one.word or composed(one.text, one.letters or {}, rng)
    if word is not None and word.letters is None:
        found = found_on_path(word)
        word = None if found is None or len(found[1]) < len(word.text) else replace(word, letters=found[1])
    if word is None or word.letters is None or len(word.letters) != len(word.text):
        return []
    size, pen, dpi = X_HEIGHT_MM, 0.5, 300
    if rng.random() > USUAL:
        size, share = (float(np.exp(rng.uniform(*np.log(between)))) for between in (X_HEIGHTS_MM, PENS))
        pen, dpi = share * size, int(rng.choice(DPI))
    scale = size / X_HEIGHT_MM
    grey, offset = ink([s * scale for s in word.strokes], dpi=dpi, pen_mm=pen, seed=one.seed % 2**31, discs=True)
    found: list[tuple[InkOfWord, Sequence[LaidText]]] = []

    def likeliest(of: InkOfWord, text: str, laid: Sequence[LaidText], left: Sequence[float]) -> FinishedWay:
        found.append((of, laid))
        return likeliest_way(of, text, laid, left)

    seen = find_ink_of_words(grey, dpi)
    if seen is None:
        return []
    with patch.object(decoding, "likeliest_way", likeliest):
        read = read_word_ink(seen, word.text)
    if not read.letters or not found:
        return []
    true = [[p * scale + offset for p in pieces] for _, pieces in word.letters]
    cut = CutWord(
        word.text, [x.pieces_mm for x in read.letters], [x.joined for x in read.letters],
        [x.misfit for x in read.letters], read.baseline_mm, read.x_height_mm, read.slant, read.cost,
        float(np.median([s.width_mm for s in read.strokes])),
    )  # fmt: skip
    ink_of_word, laid = found[0]
    ways = [laid[i] for i in rng.permutation(len(laid))[:WAYS]]
    cuts = [cut_way(ink_of_word.net, ink_of_word.states, finished(ink_of_word, word.text, w), word.text) for w in ways]
    return [
        _examples(one, word.writer, cut, cut.pieces, true, scale),
        *(
            _examples(
                replace(one, source=f"{one.source}{OF_A_WAY}"), word.writer, c,
                [[image_from_pixels(p, px_per_mm=seen.px_per_mm) for p in of] for of in c.pieces], true, scale,
            )
            for c in cuts
        ),
    ]  # fmt: skip


def _examples(
    one: WrittenWord,
    writer: str,
    cut: CutWord,
    pieces_mm: Sequence[Sequence[Points]],
    true: Sequence[Sequence[Points]],
    scale: float,
) -> CutExamples:
    """Return the letters of a word that have ink."""
    pictures, measures, rows = pictures_of(cut)
    there = [j for j, pieces in enumerate(pieces_mm) if pieces]
    right = overlaps(pieces_mm, true, NEAR_MM * scale, STEP_MM * scale)
    return CutExamples(
        np.round(pictures[there] * 255).astype(np.uint8), measures[there], rows[there].astype(np.int16),
        right[there].astype(np.float32), *(np.full(len(there), x) for x in (one.source, writer, one.seed)),
    )  # fmt: skip


def overlaps(
    found: Sequence[Sequence[Points]], true: Sequence[Sequence[Points]], near: float, step: float
) -> NDArray[np.float64]:
    """Return of every letter the intersection over union of its line as it was cut and as it was written.

    As `tests.bench.words.letters_found` has it: written points count as the found letter's whose line is nearest, no
    farther than `near`. Shape (letters,); 0 where no ink was found.
    """
    a, of_a = _cloud(found, step)
    b, of_b = _cloud(true, step)
    if not len(a) or not len(b):
        return np.zeros(len(found))
    far, nearest = cKDTree(a).query(b)
    got = np.where(far <= near, of_a[nearest], -1)
    both = [((of_b == j) & (got == j)).sum() / max(((of_b == j) | (got == j)).sum(), 1) for j in range(len(found))]
    return np.array(both)


def _cloud(letters: Sequence[Sequence[Points]], step: float) -> tuple[Points, NDArray[np.int64]]:
    rows: list[tuple[Points, int]] = [(even(p, step), j) for j, pieces in enumerate(letters) for p in pieces]
    if not rows:
        return np.zeros((0, 2)), np.zeros(0, np.int64)
    return np.concatenate([p for p, _ in rows]), np.concatenate([np.full(len(p), j) for p, j in rows])


def texts_to_compose(words: Sequence[str], letters: Letters, seed: int) -> Iterator[WrittenWord]:
    """Yield words to be put together of people's letters, without end."""
    known = {c for of in letters.values() for c in of}
    able = [w for w in words if len(w) > 1 and set(w) <= known]
    rng = np.random.default_rng(seed)
    number = 0
    while True:
        for i in rng.permutation(len(able)):
            number += 1
            yield WrittenWord("composed", seed + number, text=able[i], letters=letters)
