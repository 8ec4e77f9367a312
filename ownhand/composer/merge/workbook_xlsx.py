"""Sheets of .xlsx workbooks, by openpyxl; what is in them as its format shows it, formulas as they came out."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from typing import Any

from defusedxml.ElementTree import iterparse

from ownhand.composer.merge.cell_formats import plain, shown
from ownhand.composer.merge.ranges import numbers_in
from ownhand.composer.merge.workbook import Cell

_EMPTY = Cell()


def opened(raw: bytes, *, formulas: bool = False) -> Any:
    """Return the workbook, whose rows are read as they are asked for.

    Parameters
    ----------
    formulas
        Whether cells hold their formulas, instead of what these came to when the workbook was saved.
    """
    # here, because hardly any table is a workbook
    import openpyxl

    with warnings.catch_warnings():
        # of what openpyxl leaves out (charts, checks of what is entered) a table has no need
        warnings.simplefilter("ignore")
        return openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=not formulas, keep_links=False)


def sheet_names(book: Any) -> tuple[list[str], set[str]]:
    """Return the names of all sheets of cells in `book`, as `opened` gave it, and of those that are hidden."""
    return [s.title for s in book.worksheets], {s.title for s in book.worksheets if s.sheet_state != "visible"}


def rows_of(raw: bytes, book: Any, name: str) -> Iterator[tuple[int, Sequence[Cell]]]:
    """Yield the rows of a sheet of `book`, which `opened` made of `raw`, every one from the first, numbered."""
    sheet = book[name]
    sheet.reset_dimensions()  # what a file says of its size need not be so
    rows = sheet.iter_rows()
    if not _has_formulas(raw):
        for number, row in enumerate(rows, 1):
            yield number, [_cell(c) for c in row]
        return
    bare = opened(raw, formulas=True)[name]
    bare.reset_dimensions()
    for number, (row, under) in enumerate(zip(rows, bare.iter_rows(), strict=True), 1):
        yield number, [_cell(c, f) for c, f in zip(row, under, strict=True)]


def hidden_and_merged(raw: bytes, book: Any, name: str) -> tuple[list[int], list[int]]:
    """Return the numbers of hidden rows, and of those with cells merged with the ones above them.

    They are those of a sheet of `book`, which `opened` made of `raw`.
    """
    from openpyxl.utils.cell import range_boundaries

    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        content = archive.read(book[name]._worksheet_path)
    if b"hidden=" not in content and b"mergeCell" not in content:
        return [], []
    hidden: list[int] = []
    spans: list[tuple[int, int]] = []
    row = last = 0
    for _, element in iterparse(io.BytesIO(content), forbid_dtd=True):
        tag = element.tag.rpartition("}")[2]
        if tag == "row":
            row = int(element.get("r", row + 1))
            if any(len(cell) for cell in element):
                last = row
                hidden += [row] if element.get("hidden") in ("1", "true") else []
            element.clear()
        elif tag == "mergeCell":
            _, top, _, bottom = range_boundaries(element.get("ref", ""))
            spans.append((top + 1, bottom))
    return hidden, numbers_in(spans, last)


def _has_formulas(raw: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        return any(b"<f" in archive.read(n) for n in archive.namelist() if n.startswith("xl/worksheets/"))


def _cell(cell: Any, under: Any = None) -> Cell:
    value = cell.value
    if value is None and under is None:
        return _EMPTY
    if value is None:
        # a formula that came to an empty text says that it is one
        if under is not None and under.data_type == "f" and cell.data_type not in ("s", "str"):
            what = f"{_name(under)} holds a formula that was not worked out when the workbook was saved"
            return Cell(fault=f"{what}; open it in the spreadsheet program and save it")
        return _EMPTY
    if cell.data_type == "e":
        return Cell(fault=f"{_name(cell)} holds the error {value}")
    if isinstance(value, str):
        text = _text(value)
        return Cell(text, text)
    return Cell(shown(value, cell.number_format or ""), plain(value))


def _name(cell: Any) -> str:
    """Return what spreadsheet programs call a cell: B7."""
    return str(cell.coordinate)


def _text(value: str) -> str:
    """Return a text with its characters that XML has no place for (ECMA-376 part 1, 22.4.2.4, `_x000D_`)."""
    if "_x" not in value:
        return value
    from openpyxl.utils.escape import unescape

    return str(unescape(value)).replace("\r\n", "\n").replace("\r", "\n")
