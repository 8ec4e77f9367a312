"""The contact sheet of a page of writing: its ink, every letter's part in a colour of its own, and the text over it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.label_font import font_path
from capture.units import px_per_mm
from ownhand.pictures.canvas import QUIET, STROKE_COLOURS, WARN, Canvas, Colour
from skeleton.words.line_reading import SURELY, LineReading

PX_PER_MM = 14.0
INK_TINT: Colour = (204, 200, 190)
TEXT_MM = 2.6


def draw_writing(grey: NDArray[np.uint8], dpi: float, readings: Sequence[LineReading]) -> Canvas:
    """Return the contact sheet of a page read line by line; words that do not suit their ink are named in red.

    Lengths are mm of the page, y down; grey pictures have shape (h, w).
    """
    k = px_per_mm(dpi)
    canvas = Canvas(grey.shape[1] / k, grey.shape[0] / k, px_per_mm=PX_PER_MM)
    canvas.shade(grey, 0.0, 0.0, px_per_mm=k, colour=INK_TINT)
    for reading in readings:
        for text, word, suits in zip(reading.texts, reading.words, reading.suits, strict=True):
            if not word.letters:
                continue
            pieces = [p for letter in word.letters for p in letter.pieces_mm]
            if not pieces:
                continue
            x, y = np.concatenate(pieces).min(axis=0)
            colour = WARN if not suits else QUIET
            label = text if suits and word.cost <= SURELY else f"{text} ?" if suits else f"{text} left out"
            canvas.text(x, y - 0.5, label, font=font_path(), size_mm=TEXT_MM, colour=colour)
            if not suits:
                continue
            for n, letter in enumerate(word.letters):
                for p in letter.pieces_mm:
                    canvas.line(p, width_mm=0.22, colour=STROKE_COLOURS[n % len(STROKE_COLOURS)])
    return canvas
