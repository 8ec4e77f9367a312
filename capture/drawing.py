"""A page as a list of shapes: one description, from which the PDF and the SVG are made.

Frame: page (mm, from the top left corner, y down).

Colours. A scan is read in its green channel (or in grey): paper and pale green are bright there, black, blue and red
ink are dark. So the guides are pale green, as light as can still be followed with the pen; labels, which stand outside
the writing space, are a darker green that can be read. A printer without colour makes the guides a faint grey.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from capture.code import page_payload
from capture.furniture import CLEAR_MM, CODE_MM, bar_beside_code, content_box
from capture.label_font import label_font
from capture.labels import name_of, shown_form
from capture.sheet import MARK_DICTIONARY, Box, Cell, Mark, Page, RuledLine, Sheet

Colour = tuple[int, int, int]
"""sRGB, 0 to 255."""

BLACK: Colour = (0, 0, 0)
TEXT: Colour = (70, 76, 72)
LABEL: Colour = (62, 138, 88)
GUIDE: Colour = (196, 236, 207)
BASELINE: Colour = (136, 212, 158)
TICK: Colour = (112, 184, 136)

GUIDE_WIDTH_MM = 0.13
BASELINE_WIDTH_MM = 0.24

LABEL_SIZE_MM = 3.3
NAME_SIZE_MM = 1.85


@dataclass(frozen=True)
class Line:
    """A straight line with butt ends."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float
    colour: Colour


@dataclass(frozen=True)
class Frame:
    """The outline of a box, the line centred on its edge."""

    box: Box
    width: float
    colour: Colour


@dataclass(frozen=True)
class Fill:
    """Boxes filled together as one path, so that no seams show between neighbours."""

    boxes: tuple[Box, ...]
    colour: Colour


@dataclass(frozen=True)
class Words:
    """A line of text, from `x` to the right, on the baseline `y`; `size` to the em."""

    x: float
    y: float
    text: str
    size: float
    colour: Colour
    bold: bool = False


Shape = Line | Frame | Fill | Words


def draw_page(sheet: Sheet, page: Page, *, title: str = "") -> list[Shape]:
    """Return the shapes of a page, in the order in which they are painted.

    Parameters
    ----------
    title
        Printed at the top: whose hand it is.
    """
    shapes: list[Shape] = []
    for mark in page.marks:
        shapes.append(draw_mark(mark))
    payload = page_payload(sheet, page)
    shapes.append(draw_code(payload, page.code_mm))
    if page.second_code_mm is not None:
        shapes.append(draw_code(payload, page.second_code_mm))
    shapes.extend(draw_head(sheet, page, title))
    for cell in page.cells:
        shapes.extend(draw_cell(cell))
    for line in page.ruled:
        shapes.extend(draw_ruled(line))
    shapes.extend(draw_foot(page))
    return shapes


def draw_cell(cell: Cell) -> Iterator[Shape]:
    """Yield the guides, label and tick box of a cell."""
    x, y, width, height = cell.box_mm
    for over in (cell.ascender_mm, cell.x_height_mm, cell.descender_mm):
        at = cell.baseline_mm - over
        yield Line(x, at, x + width, at, GUIDE_WIDTH_MM, GUIDE)
    top = min(y, cell.label_mm[1])
    for side in (x, x + width):
        yield Line(side, top, side, y + height, GUIDE_WIDTH_MM, GUIDE)
    yield Line(x, cell.baseline_mm, x + width, cell.baseline_mm, BASELINE_WIDTH_MM, BASELINE)
    yield Frame(cell.tick_mm, 0.13, TICK)
    yield from draw_label(cell)


def draw_label(cell: Cell) -> Iterator[Shape]:
    """Yield the character in print, and its name where there is one."""
    font = label_font()
    left, top, width, _ = cell.label_mm
    base = top + 2.8
    shown, name = shown_form(cell.char), name_of(cell.char)
    if not font.covers(shown):
        shown = " ".join(f"U+{ord(c):04X}" for c in cell.char)
        name = ""
    size = min(LABEL_SIZE_MM, width / max(font.width_mm(shown, 1.0), 1e-6))
    yield Words(left, base, shown, size, LABEL)
    if name:
        start = left + max(font.width_mm(shown, size) + 0.7, 2.3)
        room = left + width - start
        small = min(NAME_SIZE_MM, room / font.width_mm(name, 1.0))
        yield Words(start, base, name, small, LABEL)


