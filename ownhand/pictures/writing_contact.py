"""The contact sheet of a page of writing: its ink, every letter's part in a colour of its own, and the text over it.

Where one letter is cut off the next, the line bears a small cross stroke; what is doubtful is named in red.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from capture.label_font import font_path, label_font
from capture.units import Points, px_per_mm
from ownhand.pictures.canvas import QUIET, STROKE_COLOURS, WARN, Canvas, Colour
from skeleton.words.line_reading import SURELY, LineReading
from skeleton.words.word_reading import WordReading

PX_PER_MM = 14.0
INK_TINT: Colour = (204, 200, 190)
TEXT_MM, LEAST_TEXT_MM = 2.6, 1.6
"""Size of names, and of those that have little room before the next one."""

LEGEND = "a colour a letter, cut where a short stroke crosses; red: doubtful (?), or left out; pale: ink of no letter"
LEGEND_MM = 7.0
"""Height of the strip below the page in which it stands."""

CUT_MM = 0.9
"""Length of the stroke across the line where a letter is cut off."""


def draw_writing(grey: NDArray[np.uint8], dpi: float, readings: Sequence[LineReading]) -> Canvas:
    """Return the contact sheet of a page read line by line; words that do not suit their ink are named in red.

    Lengths are mm of the page, y down; grey pictures have shape (h, w).
    """
    k = px_per_mm(dpi)
    wide, tall = grey.shape[1] / k, grey.shape[0] / k
    canvas = Canvas(wide, tall + LEGEND_MM, px_per_mm=PX_PER_MM)
    canvas.shade(grey, 0.0, 0.0, px_per_mm=k, colour=INK_TINT)
    size = TEXT_MM * min(1.0, max(wide - 5.0, 1.0) / label_font().width_mm(LEGEND, TEXT_MM))
    canvas.text(2.0, tall + 0.7 * LEGEND_MM, LEGEND, font=font_path(), size_mm=size, colour=QUIET)
    for reading in readings:
        draw_words(canvas, reading, np.zeros(2))
    return canvas


def draw_words(canvas: Canvas, reading: LineReading, at: Points, *, doubts_mm: float | None = None) -> None:
    """Draw the letters of a line, and names over its words.

    Parameters
    ----------
    at
        Where the picture lies on the page that the line was read on: mm, shape (2,).
    doubts_mm
        Height on the page, y down, at which is told what is doubtful about words that are named elsewhere.
    """
    boxes = [_box(word, at) for word in reading.words]
    starts = [float(box[0]) for box in boxes if box is not None]
    for text, word, suits, box in zip(reading.texts, reading.words, reading.suits, boxes, strict=True):
        if box is None:
            continue
        sure = suits and word.cost <= SURELY
        doubt = "" if sure else "?" if suits else "left out"
        x, y = box
        label, under = (f"{text} {doubt}".rstrip(), y - 0.5) if doubts_mm is None else (doubt, doubts_mm)
        room = min((start for start in starts if start > x), default=np.inf) - x
        canvas.text(x, under, label, font=font_path(), size_mm=_size(label, room), colour=QUIET if sure else WARN)
        _draw_word(canvas, word, suits, at)


def _box(word: WordReading, at: Points) -> Points | None:
    """Return the left and top edge of a word's letters, shape (2,); None without letters."""
    pieces = [p for letter in word.letters for p in letter.pieces_mm]
    return np.concatenate(pieces).min(axis=0) + at if pieces else None


def _size(label: str, room_mm: float) -> float:
    """Return the size of a name that is to end before the next one."""
    wide = label_font().width_mm(f"{label} ", TEXT_MM)
    return TEXT_MM * float(np.clip(room_mm / max(wide, 1e-6), LEAST_TEXT_MM / TEXT_MM, 1.0))


def _draw_word(canvas: Canvas, word: WordReading, suits: bool, at: Points) -> None:
    if not suits:
        return
    for n, letter in enumerate(word.letters):
        for p in letter.pieces_mm:
            canvas.line(p + at, width_mm=0.22, colour=STROKE_COLOURS[n % len(STROKE_COLOURS)])
    # letters side by side have one name between them, or one would lie over the other
    inked = [letter for letter in word.letters if letter.pieces_mm]
    for doubtful, run in groupby(inked, key=lambda letter: letter.doubtful):
        if doubtful:
            letters = list(run)
            every = np.concatenate([p for letter in letters for p in letter.pieces_mm]) + at
            below = float(every[:, 0].min() + every[:, 0].max()) / 2, float(every[:, 1].max()) + TEXT_MM
            named = "".join(letter.char for letter in letters)
            canvas.text(*below, f"{named} ?", font=font_path(), size_mm=TEXT_MM, colour=WARN, anchor="ms")
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
