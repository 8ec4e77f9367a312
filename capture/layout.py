"""Where everything goes on a sheet: a pure function of the paper, the writing size and the cells in their order.

Nothing here depends on a font, a date or a random number, so the few bytes of the page's code are enough to lay the
same page out again. A change to any rule below needs a new `LAYOUT`.

A page, from its top: markers along the edge; a head with the code, title and pen patch; rows of cells; a foot with the
scale bar, the consent line and the code again. Above each cell runs a strip with its label and the box to tick.

The order of the cells: a writer who makes the same letter six times running copies the last one and gets careless; one
who jumps from letter to letter never finds a rhythm. So attempts come in runs of two or three, and the runs in rounds:
the first round goes once through all characters, the next ones again through those that have attempts left. The
alphabet stays in its order (common practice of copy-books, no source), a letter's runs lie on different rows, and
whoever hands in only the first pages has still written every character at least twice.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from capture.errors import UsageError
from capture.labels import is_wide, label_of, name_of
from capture.paper import paper_name, paper_size
from capture.sheet import CORNER_IDS, EDGE_IDS, Box, Cell, Mark, Page, RuledLine, Sheet

LAYOUT = 1
"""Version of the rules in this module."""

X_HEIGHT_MM = (1.5, 12.0)
"""Least and most writing size."""

ASCENDER, DESCENDER = 2.0, -1.0
"""Guides, in x-heights over the baseline: the proportions of ruled copy-books (common practice, no source)."""

HEADROOM, FOOTROOM = 2.95, 1.4
"""The cell's box over and under the baseline, in x-heights: room for accents on capitals, and for a long tail."""

CELL_WIDTH, WIDE_CELL_WIDTH = 2.75, 4.0
"""Least widths, in x-heights; most rows are drawn out by a tenth or so."""

MARGIN_MM = 5.0
"""Outside this nothing is printed: most office printers cannot (common practice, no source)."""

MARK_MM = 7.0
MARK_EVERY_MM = 47.0
CLEAR_MM = 2.5
"""White around markers and codes: for a marker of 7 mm two and a half modules, for a code at least the four modules
that ISO/IEC 18004:2015 asks for when it is drawn with modules up to 0.6 mm."""

CODE_MM = 26.0
BAR_MM = 100.0
STRIP_MM = 3.8
"""Height of the strip over a cell with its label and tick box."""

TICK_MM = 2.4
INSET_MM = 0.7
"""Between the sides of a cell and its label and tick box, and between these."""

GAP_MM = 1.6
"""Between neighbouring cells."""

ROW_GAP_MM = 1.2
STRETCH = 1.4
"""A row is drawn out to the full width if that takes no more than this."""

RULED_HEADROOM, RULED_FOOTROOM = 2.4, 1.1
"""A ruled line's box over and under its baseline, in x-heights: closer than the cells, as on writing paper."""

RULED_CHAR = 1.3
"""Width that a written character is reckoned to take on a ruled line, spaces included, in x-heights (common practice,
no source)."""

RULED_TEXT = 420
"""Bytes of UTF-8 on a page of ruled lines: what the page's code holds with modules that a scan at 150 dpi shows."""

Attempt = tuple[str, int]
"""A character and which of its attempts."""


