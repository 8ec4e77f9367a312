"""What a letter that was cut out of a word looks like to `cut_rightness`: its own lines, and those about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import line_length
from skeleton.small_networks import Single
from skeleton.words.along_ways import LETTERS, row_of

SIZE = 48
"""Rows and columns of a picture."""

PER_X_HEIGHT = 14.0
"""Places to an x-height."""

SIDE = SIZE / PER_X_HEIGHT
"""x-heights of a picture."""

BELOW = 1.2
"""x-heights that a picture shows below the baseline."""

SHIFT = 4
"""Bits after the point in which OpenCV takes places."""

MEASURES = 14

ROWS = LETTERS
"""Rows of numbers that stand for letters; see `along_ways`."""


@dataclass(frozen=True, eq=False)
class CutWord:
    """A word that was read, and how it was cut into letters. Frame: the image's, y down, in any unit of length."""

    text: str
    pieces: Sequence[Sequence[Points]]
    """Of each letter its part of the strokes, each (n, 2); none where no ink was found."""

    joined: Sequence[bool]
    """Whether the pen stayed down on the way to the next letter."""

    misfit: Sequence[float]
    """How far each lies off its form, x-heights."""

    baseline: tuple[float, float]
    """Height at the left edge, and slope (down per length to the right)."""

    x_height: float
    slant: float
    cost: float
    """Of a letter, on the average; see `WordReading.cost`. NaN where it is not known."""

    pen: float


@dataclass(frozen=True, eq=False)
class _Upright:
    """A letter's lines in x-heights, baseline at y = 0, y down."""

    lines: tuple[Points, ...]
    low: Points
    high: Points
    """Shape (2,): of all its points."""

    length: float


def pictures_of(word: CutWord) -> tuple[Single, Single, NDArray[np.int64]]:
    """Return what is seen and told of every letter of a word.

    Returns
    -------
    Pictures (letters, 3, SIZE, SIZE), 0 for paper and 1 for line: of the letter, of those before it, of those after it;
    measures (letters, MEASURES), NaN where not known; rows of the letter before, of the letter and of the next,
    (letters, 3), 0 for none. Of a letter without ink pictures and measures are 0.
    """
    count = len(word.text)
    letters = [_upright(word, pieces) for pieces in word.pieces]
    pictures = np.zeros((count, 3, SIZE, SIZE), np.uint8)
    measures = np.zeros((count, MEASURES), np.float32)
    whole = sum(letter.length for letter in letters if letter)
    for j, own in enumerate(letters):
        if own is None:
            continue
        corner = _corner(own.low[0], own.high[0])
        for k, letter in enumerate(letters):
            if letter and letter.low[0] < corner[0] + SIDE and letter.high[0] > corner[0]:
                _draw(pictures[j, 0 if k == j else 1 if k < j else 2], letter.lines, corner)
        measures[j] = _measures(word, letters, own, j, whole)
    rows = np.array([0, *map(row_of, word.text), 0])
    at = np.arange(count)
    seen: Single = pictures.astype(np.float32) / np.float32(255)
    return seen, measures, np.stack([rows[at], rows[at + 1], rows[at + 2]], axis=1)


def picture_of(lines: Sequence[Points]) -> Single:
    """Return the picture of a letter alone, (SIZE, SIZE), 0 for paper and 1 for line.

    lines: each (n, 2), in x-heights, baseline at y = 0, y down.
    """
    across = np.concatenate([np.asarray(p)[:, 0] for p in lines])
    picture = np.zeros((SIZE, SIZE), np.uint8)
    _draw(picture, lines, _corner(across.min(), across.max()))
    seen: Single = picture.astype(np.float32) / np.float32(255)
    return seen


def on_its_line(word: CutWord, pieces: Sequence[Points]) -> tuple[Points, ...]:
    """Return pieces of a word in x-heights, baseline at y = 0, y down."""
    height, slope = word.baseline
    return tuple(
        np.stack([p[:, 0], p[:, 1] - height - slope * p[:, 0]], axis=1) / word.x_height for p in map(np.asarray, pieces)
    )


def _upright(word: CutWord, pieces: Sequence[Points]) -> _Upright | None:
    """Return a letter in x-heights; None where it has no ink."""
    if not pieces:
        return None
    lines = on_its_line(word, pieces)
    every = np.concatenate(lines)
    return _Upright(lines, every.min(axis=0), every.max(axis=0), sum(line_length(p) for p in lines))


def _corner(left: float, right: float) -> Points:
    """Return the top left corner of the picture of a letter that reaches from left to right, x-heights."""
    return np.array([0.5 * (left + right - SIDE), BELOW - SIDE])


def _draw(picture: NDArray[np.uint8], lines: Sequence[Points], corner: Points) -> None:
    """Draw lines, x-heights, into a picture whose top left corner lies there."""
    for line in lines:
        # a dot of one point is a line from it to itself
        at = (np.vstack([line, line[-1:]]) - corner) * (PER_X_HEIGHT * 2**SHIFT)
        cv2.polylines(picture, [np.round(at).astype(np.int32).reshape(-1, 1, 2)], False, 255, 1, cv2.LINE_AA, SHIFT)


def _measures(
    word: CutWord, letters: Sequence[_Upright | None], own: _Upright, j: int, whole: float
) -> NDArray[np.float32]:
    """Return what is measured of a letter; whole: length of all of the word's line."""
    before = letters[j - 1] if j else None
    after = letters[j + 1] if j + 1 < len(letters) else None
    return np.array(
        [
            min(word.misfit[j], 2.0), np.clip(word.cost, -2, 8), np.log(word.x_height / word.pen), word.slant,
            np.log(own.high[0] - own.low[0] + 0.1), own.low[1], own.high[1],
            len(own.lines), own.length, own.length * len(letters) / max(whole, 1e-6),
            bool(j and word.joined[j - 1]), word.joined[j],
            np.clip(own.low[0] - before.high[0], -2, 2) if before else 0.5,
            np.clip(after.low[0] - own.high[0], -2, 2) if after else 0.5,
        ],
        np.float32,
    )  # fmt: skip
