"""The contact sheet of a page of writing: its ink, every letter's part in a colour of its own, and the text over it.

Where one letter is cut off the next, the line bears a small cross stroke; what is doubtful is named in red.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.label_font import font_path
from capture.units import Points, px_per_mm
from ownhand.hands.line_letters import MISFIT
from ownhand.pictures.canvas import QUIET, STROKE_COLOURS, WARN, Canvas, Colour
from skeleton.words.line_reading import SURELY, LineReading
from skeleton.words.word_reading import WordReading

PX_PER_MM = 14.0
INK_TINT: Colour = (204, 200, 190)
TEXT_MM = 2.6
CUT_MM = 0.9
"""Length of the stroke across the line where a letter is cut off."""


def draw_writing(grey: NDArray[np.uint8], dpi: float, readings: Sequence[LineReading]) -> Canvas:
    """Return the contact sheet of a page read line by line; words that do not suit their ink are named in red.

    Lengths are mm of the page, y down; grey pictures have shape (h, w).
    """
    k = px_per_mm(dpi)
    canvas = Canvas(grey.shape[1] / k, grey.shape[0] / k, px_per_mm=PX_PER_MM)
    canvas.shade(grey, 0.0, 0.0, px_per_mm=k, colour=INK_TINT)
    for reading in readings:
        draw_words(canvas, reading, np.zeros(2))
    return canvas


def draw_words(canvas: Canvas, reading: LineReading, at: Points, *, named: bool = True) -> None:
    """Draw the letters of a line, and names beside its words.

    Parameters
    ----------
    at
        Where the picture lies on the page that the line was read on: mm, shape (2,).
    named
        Whether words are named; else only what is doubtful about them is told.
    """
    for text, word, suits in zip(reading.texts, reading.words, reading.suits, strict=True):
        _draw_word(canvas, text, word, suits, at, named)


def _draw_word(canvas: Canvas, text: str, word: WordReading, suits: bool, at: Points, named: bool) -> None:
    pieces = [p + at for letter in word.letters for p in letter.pieces_mm]
    if not pieces:
        return
    x, y = np.concatenate(pieces).min(axis=0)
    sure = suits and word.cost <= SURELY
    doubt = "" if sure else "?" if suits else "left out"
    label = f"{text} {doubt}".rstrip() if named else doubt
    if named or not sure:
        canvas.text(x, y - 0.5, label, font=font_path(), size_mm=TEXT_MM, colour=QUIET if sure else WARN)
    if not suits:
        return
    for n, letter in enumerate(word.letters):
        for p in letter.pieces_mm:
            canvas.line(p + at, width_mm=0.22, colour=STROKE_COLOURS[n % len(STROKE_COLOURS)])
        if letter.misfit > MISFIT and letter.pieces_mm:
            every = np.concatenate(letter.pieces_mm) + at
            below = float(every[:, 0].mean()), float(every[:, 1].max()) + TEXT_MM
            canvas.text(*below, f"{letter.char} ?", font=font_path(), size_mm=TEXT_MM, colour=WARN, anchor="ms")
    for letter in word.letters[:-1]:
        if letter.joined and letter.pieces_mm:
            canvas.line(_across(letter.pieces_mm[-1] + at), width_mm=0.12, colour=QUIET)


def _across(piece: Points) -> list[tuple[float, float]]:
    """Return a short line across the end of a piece."""
    end = piece[-1]
    back = piece[max(0, len(piece) - 6)]
    way = end - back
    length = float(np.hypot(*way))
    normal = np.array([-way[1], way[0]]) / length if length > 0 else np.array([0.0, 1.0])
    return [tuple(end - 0.5 * CUT_MM * normal), tuple(end + 0.5 * CUT_MM * normal)]