def lay_out(
    counts: Mapping[str, int] | Iterable[tuple[str, int]],
    *,
    sheet_id: str,
    paper: str = "A4",
    x_height_mm: float = 3.5,
    languages: Sequence[str] = (),
    ruled_text: str | None = None,
) -> Sheet:
    """Return the sheet with the given number of attempts at each character.

    Parameters
    ----------
    counts
        Number of attempts by character, in the order in which they are to be written.
    sheet_id
        Up to 24 letters, digits, '-' and '_'; printed on each page and in its code.
    paper
        A name ('A4', 'A5', 'Letter') or 'WxH' in mm.
    x_height_mm
        The writing size: the height of an x.
    ruled_text
        A text to copy on ruled lines, on pages of their own after the cells.

    Raises
    ------
    UsageError
        If there is nothing to lay out, or the paper or the writing size is impossible.
    """
    wanted = counts.items() if isinstance(counts, Mapping) else counts
    runs = in_rounds([(unicodedata.normalize("NFC", char), count) for char, count in wanted if char])
    lines = (ruled_text or "").split()
    check_request(sheet_id, x_height_mm, bool(runs or lines))
    paper, x_height_mm = paper_name(paper), round(x_height_mm, 2)
    size = paper_size(paper)
    pages: list[Page] = []
    while runs:
        page = page_of_cells(runs, number=len(pages) + 1, size_mm=size, x_height_mm=x_height_mm)
        if not page.cells:
            raise UsageError(
                "x-height", f"{x_height_mm:g} mm leaves no room for a row of cells on {paper}", "Choose a smaller one."
            )
        pages.append(page)
        runs = runs[len(page.cells) :]
    if lines:
        wrapped = wrap(ruled_text or "", size_mm=size, x_height_mm=x_height_mm)
        while wrapped:
            page = page_of_lines(wrapped, number=len(pages) + 1, size_mm=size, x_height_mm=x_height_mm)
            if not page.ruled:
                raise UsageError(
                    "x-height", f"{x_height_mm:g} mm leaves no room for a line on {paper}", "Choose a smaller one."
                )
            pages.append(page)
            wrapped = wrapped[len(page.ruled) :]
    return Sheet(
        id=sheet_id,
        layout=LAYOUT,
        paper=paper,
        x_height_mm=x_height_mm,
        pages=tuple(pages),
        languages=tuple(languages),
    )


def check_request(sheet_id: str, x_height_mm: float, anything: bool) -> None:
    """Raise UsageError unless the request can be laid out at all."""
    if not anything:
        raise UsageError("sheet", "no characters to write", "Name languages, characters or a text.")
    if not 0 < len(sheet_id) <= 24 or not all(c.isascii() and (c.isalnum() or c in "-_") for c in sheet_id):
        raise UsageError("sheet id", f"'{sheet_id}' is not 1 to 24 letters, digits, '-' and '_'", "Choose another.")
    least, most = X_HEIGHT_MM
    if not least <= x_height_mm <= most:
        raise UsageError("x-height", f"{x_height_mm:g} mm is not between {least:g} and {most:g} mm", "Choose another.")


def runs_of(count: int) -> list[int]:
    """Return `count` attempts cut into runs of two or three (a single attempt only when there is just one).

    Examples
    --------
    >>> [runs_of(n) for n in (1, 2, 3, 4, 5, 7)]
    [[1], [2], [3], [2, 2], [3, 2], [3, 2, 2]]
    """
    if count <= 3:
        return [count] if count > 0 else []
    return [3, *runs_of(count - 3)] if count % 3 != 1 or count > 4 else [2, 2]


def in_rounds(counts: Sequence[tuple[str, int]]) -> list[Attempt]:
    """Return all attempts in the order of writing: rounds through the characters, a short run of each.

    Examples
    --------
    >>> "".join(char for char, attempt in in_rounds([("e", 5), ("t", 2), ("x", 4)]))
    'eeettxxeexx'
    """
    left = [(char, runs_of(count)) for char, count in counts]
    done: dict[str, int] = {}
    order: list[Attempt] = []
    for turn in range(max((len(runs) for _, runs in left), default=0)):
        for char, runs in left:
            for _ in range(runs[turn] if turn < len(runs) else 0):
                done[char] = done.get(char, 0) + 1
                order.append((char, done[char]))
    return order


def cell_width(char: str, x_height_mm: float) -> float:
    """Return the least width in mm of a cell for `char`: room to write it, and for its label and tick box."""
    name = name_of(char)
    label = 3.0 + (0.6 + 0.84 * len(name) if name else 0.0) + TICK_MM + 3 * INSET_MM
    return max((WIDE_CELL_WIDTH if is_wide(char) else CELL_WIDTH) * x_height_mm, label)


def content_box(size_mm: tuple[float, float]) -> Box:
    """Return the box inside the markers and the white around them."""
    inset = MARGIN_MM + MARK_MM + CLEAR_MM
    return inset, inset, size_mm[0] - 2 * inset, size_mm[1] - 2 * inset


def bar_beside_code(size_mm: tuple[float, float]) -> bool:
    """Return whether the foot is wide enough for the bar to stand beside the code."""
    return content_box(size_mm)[2] >= CODE_MM + CLEAR_MM + BAR_MM + 4.0


