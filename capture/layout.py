"""Where everything goes on a sheet: a pure function of the paper, the writing size and the cells in their order.

Nothing here depends on a font, a date or a random number, so the few bytes of the page's code are enough to lay the
same page out again. A change to any rule below needs a new `LAYOUT`.

A page, from its top: markers along the edge; a head with the code, title and pen patch; rows of cells; a foot with the
scale bar, the consent line and the code again. Above each cell runs a strip with its label and the box to tick.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from capture.errors import UsageError
from capture.labels import is_wide, label_of, name_of
from capture.limits import MOST_CODE_POINTS, MOST_PAGES, X_HEIGHT_MM, is_character, is_plain, is_sheet_id
from capture.page_fixtures import STRIP_MM, body_box, box, furnish, mm, row_tops
from capture.paper import paper_name, paper_size
from capture.ruled_lines import RULED_TEXT, pages_of_text
from capture.sheet import Cell, Page, Sheet
from capture.writing_order import Attempt, in_rounds

LAYOUT = 3
"""Version of the rules in this module. From 2 on rows and columns are numbered and names are printed larger; from 3 on
ruled lines are fuller, and a page has as many as it has room for."""

LAYOUTS = (1, 2, 3)
"""Versions by which a page can be laid out again: sheets of all of them are on paper."""

ASCENDER, DESCENDER = 2.0, -1.0
"""Guides, in x-heights over the baseline: the proportions of ruled copy-books (common practice, no source)."""

HEADROOM, FOOTROOM = 2.95, 1.4
"""The cell's box over and under the baseline, in x-heights: room for accents on capitals, and for a long tail."""

CELL_WIDTH, WIDE_CELL_WIDTH = 2.75, 4.0
"""Least widths, in x-heights; most rows are drawn out by a tenth or so."""

TICK_MM = 2.4
NAME_MM = {1: (0.6, 0.84), 2: (1.4, 1.12), 3: (1.4, 1.12)}
"""Room before a name, and what each of its letters is reckoned to take, by layout: of 1.85 mm, and of 2.3 mm."""

ROW_NUMBER_MM = {1: 0.0, 2: 3.0, 3: 3.0}
"""Room for the number before each row, by layout."""

INSET_MM = 0.7
"""Between the sides of a cell and its label and tick box, and between these."""

GAP_MM = 1.6
"""Between neighbouring cells."""

STRETCH = 1.4
"""A row is drawn out to the full width if that takes no more than this."""


