"""Letters of running text as attempts of the hand: those of a page without a sheet, and of a sheet's ruled lines.

Nothing is assigned in silence: letters of words that do not suit their ink are left out, doubtful ones say so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.limits import MOST_ATTEMPTS, MOST_POINTS, MOST_STROKES, REACH_MM
from capture.report import Finding
from capture.units import cell_from_image
from fontbuild.joins import way_of
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke
from skeleton.words.delayed_strokes import sharing_a_bar
from skeleton.words.line_reading import SURELY, LineReading
from skeleton.words.word_reading import WordLetter, WordReading

BEARING = 0.15
"""x-heights between a letter's left edge and its cell's left guide."""

PEN_REACH = 0.9
"""Pen widths from a letter's line within which ink is taken for its picture."""

MISSING_BAR = 0.3
"""Confidence in a letter that shares its bar with its neighbour: low enough to stay out of the font beside others."""

DOUBTFUL_WORD = "doubtful word"
DOUBTFUL_LETTER = "low confidence"


@dataclass(frozen=True)
class LinePlace:
    """Where a line stands among what was read, and how large it is in truth."""

    page: str
    """Beginning of its letters' ids: '<sheet id>/<page>'."""

    number: int
    """Of the page."""

    row: int
    """Of the line, from 1."""

    x_height_mm: float
    """Writing size that its letters are kept with."""

    scale: float = 1.0
    """True size over the picture's millimetres."""

    left_mm: float = 0.0
    top_mm: float = 0.0
    """Where the picture lies on the page, mm as printed."""


@dataclass(frozen=True, eq=False)
class LineLetter:
    """A letter of a line, cut out."""

    attempt: Attempt
    grey: NDArray[np.uint8]
    """Shape (h, w): its ink alone on white."""

    left_mm: float
    top_mm: float
    """The picture's left and top edge in the attempt's cell frame (y up)."""

    place_mm: tuple[float, float]
    """Where the cell's left guide meets its baseline on the page, true mm, y down."""


def letters_of(
    reading: LineReading, grey: NDArray[np.uint8], px_per_mm: float, place: LinePlace, counts: Counter[str]
) -> Iterator[LineLetter]:
    """Yield the letters of the words that suit their ink.

    The number of each within its line is its place in the text, the spaces counted: neighbours stand in one word.

    Parameters
    ----------
    reading
        In the frame of `grey`.
    grey
        Shape (h, w), uint8: the line, or the page that it stands on.
    counts
        How many attempts there are at each character; counted on.
    """
    column = 0
    for word, text, suits in zip(reading.words, reading.texts, reading.suits, strict=True):
        before = False
        shared = sharing_a_bar([(x.char, x.pieces_mm) for x in word.letters], word.x_height_mm)
        first, column = column + 1, column + len(text) + 1
        for n, letter in enumerate(word.letters if suits else ()):
            way, before = way_of(before, letter.joined), letter.joined
            if not letter.pieces_mm or counts[letter.char] >= MOST_ATTEMPTS:
                continue
            made = _attempt(letter, word, text, place, first + n, counts[letter.char] + 1, way, n in shared)
            if made is None:
                continue
            counts[letter.char] += 1
            attempt, left, base = made
            picture, x, y = picture_of(letter, grey, px_per_mm, attempt.pen_mm / place.scale)
            stands = (place.left_mm + left) * place.scale, (place.top_mm + base) * place.scale
            yield LineLetter(
                attempt, picture, round((x - left) * place.scale, 4), round((base - y) * place.scale, 4),
                (round(stands[0], 4), round(stands[1], 4)),
            )  # fmt: skip


def _attempt(
    letter: WordLetter, word: WordReading, text: str, place: LinePlace, column: int, number: int, way: str, shared: bool
) -> tuple[Attempt, float, float] | None:
    """Return a letter as an attempt, and where its cell's left guide and baseline lie in the picture, mm."""
    every = np.concatenate(letter.pieces_mm)
    height, slope = word.baseline_mm
    size = place.x_height_mm / place.scale
    left = float(every[:, 0].min()) - BEARING * size
    base = height + slope * float(0.5 * (every[:, 0].min() + every[:, 0].max()))
    strokes = []
    for p in letter.pieces_mm:
        level = np.stack([p[:, 0], p[:, 1] - slope * p[:, 0] + (base - height)], axis=1)
        strokes.append(
            Stroke(cell_from_image(level, left_mm=left, baseline_mm=base) * place.scale, _width(word) * place.scale)
        )
    if len(strokes) > MOST_STROKES or any(
        len(s.points_mm) > MOST_POINTS or float(abs(s.points_mm).max()) > REACH_MM for s in strokes
    ):
        return None
    findings = []
    where = place.number, place.row, column
    if word.cost > SURELY:
        findings.append(Finding(DOUBTFUL_WORD, letter.char, *where, f"'{text}'"))
    elif letter.doubtful:
        findings.append(Finding(DOUBTFUL_LETTER, letter.char, *where, f"cut out wrongly, it seems, of '{text}'"))
    elif shared:
        findings.append(Finding(DOUBTFUL_LETTER, letter.char, *where, f"one bar for two letters, in '{text}'"))
    attempt = Attempt(
        id=f"{place.page}/{place.row}.{column}",
        char=letter.char,
        attempt=number,
        status="written",
        strokes=tuple(strokes),
        x_height_mm=place.x_height_mm,
        ascender_mm=2.0 * place.x_height_mm,
        descender_mm=-place.x_height_mm,
        width_mm=float(np.ptp(every[:, 0])) * place.scale + 2 * BEARING * place.x_height_mm,
        pen_mm=max(s.width_mm for s in strokes),
        confidence=min(letter.right, MISSING_BAR) if shared else letter.right,
        allograph=way,
        findings=tuple(findings),
    )
    return attempt, left, base


def _width(word: WordReading) -> float:
    """Return the pen's width in a word, mm."""
    return float(np.median([s.width_mm for s in word.strokes])) if word.strokes else 0.4


def picture_of(
    letter: WordLetter, grey: NDArray[np.uint8], px_per_mm: float, pen_mm: float
) -> tuple[NDArray[np.uint8], float, float]:
    """Return a letter's ink on white, shape (h, w), and where its left and top edges lie in the line's picture, mm.

    grey: the line, dark ink on light paper, shape (rows, columns).
    """
    k = px_per_mm
    every = np.concatenate(letter.pieces_mm)
    h, w = grey.shape
    x0, y0 = np.clip(np.floor((every.min(axis=0) - 1.0) * k).astype(int), 0, [w - 1, h - 1])
    x1, y1 = np.clip(np.ceil((every.max(axis=0) + 1.0) * k).astype(int), [x0 + 1, y0 + 1], [w, h])
    near = np.zeros((y1 - y0, x1 - x0), np.uint8)
    for p in letter.pieces_mm:
        # a dot of one point is a line from it to itself: OpenCV draws none of one point
        at = np.round(np.vstack([p, p[-1:]]) * k - 0.5 - [x0, y0]).astype(np.int32)
        cv2.polylines(near, [at.reshape(-1, 1, 2)], False, 255, max(1, round(2 * PEN_REACH * pen_mm * k)))
    return np.where(near > 0, grey[y0:y1, x0:x1], np.uint8(255)), x0 / k, y0 / k


def left_out_of(reading: LineReading, row: int) -> list[str]:
    """Return the words of a line that do not suit their ink, with their line: 'line 3: lamp'."""
    return [f"line {row}: {word}" for word, ok in zip(reading.texts, reading.suits, strict=True) if not ok]