def draw_ruled(line: RuledLine) -> Iterator[Shape]:
    """Yield a ruled line with its text in small print above."""
    x, y, width, _ = line.box_mm
    yield Line(x, line.baseline_mm, x + width, line.baseline_mm, BASELINE_WIDTH_MM, BASELINE)
    yield Words(x, y - 0.6, line.text, 2.5, LABEL)


@cache
def _mark_modules(mark_id: int) -> tuple[Box, ...]:
    """Return the dark modules of a marker as boxes in units of one module, from its top left corner."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY))
    side = dictionary.markerSize + 2
    image = cv2.aruco.generateImageMarker(dictionary, mark_id, side)
    return tuple(_runs_of_dark([[value == 0 for value in row] for row in image.tolist()]))


def _runs_of_dark(rows: list[list[bool]]) -> Iterator[Box]:
    for y, row in enumerate(rows):
        start = None
        for x, dark in enumerate([*row, False]):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                yield float(start), float(y), float(x - start), 1.0
                start = None


def draw_mark(mark: Mark) -> Fill:
    """Return a marker."""
    modules = _mark_modules(mark.id)
    side = max(y + 1 for _, y, _, _ in modules)
    unit = mark.size_mm / side
    left, top = mark.x_mm - mark.size_mm / 2, mark.y_mm - mark.size_mm / 2
    return Fill(tuple((left + x * unit, top + y * unit, w * unit, h * unit) for x, y, w, h in modules), BLACK)


def draw_code(payload: bytes, box: Box) -> Fill:
    """Return the QR code of `payload`, as large as `box`.

    Error correction is Q (a quarter of the code may be lost) where this keeps the modules 0.4 mm wide, so that they
    can be read at 150 dpi, and less where it does not: there is a second copy.
    """
    import segno

    rows: list[list[bool]] = []
    for level in "QML":
        code = segno.make_qr(payload, error=level, mode="byte", boost_error=True)
        rows = [[bool(value) for value in row] for row in code.matrix]
        if box[2] / len(rows) >= 0.4:
            break
    unit = box[2] / len(rows)
    dark = _runs_of_dark(rows)
    return Fill(tuple((box[0] + x * unit, box[1] + y * unit, w * unit, h * unit) for x, y, w, h in dark), BLACK)


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
    bold, plain = label_font(bold=True), label_font()
    heading = title or "Handwriting sheet"
    yield Words(left, y + 4.0, heading, min(5.0, room / bold.width_mm(heading, 1.0)), TEXT, bold=True)
    about = (
        f"Sheet {sheet.id}, page {page.page} of {len(sheet.pages)}. Writing size: x-height {sheet.x_height_mm:g} mm."
    )
    yield Words(left, y + 8.2, about, min(2.6, room / plain.width_mm(about, 1.0)), TEXT)
    instructions = RULED_INSTRUCTIONS if page.ruled else INSTRUCTIONS if room > 80 else SHORT_INSTRUCTIONS
    yield from draw_paragraphs(instructions, (left, y + 10.0, room, CODE_MM - 10.0), most=2.4)
    if page.patch_mm is not None:
        px, py, _, _ = page.patch_mm
        yield Frame(page.patch_mm, GUIDE_WIDTH_MM, BASELINE)
        caption = "Pen test: a few strokes, loops and dots"
        yield Words(px, py - 1.2, caption, min(2.4, page.patch_mm[2] / plain.width_mm(caption, 1.0)), TEXT)


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


def draw_foot(page: Page) -> Iterator[Shape]:
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
        yield Words(bx, by + 4.0, caption, min(size, room / font.width_mm(caption, 1.0)), TEXT)
    if page.page == 1:
        y1, y2 = top + 14.4, top + 20.2
        yield from draw_blank("I agree that my handwriting is captured for:", x, y1, room)
        yield from draw_blank("Name in print, date (do not sign here):", x, y2, room)
    yield Words(x, top + CODE_MM - 0.3, CAUTION, min(size, room / font.width_mm(CAUTION, 1.0)), TEXT)


def draw_blank(text: str, x: float, y: float, room: float) -> Iterator[Shape]:
    """Yield a text and a line to write on after it."""
    size = 2.4
    width = label_font().width_mm(text, size)
    yield Words(x, y, text, size, TEXT)
    yield Line(x + width + 1.2, y + 0.4, x + room, y + 0.4, 0.12, TEXT)
