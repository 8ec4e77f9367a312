"""A page as a list of shapes: one description, from which the PDF and the SVG are made.

Frame: page (mm, from the top left corner, y down).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from capture.code import page_payload
from capture.fiducial_drawing import draw_code, draw_mark
from capture.label_font import has_label, label_font, printed_form
from capture.labels import name_of
from capture.page_fixtures import CLEAR_MM, CODE_MM, bar_beside_code, content_box
from capture.shapes import (
    BASELINE,
    BLACK,
    FIRST_LABEL,
    GUIDE,
    LABEL,
    TEXT,
    TICK,
    Colour,
    Fill,
    Frame,
    Line,
    Shape,
    Words,
)
from capture.sheet import Box, Cell, Page, RuledLine, Sheet

__all__ = [
    "BASELINE",
    "BLACK",
    "FIRST_LABEL",
    "GUIDE",
    "LABEL",
    "TEXT",
    "TICK",
    "Colour",
    "Fill",
    "Frame",
    "Line",
    "Said",
    "Shape",
    "Words",
    "draw_form",
    "draw_page",
    "in_print",
]

GUIDE_WIDTH_MM = 0.13
BASELINE_WIDTH_MM = 0.24

LABEL_SIZE_MM = 3.3
FIRST_NAME_SIZE_MM = 1.85
"""Of sheets of layout 1."""

NAME_SIZE_MM = 2.3
NUMBER_SIZE_MM = 1.9
"""Numbers of columns, raised before the label like a verse's; those of rows are as large as names."""

NUMBER_GAP_MM = 0.6
"""Between the number of a row and its first cell."""


@dataclass(frozen=True)
class Said:
    """What was agreed before the sheet was printed: it stands on the lines that are left empty otherwise."""

    use: str = ""
    consent: str = ""
    writer: str = ""

    @property
    def agreed(self) -> str:
        """What stands on the line of consent."""
        return "; ".join(text for text in (self.use, self.consent) if text)


def draw_page(sheet: Sheet, page: Page, *, title: str = "", said: Said | None = None) -> list[Shape]:
    """Return the shapes of a page, in the order in which they are painted.

    Parameters
    ----------
    title
        Printed at the top: whose hand it is.
    said
        What was agreed already.
    """
    shapes: list[Shape] = []
    for mark in page.marks:
        shapes.append(draw_mark(mark))
    payload = page_payload(sheet, page)
    shapes.append(draw_code(payload, page.code_mm))
    if page.second_code_mm is not None:
        shapes.append(draw_code(payload, page.second_code_mm))
    return shapes + draw_form(sheet, page, title=title, said=said)


def draw_form(sheet: Sheet, page: Page, *, title: str = "", said: Said | None = None) -> list[Shape]:
    """Return the shapes of a page without its markers and codes."""
    shapes: list[Shape] = []
    shapes.extend(draw_head(sheet, page, title))
    before: Cell | None = None
    for cell in page.cells:
        # a name once over its group of attempts: over each it is only read past
        again = before is not None and (before.char, before.row) == (cell.char, cell.row)
        shapes.extend(draw_cell(cell, sheet.layout, named=sheet.layout == 1 or not again))
        before = cell
    for line in page.ruled:
        shapes.extend(draw_ruled(line, sheet.layout))
    shapes.extend(draw_foot(page, said))
    return shapes


def draw_cell(cell: Cell, layout: int, *, named: bool = True) -> Iterator[Shape]:
    """Yield the guides, label and tick box of a cell."""
    x, y, width, height = cell.box_mm
    for over in (cell.ascender_mm, cell.x_height_mm, cell.descender_mm):
        at = cell.baseline_mm - over
        yield Line(x, at, x + width, at, GUIDE_WIDTH_MM, GUIDE)
    # beside the label, from layout 2 on, stands the number of the column
    top = min(y, cell.label_mm[1]) if layout == 1 else y
    for side in (x, x + width):
        yield Line(side, top, side, y + height, GUIDE_WIDTH_MM, GUIDE)
    yield Line(x, cell.baseline_mm, x + width, cell.baseline_mm, BASELINE_WIDTH_MM, BASELINE)
    yield Frame(cell.tick_mm, 0.13, TICK)
    yield from draw_label(cell, layout, named=named)
    if layout > 1:
        yield from draw_numbers(cell)


