"""How likely a letter was cut rightly out of its word: a small network looks at it and at what stands beside it.

What a word costs tells whether it was read well, not which of its letters took a leg of their neighbour. A
convolutional network sees each letter's line in its frame, those of the letters before and after it, and is told which
letters they are; it was trained on words whose letters are known (`tests.bench trace_cuts`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from skeleton.small_networks import PictureNetwork, Single, load_arrays, picture_network_of, several
from skeleton.words.letter_pictures import CutWord, pictures_of

Floats = NDArray[np.float64]

NAME = "cut_rightness.npz"

OVERLAPS = (0.5, 0.65, 0.8)
"""Overlaps with the written letter, intersection over union of their lines, whose likelihood the network tells."""

RIGHT = 1
"""Which of them counts as cut rightly. An m that lost a leg overlaps the written one by less; which of two letters a
join was dealt to makes less of a difference."""

DOUBTFUL, LEAST = 0.5, 0.02
"""Likelihood of being cut rightly below which a letter is doubtful, and the least that is told apart."""

STRIDES = (2, 2, 2)


@dataclass(frozen=True, eq=False)
class CutNetwork:
    """Sees a letter and what stands beside it, and is also told which letters these are."""

    layers: PictureNetwork
    of_letters: tuple[Single, ...]
    """Each of shape (rows, n): added to what the first layer of the perceptron sums, for the letter before, the letter
    and the next."""


def rightness(words: Sequence[CutWord]) -> list[Floats]:
    """Return how likely each letter of each word was cut rightly, each shape (letters,); 0 where it has no ink.

    Figures and signs, of which the network was shown none, count as the word's letters do on the average; 1 in a word
    without letters.
    """
    told = [np.array([c.isalpha() and bool(p) for c, p in zip(w.text, w.pieces, strict=True)]) for w in words]
    seen = [[of[at] for of in pictures_of(word)] for word, at in zip(words, told, strict=True) if at.any()]
    odds = (
        log_odds(trained(), *(np.concatenate(of) for of in zip(*seen, strict=True)))[:, RIGHT] if seen else np.zeros(0)
    )
    shares = np.split(1 / (1 + np.exp(-odds)), np.cumsum([at.sum() for at in told])[:-1])
    out = []
    for word, at, share in zip(words, told, shares, strict=True):
        inked = np.array([bool(pieces) for pieces in word.pieces])
        found = np.where(inked, share.mean() if len(share) else 1.0, 0.0)
        found[at] = share
        out.append(found)
    return out


def log_odds(network: CutNetwork, pictures: Single, measures: Single, rows: NDArray[np.int64]) -> Floats:
    """Return the log odds that letters overlap the written ones by `OVERLAPS`, shape (letters, 3).

    pictures, measures, rows: of `letter_pictures.pictures_of`.
    """
    layers = network.layers
    with limited_threads():
        y = layers.of_pictures(pictures) + layers.of_told(measures) + layers.offsets[0]
        for k, of in enumerate(network.of_letters):
            y = y + of[rows[:, k]]
        return layers.outcome(y).astype(float)


@lru_cache(maxsize=1)
def trained() -> CutNetwork:
    """Return the network as it was trained."""
    return network_of(files("skeleton.words") / "tables" / NAME)


def network_of(file: Path | Traversable) -> CutNetwork:
    """Return the network kept in a file, as `tests.bench trace_cuts` writes it."""
    arrays, _ = load_arrays(file)
    return CutNetwork(picture_network_of(arrays, STRIDES), several(arrays, "of_letters", 3))
