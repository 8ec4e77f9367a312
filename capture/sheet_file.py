"""`sheet.json`: a sheet on disk. Its fields are those of `capture.sheet`, plus `format`.

Lengths are millimetres from the page's top left corner, y down; `x_height_mm`, `ascender_mm` and `descender_mm` are
heights over the baseline.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cattrs

from capture.errors import SheetFileError
from capture.files import write_json
from capture.limits import (
    MOST_ATTEMPTS,
    MOST_CELLS,
    MOST_LANGUAGES,
    MOST_MM,
    MOST_PAGES,
    X_HEIGHT_MM,
    is_character,
    is_plain,
    is_sheet_id,
)
from capture.sheet import FORMAT, Box, Cell, Sheet
from capture.structured import structured

MOST_SHOWN = 5
"""Faults that are told at once; of the rest their number."""

MOST_BYTES = 20_000_000
"""A larger file is not a sheet: a page of cells takes about 60 kB."""


def sheet_to_json(sheet: Sheet) -> dict[str, Any]:
    """Return `sheet` as plain JSON data."""
    return {"format": FORMAT, **cattrs.unstructure(sheet)}


def sheet_from_json(data: Any, *, where: str = "sheet.json") -> Sheet:
    """Return the sheet that `sheet_to_json` wrote.

    Raises
    ------
    SheetFileError
        If the data are not a sheet; the message holds the path to each fault.
    """
    if not isinstance(data, dict):
        raise _error(where, ["expected an object with the fields of a sheet"])
    if data.get("format") != FORMAT or isinstance(data.get("format"), bool):
        found = f", found {data['format']!r}" if "format" in data else ""
        raise _error(where, [f"format: expected {FORMAT}{found:.40}"])
    sheet, faults = structured({k: v for k, v in data.items() if k != "format"}, Sheet)
    if sheet is None:
        raise _error(where, faults)
    faults = list(_contradictions(sheet))
    if faults:
        raise _error(where, faults)
    return sheet


def save_sheet(sheet: Sheet, path: Path) -> None:
    """Write `sheet` as JSON; the file is whole or not there, whenever we are stopped.

    Raises
    ------
    SheetFileError
        If `load_sheet` would refuse it: nothing is written that makes a hand unreadable.
    OutputError
        If the file cannot be written.
    """
    if faults := list(_contradictions(sheet)):
        raise _error(str(path), faults)
    write_json(path, sheet_to_json(sheet))


def load_sheet(path: Path) -> Sheet:
    """Return the sheet in a `sheet.json`.

    Raises
    ------
    SheetFileError
        If the file cannot be read or is not a sheet.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise SheetFileError(
            str(path), f"cannot be read ({error.strerror})", "Check the path and its rights."
        ) from None
    if len(raw) > MOST_BYTES:
        raise SheetFileError(
            str(path), f"larger than {MOST_BYTES // 1_000_000} MB, which no sheet is", "Check the path."
        )
    try:
        data = json.loads(raw.decode("utf-8"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise SheetFileError(str(path), "is not JSON", "Rebuild it from the paper or take it from a backup.") from None
    return sheet_from_json(data, where=str(path))


def _contradictions(sheet: Sheet) -> Iterator[str]:
    """Yield what is wrong with a sheet whose fields have the right types."""
    if not sheet.pages:
        yield "pages: expected one at least"
    if not is_sheet_id(sheet.id):
        yield "id: expected 1 to 24 letters, digits, '-' and '_'"
    least, most = X_HEIGHT_MM
    if not least <= sheet.x_height_mm <= most:
        yield f"x_height_mm: expected {least:g} to {most:g}"
    if len(sheet.pages) > MOST_PAGES:
        yield f"pages: expected {MOST_PAGES} at most"
    if len(sheet.languages) > MOST_LANGUAGES or not all(
        is_plain(name, 100) for name in (*sheet.languages, sheet.paper)
    ):
        yield "languages, paper: expected short names without control characters"
    numbers = [page.page for page in sheet.pages]
    for p, page in enumerate(sheet.pages):
        path = f"pages[{p}]"
        if not 1 <= page.page <= MOST_PAGES or numbers.index(page.page) != p:
            yield f"{path}.page: expected a number from 1 to {MOST_PAGES} that no other page has"
        if len(page.cells) > MOST_CELLS or len(page.marks) > MOST_CELLS or len(page.ruled) > MOST_CELLS:
            yield f"{path}: expected {MOST_CELLS} cells, marks and lines at most"
            continue
        if not all(is_plain(line.text, MOST_CELLS) for line in page.ruled):
            yield f"{path}.ruled: expected texts without control characters"
        if not all(0 < side <= 2 * MOST_MM for side in page.size_mm):
            yield f"{path}.size_mm: expected more than 0 and at most {2 * MOST_MM:g}"
            continue
        if len({mark.id for mark in page.marks}) < len(page.marks):
            yield f"{path}.marks: expected each id once"
        for m, mark in enumerate(page.marks):
            half = mark.size_mm / 2
            if not _inside((mark.x_mm - half, mark.y_mm - half, mark.size_mm, mark.size_mm), page.size_mm):
                yield f"{path}.marks[{m}]: expected a place on the page"
        for c, cell in enumerate(page.cells):
            yield from (f"{path}.cells[{c}].{fault}" for fault in _cell_faults(cell, page.size_mm))
        places = [(cell.row, cell.column) for cell in page.cells]
        if len(set(places)) < len(places):
            yield f"{path}.cells: expected each row and column once"


def _cell_faults(cell: Cell, size_mm: tuple[float, float]) -> Iterator[str]:
    if not is_character(cell.char):
        yield "char: expected one character, composed (Unicode NFC), without control characters"
    if not is_plain(cell.label, 200):
        yield "label: expected a short text without control characters"
    for name in ("attempt", "row", "column"):
        if not 1 <= getattr(cell, name) <= MOST_ATTEMPTS:
            yield f"{name}: expected 1 to {MOST_ATTEMPTS}"
    for name in ("box_mm", "label_mm", "tick_mm"):
        if not _inside(getattr(cell, name), size_mm):
            yield f"{name}: expected x, y, width and height on the page"
    if not cell.box_mm[1] < cell.baseline_mm < cell.box_mm[1] + cell.box_mm[3]:
        yield "baseline_mm: expected a place in the box"
    if not cell.descender_mm <= 0 < cell.x_height_mm <= cell.ascender_mm:
        yield "x_height_mm: expected descender_mm <= 0 < x_height_mm <= ascender_mm"


def _inside(box: Box, size_mm: tuple[float, float]) -> bool:
    x, y, width, height = box
    return x >= 0 and y >= 0 and width > 0 and height > 0 and x + width <= size_mm[0] and y + height <= size_mm[1]


def _error(where: str, faults: list[str]) -> SheetFileError:
    more = f"; and {len(faults) - MOST_SHOWN} more" if len(faults) > MOST_SHOWN else ""
    shown = "; ".join(fault if len(fault) < 200 else fault[:197] + "..." for fault in faults[:MOST_SHOWN])
    return SheetFileError(where, shown + more, "Take it from a backup, or rebuild it from the paper.")