def draw_numbers(cell: Cell) -> Iterator[Shape]:
    """Yield the number of the cell's column and, before the first cell of a row, that of the row."""
    font, x = label_font(), cell.box_mm[0]
    column, row = str(cell.column), str(cell.row)
    right = x + 0.45
    yield Words(right - font.width_mm(column, NUMBER_SIZE_MM), cell.label_mm[1] + 1.5, column, NUMBER_SIZE_MM, LABEL)
    if cell.column == 1:
        left = x - NUMBER_GAP_MM - font.width_mm(row, NAME_SIZE_MM)
        yield Words(left, cell.baseline_mm, row, NAME_SIZE_MM, LABEL)


def draw_label(cell: Cell, layout: int, *, named: bool = True) -> Iterator[Shape]:
    """Yield the character in print and, `named`, its name where there is one."""
    font = label_font()
    left, top, width, _ = cell.label_mm
    base = top + 2.8
    shown = printed_form(cell.char)
    name = name_of(cell.char) if named and has_label(cell.char) else ""
    size = size_within(shown, width, LABEL_SIZE_MM)
    colour, most = (FIRST_LABEL, FIRST_NAME_SIZE_MM) if layout == 1 else (LABEL, NAME_SIZE_MM)
    yield Words(left, base, shown, size, colour)
    if name:
        start = left + max(font.width_mm(shown, size) + 0.7, 2.3)
        yield Words(start, base, name, size_within(name, left + width - start, most), colour)


def size_within(text: str, room_mm: float, most: float, *, bold: bool = False) -> float:
    """Return the size, at most `most`, in which a text takes no more room; one of marks alone takes none."""
    return min(most, room_mm / max(label_font(bold=bold).width_mm(text, 1.0), 1e-6))


def draw_ruled(line: RuledLine, layout: int) -> Iterator[Shape]:
    """Yield a ruled line with its text in small print above."""
    x, y, width, _ = line.box_mm
    yield Line(x, line.baseline_mm, x + width, line.baseline_mm, BASELINE_WIDTH_MM, BASELINE)
    text, colour = in_print(line.text), FIRST_LABEL if layout == 1 else LABEL
    yield Words(x, y - 0.6, text, size_within(text, width, 2.5), colour)


INSTRUCTIONS = (
    "Print at 100 % (actual size) on plain white paper. Black, blue or red pen; not green.",
    "Write each character once, your usual way, standing on the strong line; an x reaches the line above it.",
    "Slipped? Tick the small box over it and go on. Leave empty what you do not write.",
    "Scan the whole page, edges included, at 300 dpi or more.",
)
SHORT_INSTRUCTIONS = (
    "Print at 100 % on white paper. No green pen.",
    "Write on the strong line; an x reaches the next one up.",
    "Slipped? Tick its box. Leave empty what you do not write.",
    "Scan the whole page at 300 dpi or more.",
)
RULED_INSTRUCTIONS = (
    "Print at 100 % (actual size) on plain white paper. Black, blue or red pen; not green.",
    "Copy the small print on to the line below it, as you usually write, without looking at spacing.",
    "Ran out of line? Leave the rest of it out. Slipped? Just go on.",
    "Scan the whole page, edges included, at 300 dpi or more.",
)


