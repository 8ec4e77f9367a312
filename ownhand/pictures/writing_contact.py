"""The contact sheet of a page of writing: its ink, every letter's part in a colour of its own, and the text over it.

Where one letter is cut off the next, the line bears a small cross stroke; what is doubtful is named in red.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.label_font import font_path
from capture.units import Points
from ownhand.hands.line_letters import MISFIT
from ownhand.pictures.canvas import QUIET, RULE, STROKE_COLOURS, WARN, Canvas, Colour
from skeleton.words.line_reading import SURELY, LineReading
from skeleton.words.word_reading import WordReading

PX_PER_MM = 14.0
INK_TINT: Colour = (204, 200, 190)
TEXT_MM = 2.6
CUT_MM = 0.9
"""Length of the stroke across the line where a letter is cut off."""


@dataclass(frozen=True, eq=False)
class WrittenLine:
    """A picture with writing on it, and what was read there."""

    grey: NDArray[np.uint8]
    """Shape (h, w)."""

    px_per_mm: float
    readings: Sequence[LineReading]
    """In the frame of the picture: mm, y down."""

    left_mm: float = 0.0
    top_mm: float = 0.0
    """Where the picture lies on the page."""

    baseline_mm: float | None = None
    """Height of the ruled line on the page, None where there is none."""


def draw_writing(size_mm: tuple[float, float], lines: Sequence[WrittenLine], title: str = "") -> Canvas:
    """Return the contact sheet of a page, mm, y down; words that do not suit their ink are named in red."""
    canvas = Canvas(*size_mm, px_per_mm=PX_PER_MM)
    if title:
        canvas.text(14, 20, title, font=font_path(bold=True), size_mm=4.2, colour=QUIET)
        legend = "a colour a letter; cross stroke: where letters are cut apart; red: doubtful, or left out"
        canvas.text(14, 25, legend, font=font_path(), size_mm=3.2, colour=QUIET)
    for line in lines:
        canvas.shade(line.grey, line.left_mm, line.top_mm, px_per_mm=line.px_per_mm, colour=INK_TINT)
        if line.baseline_mm is not None:
            ends = [(line.left_mm, line.baseline_mm), (size_mm[0] - 14.0, line.baseline_mm)]
            canvas.line(ends, width_mm=0.1, colour=RULE)
    for line in lines:
        at = np.array([line.left_mm, line.top_mm])
        for reading in line.readings:
            for text, word, suits in zip(reading.texts, reading.words, reading.suits, strict=True):
                _draw_word(canvas, text, word, suits, at)
    return canvas


def _draw_word(canvas: Canvas, text: str, word: WordReading, suits: bool, at: Points) -> None:
    pieces = [p + at for letter in word.letters for p in letter.pieces_mm]
    if not pieces:
        return
    x, y = np.concatenate(pieces).min(axis=0)
    sure = suits and word.cost <= SURELY
    label = text if sure else f"{text} ?" if suits else f"{text} left out"
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