def body_box(size_mm: tuple[float, float]) -> Box:
    """Return the box between head and foot, where the cells are."""
    x, y, width, height = content_box(size_mm)
    top, bottom = y + CODE_MM + CLEAR_MM + 1.0, y + height - CODE_MM - CLEAR_MM - 1.0
    if not bar_beside_code(size_mm):
        bottom -= 8.0
    return x, top, width, bottom - top


def page_of_cells(
    attempts: Sequence[Attempt], *, number: int, size_mm: tuple[float, float], x_height_mm: float
) -> Page:
    """Return the page with as many of the `attempts`, from the first, as it takes."""
    left, top, width, height = body_box(size_mm)
    tops = row_tops(top, height, STRIP_MM + (HEADROOM + FOOTROOM) * x_height_mm)
    rows = fill_rows(attempts, rows=len(tops), width_mm=width, x_height_mm=x_height_mm)
    cells = [
        cell
        for row, (row_top, widths) in enumerate(zip(tops, rows, strict=False), start=1)
        for cell in place_row(widths, row=row, left_mm=left, top_mm=row_top, x_height_mm=x_height_mm)
    ]
    return furnish(number, size_mm, cells=tuple(cells))


def row_tops(top_mm: float, height_mm: float, row_mm: float) -> list[float]:
    """Return the tops of the rows of `row_mm` that fit, what is left spread evenly between them."""
    count = int((height_mm + ROW_GAP_MM + 1e-6) / (row_mm + ROW_GAP_MM))
    pitch = min((height_mm - row_mm) / (count - 1), 1.15 * (row_mm + ROW_GAP_MM)) if count > 1 else 0.0
    return [top_mm + pitch * i for i in range(count)]


def fill_rows(
    attempts: Sequence[Attempt], *, rows: int, width_mm: float, x_height_mm: float
) -> list[list[tuple[Attempt, float]]]:
    """Return up to `rows` rows of attempts with the widths of their cells, each row drawn out to the full width.

    A run of the same character is not broken, unless it is longer than a row.
    """
    filled: list[list[tuple[Attempt, float]]] = []
    row: list[tuple[Attempt, float]] = []
    used = 0.0
    for i, (char, _) in enumerate(attempts):
        needed = cell_width(char, x_height_mm)
        if needed > width_mm:
            break
        begins = i == 0 or attempts[i - 1][0] != char
        run = next((k for k in range(1, len(attempts) - i) if attempts[i + k][0] != char), len(attempts) - i)
        whole = (run if begins else 1) * (needed + GAP_MM) - GAP_MM
        if row and used + (whole if whole <= width_mm else needed) > width_mm + 1e-6:
            filled.append(row)
            row, used = [], 0.0
        if len(filled) == rows:
            break
        row.append((attempts[i], needed))
        used += needed + GAP_MM
    if row:
        filled.append(row)
    return [drawn_out(row, width_mm) for row in filled]


def drawn_out(row: list[tuple[Attempt, float]], width_mm: float) -> list[tuple[Attempt, float]]:
    """Return the row with its cells widened to fill `width_mm`, unless that would take too much."""
    cells = sum(width for _, width in row)
    stretch = (width_mm - GAP_MM * (len(row) - 1)) / cells
    return [(attempt, width * stretch) for attempt, width in row] if stretch <= STRETCH else row


def place_row(
    cells_with_widths: Sequence[tuple[Attempt, float]], *, row: int, left_mm: float, top_mm: float, x_height_mm: float
) -> list[Cell]:
    """Return the cells of one row; attempts and widths are given."""
    cells = []
    x = left_mm
    box_top, height = top_mm + STRIP_MM, (HEADROOM + FOOTROOM) * x_height_mm
    for column, ((char, attempt), width) in enumerate(cells_with_widths, start=1):
        cells.append(
            Cell(
                char=char,
                attempt=attempt,
                row=row,
                column=column,
                box_mm=box(x, box_top, width, height),
                baseline_mm=mm(box_top + HEADROOM * x_height_mm),
                x_height_mm=x_height_mm,
                ascender_mm=mm(ASCENDER * x_height_mm),
                descender_mm=mm(DESCENDER * x_height_mm),
                label=label_of(char),
                label_mm=box(x + INSET_MM, top_mm, width - 3 * INSET_MM - TICK_MM, STRIP_MM),
                tick_mm=box(x + width - INSET_MM - TICK_MM, top_mm + 0.5, TICK_MM, TICK_MM),
            )
        )
        x += width + GAP_MM
    return cells