def draw_head(sheet: Sheet, page: Page, title: str) -> Iterator[Shape]:
    """Yield the title, the instructions and the frame of the pen patch."""
    x, y, width, _ = content_box(page.size_mm)
    left = x + CODE_MM + CLEAR_MM + 0.5
    right = page.patch_mm[0] - 4.0 if page.patch_mm else x + width
    room = right - left
    heading = in_print(title) or "Handwriting sheet"
    yield Words(left, y + 4.0, heading, size_within(heading, room, 5.0, bold=True), TEXT, bold=True)
    about = (
        f"Sheet {sheet.id}, page {page.page} of {len(sheet.pages)}. Writing size: x-height {sheet.x_height_mm:g} mm."
    )
    yield Words(left, y + 8.2, about, size_within(about, room, 2.6), TEXT)
    instructions = RULED_INSTRUCTIONS if page.ruled else INSTRUCTIONS if room > 80 else SHORT_INSTRUCTIONS
    yield from draw_paragraphs(instructions, (left, y + 10.0, room, CODE_MM - 10.0), most=2.4)
    if page.patch_mm is not None:
        px, py, _, _ = page.patch_mm
        yield Frame(page.patch_mm, GUIDE_WIDTH_MM, BASELINE)
        caption = "Pen test: a few strokes, loops and dots"
        yield Words(px, py - 1.2, caption, size_within(caption, page.patch_mm[2], 2.4), TEXT)


def in_print(text: str) -> str:
    """Return `text` on one line, with a box for each character that the font of the words lacks."""
    font = label_font()
    line = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(char if font.covers(char) else "□" for char in line)


def draw_paragraphs(paragraphs: tuple[str, ...], box: Box, *, most: float) -> Iterator[Shape]:
    """Yield the paragraphs set into `box`, at the largest size up to `most` that lets them fit."""
    x, y, width, height = box
    size = most
    while True:
        lines = [line for paragraph in paragraphs for line in _wrapped(paragraph, width / size)]
        lead = 1.42 * size
        if len(lines) * lead <= height or size < 1.2:
            break
        size -= 0.05
    for i, line in enumerate(lines):
        yield Words(x, y + height - lead * (len(lines) - 1 - i) - 0.28 * size, line, size, TEXT)


def _wrapped(text: str, width_em: float) -> list[str]:
    font = label_font()
    lines: list[str] = []
    for word in text.split():
        if lines and font.width_mm(f"{lines[-1]} {word}", 1.0) <= width_em:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


CAUTION = "Capture a hand only with its owner's consent; never for signatures or cheques, never to deceive."


def draw_foot(page: Page, said: Said | None = None) -> Iterator[Shape]:
    """Yield the scale bar, the consent line (on the first page) and the caution."""
    x, y, width, height = content_box(page.size_mm)
    top = y + height - CODE_MM
    room = width - CODE_MM - CLEAR_MM - 1.5
    bx, by, length = page.bar_mm
    yield Line(bx, by, bx + length, by, 0.2, TEXT)
    for i in range(11):
        tall = 1.6 if i in (0, 10) else 0.6
        at = bx + length * i / 10
        # The end ticks' outer edges are the ends of the bar, so a ruler laid on it reads its whole length.
        at += {0: 0.1, 10: -0.1}.get(i, 0.0)
        yield Line(at, by - tall, at, by + tall, 0.2, TEXT)
    font = label_font()
    caption = f"{length:g} mm: measure it. If it is off, print again at 100 %."
    size = 2.4
    if bar_beside_code(page.size_mm) and bx + length + 3 + font.width_mm(caption, size) <= x + room:
        yield Words(bx + length + 3, by + 0.8, caption, size, TEXT)
    else:
        yield Words(bx, by + 4.0, caption, size_within(caption, room, size), TEXT)
    if page.page == 1:
        y1, y2 = top + 14.4, top + 20.2
        said = said or Said()
        yield from draw_blank("I agree that my handwriting is captured for:", x, y1, room, said.agreed)
        yield from draw_blank("Name in print, date (do not sign here):", x, y2, room, said.writer)
    yield Words(x, top + CODE_MM - 0.3, CAUTION, size_within(CAUTION, room, size), TEXT)


def draw_blank(text: str, x: float, y: float, room: float, filled: str = "") -> Iterator[Shape]:
    """Yield a text and a line to write on after it, with what is filled in already."""
    size = 2.4
    width = label_font().width_mm(text, size)
    yield Words(x, y, text, size, TEXT)
    yield Line(x + width + 1.2, y + 0.4, x + room, y + 0.4, 0.12, TEXT)
    if filled:
        words, left = in_print(filled), room - width - 2.0
        yield Words(x + width + 1.8, y, words, size_within(words, left, size), TEXT)
