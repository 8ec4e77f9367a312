"""The contact sheet of a page of copied lines: ink on its lines, the text that was to be copied, words and letters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from capture.label_font import font_path
from capture.read import LineInk
from capture.sheet import Page, RuledLine
from fontbuild.text_spacing_statistics import CopiedLine, copied_words
from ownhand.pictures.canvas import INK, QUIET, RULE, STROKE_COLOURS, WARN, Canvas, Colour
from ownhand.pictures.writing_contact import INK_TINT, TEXT_MM, draw_words
from skeleton.words.line_reading import LineReading

PX_PER_MM = 14.0
BRACKET = 1.1
"""How far under the ruled line the bracket of a word lies, in x-heights: below what most letters reach."""

LEGEND = (
    "small: the text to copy; bracket: a word that was found, from which the spacing is measured",
    "a colour a letter, cut where a short stroke crosses; red, under the bracket: doubtful (?), or left out",
)

NOT_PARTED = "its words could not be told apart; it says nothing of the spacing"


def draw_copy(
    page: Page, sheet: str, lines: Sequence[tuple[LineInk, CopiedLine, LineReading | None]], *, x_height_mm: float
) -> Canvas:
    """Return the contact sheet of a page of ruled lines.

    Parameters
    ----------
    lines
        Those with writing on them, the pieces of ink found there, and the letters, if they were read.
    x_height_mm
        The sheet's.
    """
    canvas = Canvas(*page.size_mm, px_per_mm=PX_PER_MM)
    title = f"Sheet {sheet}, page {page.page}: {len(lines)} of {len(page.ruled)} lines copied"
    canvas.text(14, 20, title, font=font_path(bold=True), size_mm=4.2, colour=QUIET)
    for n, legend in enumerate(LEGEND):
        canvas.text(14, 25 + 4.2 * n, legend, font=font_path(), size_mm=3.2, colour=QUIET)
    written = {ink.line: (ink, found, INK if read is None else INK_TINT) for ink, found, read in lines}
    for ruled in page.ruled:
        _draw_ruled(canvas, ruled)
        if ruled in written:
            _draw_copied(canvas, *written[ruled], x_height_mm=x_height_mm)
        else:
            _note(canvas, ruled, "nothing written")
    for ink, _, reading in lines:
        if reading is not None:
            under = ink.baseline_mm + BRACKET * x_height_mm + 0.8 * TEXT_MM
            draw_words(canvas, reading, np.array([ink.left_mm, ink.top_mm]), doubts_mm=under)
    return canvas


def _draw_ruled(canvas: Canvas, ruled: RuledLine) -> None:
    x, y, w, _ = ruled.box_mm
    canvas.line([(x, ruled.baseline_mm), (x + w, ruled.baseline_mm)], width_mm=0.1, colour=RULE)
    canvas.text(x, y - 0.6, ruled.text, font=font_path(), size_mm=2.6, colour=QUIET)


def _note(canvas: Canvas, ruled: RuledLine, note: str) -> None:
    x, y, w, _ = ruled.box_mm
    canvas.text(x + w, y - 0.6, note, font=font_path(), size_mm=2.2, colour=WARN, anchor="rs")


def _draw_copied(canvas: Canvas, ink: LineInk, found: CopiedLine, tint: Colour, *, x_height_mm: float) -> None:
    canvas.shade(ink.grey, ink.left_mm, ink.top_mm, px_per_mm=ink.px_per_mm, colour=tint)
    words = copied_words([found], x_height_mm=1.0)
    if not words:
        _note(canvas, ink.line, NOT_PARTED)
    under = ink.baseline_mm + BRACKET * x_height_mm
    for number, word in enumerate(words):
        left, right = ink.left_mm + word.box[0], ink.left_mm + word.box[2]
        colour = STROKE_COLOURS[number % 2]
        up = under - 0.2 * x_height_mm
        canvas.line([(left, up), (left, under), (right, under), (right, up)], width_mm=0.16, colour=colour)