def wrap(text: str, *, size_mm: tuple[float, float], x_height_mm: float) -> list[str]:
    """Return `text` in lines that a hand of this size writes on the ruled lines with room to spare."""
    width = content_box(size_mm)[2]
    most = max(8, int(0.92 * width / (RULED_CHAR * x_height_mm)))
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= most:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def page_of_lines(lines: Sequence[str], *, number: int, size_mm: tuple[float, float], x_height_mm: float) -> Page:
    """Return the page with as many ruled lines for `lines`, from the first, as it takes."""
    left, top, width, height = body_box(size_mm)
    over, under = RULED_HEADROOM * x_height_mm, RULED_FOOTROOM * x_height_mm
    ruled: list[RuledLine] = []
    written = 0
    for line_top, text in zip(row_tops(top, height, STRIP_MM + over + under), lines, strict=False):
        written += len(text.encode()) + 1
        if ruled and written > RULED_TEXT:
            break
        baseline = line_top + STRIP_MM + over
        ruled.append(RuledLine(text, box(left, line_top + STRIP_MM, width, over + under), mm(baseline)))
    return furnish(number, size_mm, ruled=tuple(ruled))


def furnish(
    number: int, size_mm: tuple[float, float], *, cells: tuple[Cell, ...] = (), ruled: tuple[RuledLine, ...] = ()
) -> Page:
    """Return the page with its markers, codes, scale bar and pen patch."""
    x, y, width, height = content_box(size_mm)
    foot = y + height - CODE_MM
    bar_y = foot + 4.0 if bar_beside_code(size_mm) else foot - 5.0
    patch_width = min(50.0, 0.24 * width)
    return Page(
        page=number,
        size_mm=size_mm,
        cells=cells,
        marks=marks_of(size_mm),
        code_mm=box(x, y, CODE_MM, CODE_MM),
        second_code_mm=box(x + width - CODE_MM, foot, CODE_MM, CODE_MM),
        bar_mm=(mm(x), mm(bar_y), BAR_MM),
        patch_mm=box(x + width - patch_width, y + 3.6, patch_width, CODE_MM - 3.6),
        ruled=ruled,
    )


def marks_of(size_mm: tuple[float, float]) -> tuple[Mark, ...]:
    """Return the markers: one in each corner, and more along all edges at most about 47 mm apart."""
    inset = MARGIN_MM + MARK_MM / 2
    left, top, right, bottom = inset, inset, size_mm[0] - inset, size_mm[1] - inset
    places = dict(zip(CORNER_IDS, ((left, top), (right, top), (right, bottom), (left, bottom)), strict=True))
    across, down = edge_places(left, right), edge_places(top, bottom)
    for first, edge in zip(
        EDGE_IDS,
        (
            [(x, top) for x in across],
            [(right, y) for y in down],
            [(x, bottom) for x in across],
            [(left, y) for y in down],
        ),
        strict=True,
    ):
        places.update({first + i: place for i, place in enumerate(edge)})
    return tuple(Mark(id=i, x_mm=mm(x), y_mm=mm(y), size_mm=MARK_MM) for i, (x, y) in sorted(places.items()))


def edge_places(start_mm: float, end_mm: float) -> list[float]:
    """Return evenly spread places between two corners, without these."""
    parts = max(2, round((end_mm - start_mm) / MARK_EVERY_MM))
    return [start_mm + (end_mm - start_mm) * i / parts for i in range(1, parts)]


def mm(value: float) -> float:
    """Return a length rounded to a micrometre, so that it reads the same from paper, from a file and from memory."""
    return round(value, 3)


def box(x: float, y: float, width: float, height: float) -> Box:
    """Return a box in rounded millimetres."""
    return mm(x), mm(y), mm(width), mm(height)
