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


def pictures_of(word: CutWord) -> tuple[Single, Single, NDArray[np.int64]]:
    """Return what is seen and told of every letter of a word.

    Returns
    -------
    Pictures (letters, 3, SIZE, SIZE), 0 for paper and 1 for line: of the letter, of those before it, of those after it;
    measures (letters, MEASURES), NaN where not known; rows of the letter before, of the letter and of the next,
    (letters, 3), 0 for none.
    """
    count = len(word.text)
    height, slope = word.baseline
    upright = [
        [np.stack([p[:, 0], p[:, 1] - height - slope * p[:, 0]], axis=1) / word.x_height for p in pieces]
        for pieces in word.pieces
    ]
    pictures = np.zeros((count, 3, SIZE, SIZE), np.uint8)
    measures = np.zeros((count, MEASURES), np.float32)
    for j, pieces in enumerate(upright):
        if not pieces:
            continue
        every = np.concatenate(pieces)
        low, high = float(every[:, 0].min()), float(every[:, 0].max())
        corner = np.array([0.5 * (low + high) - 0.5 * SIZE / PER_X_HEIGHT, BELOW - SIZE / PER_X_HEIGHT])
        for k, lines in enumerate(upright):
            _draw(pictures[j, 0 if k == j else 1 if k < j else 2], lines, corner)
        measures[j] = _measures(word, upright, j).astype(np.float32)
    rows = np.array([0, *map(row_of, word.text), 0])
    at = np.arange(count)
    seen: Single = pictures.astype(np.float32) / 255
    return seen, measures, np.stack([rows[at], rows[at + 1], rows[at + 2]], axis=1)


def _draw(picture: NDArray[np.uint8], lines: Sequence[Points], corner: Points) -> None:
    """Draw lines, x-heights, into a picture whose top left corner lies there."""
    for line in lines:
        at = (line - corner) * PER_X_HEIGHT
        if at[:, 0].max() < -1 or at[:, 0].min() > SIZE:
            continue
        # a dot of one point is a line from it to itself
        places = np.round(np.vstack([at, at[-1:]]) * 2**SHIFT).astype(np.int32)
        cv2.polylines(picture, [places.reshape(-1, 1, 2)], False, 255, 1, cv2.LINE_AA, SHIFT)


def _measures(word: CutWord, upright: Sequence[Sequence[Points]], j: int) -> NDArray[np.float64]:
    """Return what is measured of a letter."""
    every = np.concatenate(upright[j])
    left, right = (_edge(upright[k]) if 0 <= k < len(upright) else None for k in (j - 1, j + 1))
    low, high = float(every[:, 0].min()), float(every[:, 0].max())
    drawn = sum(line_length(np.ascontiguousarray(p)) for p in upright[j])
    whole = sum(line_length(np.ascontiguousarray(p)) for pieces in upright for p in pieces)
    return np.array(
        [
            min(word.misfit[j], 2.0), np.clip(word.cost, -2, 8), np.log(word.x_height / word.pen), word.slant,
            np.log(high - low + 0.1), float(every[:, 1].min()), float(every[:, 1].max()),
            len(upright[j]), drawn, drawn * len(upright) / max(whole, 1e-6),
            bool(j and word.joined[j - 1]), word.joined[j],
            np.clip(low - left[1], -2, 2) if left else 0.5, np.clip(right[0] - high, -2, 2) if right else 0.5,
        ]
    )  # fmt: skip


def _edge(pieces: Sequence[Points]) -> tuple[float, float] | None:
    """Return a letter's left and right edge; None where it has no ink."""
    if not pieces:
        return None
    every = np.concatenate(pieces)
    return float(every[:, 0].min()), float(every[:, 0].max())
