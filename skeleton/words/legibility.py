"""As which letter a drawn letter is read: a small network sees its line alone, and says how likely each letter is.

A letter that was cut out of its word as it was written may still be none that anybody reads, a t whose bar was taken
for another letter's, an l that begins with a piece of the letter before. The network was trained on letters of people's
words and of words put together of people's single letters (`tests.bench trace_legibility`). Capital and small letters
count as one: in many hands their sizes alone tell them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from string import ascii_lowercase, ascii_uppercase

import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from capture.units import Points
from skeleton.small_networks import Convolutions, Single, convolutions_of, load_arrays, several, shares
from skeleton.words.along_ways import row_of
from skeleton.words.letter_pictures import CutWord, on_its_line, picture_of

Floats = NDArray[np.float64]

NAME = "legibility.npz"

STRIDES = (2, 2, 2)

NAMES = ascii_lowercase
"""Letters that are told apart."""

SMALL, LARGE = ([row_of(c) for c in alphabet] for alphabet in (ascii_lowercase, ascii_uppercase))
"""Their rows among the letters that the network knows; see `along_ways.row_of`."""

AT_ONCE = 500
"""Letters that are looked at together."""

LEAST = 0.01
"""The least likelihood that is told apart."""


@dataclass(frozen=True)
class ReadAs:
    """As what a letter is read, were all letters equally common."""

    own: float
    """How likely it is as itself."""

    other: str
    """As which other letter it is likeliest."""


@dataclass(frozen=True, eq=False)
class ReadingNetwork:
    """Convolutions and two layers."""

    convolutions: Convolutions
    weights: tuple[Single, ...]
    """Each of shape (before, after)."""

    offsets: tuple[Single, ...]


def read_as(letters: Sequence[tuple[str, Sequence[Points]]]) -> list[ReadAs | None]:
    """Return as what letters are read; None for characters other than a to z and A to Z.

    letters: each with its character and its lines, (n, 2), in x-heights, baseline at y = 0, y down.
    """
    small = [(k, char.lower(), lines) for k, (char, lines) in enumerate(letters)]
    known = [(k, char, lines) for k, char, lines in small if len(char) == 1 and char in NAMES]
    out: list[ReadAs | None] = [None] * len(letters)
    for at in range(0, len(known), AT_ONCE):
        some = known[at : at + AT_ONCE]
        told = likelihoods(trained(), np.stack([picture_of(lines) for _, _, lines in some]))
        for (k, char, _), share in zip(some, told, strict=True):
            own = NAMES.index(char)
            others = np.where(np.arange(len(NAMES)) == own, -1.0, share)
            out[k] = ReadAs(float(share[own]), NAMES[int(others.argmax())])
    return out


def surprise_at(word: CutWord) -> float | None:
    """Return how surprised who reads a word's letters one by one is at their names, nats a letter, on the average.

    None for a word without letters a to z; a letter without ink is read as itself with `LEAST`.
    """
    letters = list(zip(word.text, word.pieces, strict=True))
    own = [r.own for r in read_as([(c, on_its_line(word, of)) for c, of in letters if of]) if r is not None]
    own += [0.0 for c, of in letters if not of and c.lower() in NAMES]
    return float(-np.log(np.maximum(own, LEAST)).mean()) if own else None


def likelihoods(network: ReadingNetwork, pictures: Single) -> Floats:
    """Return how likely drawn letters are each of `NAMES`, small or capital, shape (letters, 26).

    pictures: shape (letters, SIZE, SIZE), of `letter_pictures.picture_of`.
    """
    with limited_threads():
        first, last = network.weights
        y = np.maximum(network.convolutions.seen(pictures[:, None]) @ first + network.offsets[0], 0)
        told = shares((y @ last + network.offsets[1])[:, [*SMALL, *LARGE]])
    out: Floats = told[:, : len(NAMES)] + told[:, len(NAMES) :]
    return out


@lru_cache(maxsize=1)
def trained() -> ReadingNetwork:
    """Return the network as it was trained."""
    return network_of(files("skeleton.words") / "tables" / NAME)


def network_of(file: Path | Traversable) -> ReadingNetwork:
    """Return the network kept in a file, as `tests.bench trace_legibility` writes it."""
    arrays, _ = load_arrays(file)
    return ReadingNetwork(
        convolutions_of(arrays, STRIDES), several(arrays, "weights", 2), several(arrays, "offsets", 2)
    )