def lay_out(
    counts: Mapping[str, int] | Iterable[tuple[str, int]],
    *,
    sheet_id: str,
    paper: str = "A4",
    x_height_mm: float = 3.5,
    languages: Sequence[str] = (),
    ruled_text: str | None = None,
    layout: int = LAYOUT,
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
    layout
        By the rules of which version.

    Raises
    ------
    UsageError
        If there is nothing to lay out, or the paper or the writing size is impossible.
    """
    wanted = counts.items() if isinstance(counts, Mapping) else counts
    runs = in_rounds([(unicodedata.normalize("NFC", char), count) for char, count in wanted if char])
    lines = (ruled_text or "").split()
    check_request(sheet_id, x_height_mm, bool(runs or lines))
    for char in dict.fromkeys(char for char, _ in runs):
        if not is_character(char):
            what = f"{char!a} is not a character that can be written: it holds control characters or is too long"
            raise UsageError("characters", what, f"Give up to {MOST_CODE_POINTS} code points, without controls.")
    if not all(is_plain(word, RULED_TEXT) and len(word.encode()) <= RULED_TEXT for word in lines):
        what = f"it holds control characters, or words of more than {RULED_TEXT} bytes"
        raise UsageError("text to copy", what, "Take them out.")
    paper, x_height_mm = paper_name(paper), round(x_height_mm, 2)
    size = paper_size(paper)
    pages: list[Page] = []
    while runs:
        page = page_of_cells(runs, number=len(pages) + 1, size_mm=size, x_height_mm=x_height_mm, layout=layout)
        if not page.cells:
            raise UsageError(
                "x-height", f"{x_height_mm:g} mm leaves no room for a row of cells on {paper}", "Choose a smaller one."
            )
        pages.append(page)
        runs = runs[len(page.cells) :]
    if lines:
        pages += pages_of_text(
            lines, first=len(pages) + 1, size_mm=size, x_height_mm=x_height_mm, languages=languages, layout=layout
        )
    if any(not page.cells and not page.ruled for page in pages):
        raise UsageError(
            "x-height", f"{x_height_mm:g} mm leaves no room for a line on {paper}", "Choose a smaller one."
        )
    if len(pages) > MOST_PAGES:
        raise UsageError("sheet", f"{len(pages)} pages, at most {MOST_PAGES} make a sheet", "Ask for less at once.")
    return Sheet(
        id=sheet_id,
        layout=layout,
        paper=paper,
        x_height_mm=x_height_mm,
        pages=tuple(pages),
        languages=tuple(languages),
    )


def check_request(sheet_id: str, x_height_mm: float, anything: bool) -> None:
    """Raise UsageError unless the request can be laid out at all."""
    if not anything:
        raise UsageError("sheet", "no characters to write", "Name languages, characters or a text.")
    if not is_sheet_id(sheet_id):
        raise UsageError("sheet id", f"'{sheet_id}' is not 1 to 24 letters, digits, '-' and '_'", "Choose another.")
    least, most = X_HEIGHT_MM
    if not least <= x_height_mm <= most:
        raise UsageError("x-height", f"{x_height_mm:g} mm is not between {least:g} and {most:g} mm", "Choose another.")


def cell_width(char: str, x_height_mm: float, layout: int) -> float:
    """Return the least width in mm of a cell for `char`: room to write it, and for its label and tick box."""
    name = name_of(char)
    gap, letter = NAME_MM[layout]
    label = 3.0 + (gap + letter * len(name) if name else 0.0) + TICK_MM + 3 * INSET_MM
    return max((WIDE_CELL_WIDTH if is_wide(char) else CELL_WIDTH) * x_height_mm, label)


def page_of_cells(
    attempts: Sequence[Attempt],
    *,
    number: int,
    size_mm: tuple[float, float],
    x_height_mm: float,
    layout: int = LAYOUT,
) -> Page:
    """Return the page with as many of the `attempts`, from the first, as it takes."""
    left, top, width, height = body_box(size_mm)
    left, width = left + ROW_NUMBER_MM[layout], width - ROW_NUMBER_MM[layout]
    tops = row_tops(top, height, STRIP_MM + (HEADROOM + FOOTROOM) * x_height_mm)
    rows = fill_rows(attempts, rows=len(tops), width_mm=width, x_height_mm=x_height_mm, layout=layout)
    cells = [
        cell
        for row, (row_top, widths) in enumerate(zip(tops, rows, strict=False), start=1)
        for cell in place_row(widths, row=row, left_mm=left, top_mm=row_top, x_height_mm=x_height_mm)
    ]
    return furnish(number, size_mm, cells=tuple(cells))


def fill_rows(
    attempts: Sequence[Attempt], *, rows: int, width_mm: float, x_height_mm: float, layout: int
) -> list[list[tuple[Attempt, float]]]:
    """Return up to `rows` rows of attempts with the widths of their cells, each row drawn out to the full width.

    A run of the same character is not broken, unless the row would be left too empty to be drawn out.
    """
    filled: list[list[tuple[Attempt, float]]] = []
    row: list[tuple[Attempt, float]] = []
    used = 0.0
    for i, (char, _) in enumerate(attempts):
        needed = cell_width(char, x_height_mm, layout)
        if needed > width_mm:
            break
        begins = i == 0 or attempts[i - 1][0] != char
        run = next((k for k in range(1, len(attempts) - i) if attempts[i + k][0] != char), len(attempts) - i)
        whole = (run if begins else 1) * (needed + GAP_MM) - GAP_MM
        full = used + needed > width_mm + 1e-6
        if row and (full or (used + whole > width_mm + 1e-6 and stretch_of(row, width_mm) <= STRETCH)):
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
    stretch = stretch_of(row, width_mm)
    return [(attempt, width * stretch) for attempt, width in row] if stretch <= STRETCH else row


def stretch_of(row: list[tuple[Attempt, float]], width_mm: float) -> float:
    """Return by how much the cells of a row are to be widened to fill `width_mm`."""
    return (width_mm - GAP_MM * (len(row) - 1)) / sum(width for _, width in row)


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
