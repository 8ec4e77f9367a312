"""Sheets of .ods workbooks (ISO/IEC 26300): each cell holds its value and, beside it, the very text that was shown."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from datetime import datetime
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import iterparse

from capture.errors import TableError
from ownhand.composer.merge.cell_formats import plain
from ownhand.composer.merge.ranges import numbers_in
from ownhand.composer.merge.workbook import Cell

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_MORE = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"

MOST_ACROSS = 16_384
"""Cells of a row: as many as spreadsheet programs have."""

LONGEST_FIELD = 100_000
"""Characters of a cell's text: more than a page holds of the smallest writing."""

_EMPTY = Cell()


def _elements(content: bytes) -> Iterator[tuple[str, Element]]:
    return iter(iterparse(io.BytesIO(content), events=("start", "end"), forbid_dtd=True))


def sheet_names(content: bytes) -> tuple[list[str], set[str]]:
    """Return the names of all sheets, in order, and of those that are hidden."""
    names, hidden, unseen = [], set(), set()
    style = ""
    depth = 0
    for event, element in _elements(content):
        if event == "start":
            if element.tag == f"{_STYLE}style":
                style = element.get(f"{_STYLE}name", "")
            elif element.tag == f"{_STYLE}table-properties" and element.get(f"{_TABLE}display") == "false":
                unseen.add(style)
            elif element.tag == f"{_TABLE}table":
                depth += 1
                if depth == 1:
                    names.append(element.get(f"{_TABLE}name", ""))
                    if element.get(f"{_TABLE}style-name") in unseen:
                        hidden.add(names[-1])
        elif element.tag == f"{_TABLE}table":
            depth -= 1
        if event == "end":
            element.clear()
    return names, hidden


def rows_of(content: bytes, number: int, where: str) -> Iterator[tuple[int, Sequence[Cell]]]:
    """Yield the rows of a sheet with their numbers, up to the last that holds anything; the first sheet is number 0."""
    told = 0
    for row, times, element in _rows(content, number):
        cells = _cells(element, row, where)
        if not cells:
            continue
        for empty in range(told + 1, row):
            yield empty, []
        for n in range(times):
            yield row + n, cells
        told = row + times - 1


def _rows(content: bytes, number: int) -> Iterator[tuple[int, int, Element]]:
    """Yield the number of each row of a sheet, how often it is repeated, and its element, which is emptied then."""
    seen, depth, row = -1, 0, 1
    for event, element in _elements(content):
        if element.tag == f"{_TABLE}table":
            depth += 1 if event == "start" else -1
            seen += event == "start" and depth == 1
            if event == "end" and depth == 0 and seen == number:
                return
        if event == "end" and depth == 1 and element.tag == f"{_TABLE}table-row":
            if seen == number:
                times = _times(element, "number-rows-repeated")
                yield row, times, element
                row += times
            element.clear()


def hidden_and_merged(content: bytes, number: int) -> tuple[list[int], list[int]]:
    """Return the numbers of a sheet's hidden rows, and of those with cells merged with the ones above them."""
    if b":visibility=" not in content and b":number-rows-spanned=" not in content:
        return [], []
    hidden: list[tuple[int, int]] = []
    spans: list[tuple[int, int]] = []
    last = 0
    for row, times, element in _rows(content, number):
        cells = [cell for cell in element if len(cell)]
        if cells:
            last = row + times - 1
            if element.get(f"{_TABLE}visibility", "visible") != "visible":
                hidden.append((row, last))
        spans += [(row + 1, row + n - 1) for cell in cells if (n := _times(cell, "number-rows-spanned")) > 1]
    return numbers_in(hidden, last), numbers_in(spans, last)


def _times(element: Element, name: str) -> int:
    return max(1, int(element.get(f"{_TABLE}{name}", "1")))


def _cells(row: Element, number: int, where: str) -> list[Cell]:
    """Return the cells of a row up to the last that holds anything."""
    out: list[Cell] = []
    empty = 0
    for element in row:
        if element.tag not in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            continue
        times, cell = _times(element, "number-columns-repeated"), _cell(element)
        if cell == _EMPTY:
            empty += times
            continue
        if len(out) + empty + times > MOST_ACROSS:
            raise TableError(f"{where}, row {number}", f"more than {MOST_ACROSS} cells", "Split the table.")
        out += [_EMPTY] * empty + [cell] * times
        empty = 0
    return out


def _cell(element: Element) -> Cell:
    kind = element.get(f"{_OFFICE}value-type", "")
    lines = [_line(p) for p in element if p.tag == f"{_TEXT}p"]
    text = "\n".join(lines)
    if element.get(f"{_MORE}value-type") == "error":
        return Cell(fault=f"a cell holds the error {text}")
    if not kind and not lines and element.get(f"{_TABLE}formula"):
        what = "a cell holds a formula that was not worked out when the workbook was saved"
        return Cell(fault=f"{what}; open it in the spreadsheet program and save it")
    value = _value(element, kind, text)
    return Cell(text if lines else value, value)


def _value(element: Element, kind: str, text: str) -> str:
    """Return a cell's value without its format."""
    if kind in ("float", "percentage", "currency"):
        return plain(float(element.get(f"{_OFFICE}value", "")))
    if kind == "date":
        return plain(datetime.fromisoformat(element.get(f"{_OFFICE}date-value", "")))
    if kind == "boolean":
        return element.get(f"{_OFFICE}boolean-value", "").upper()
    return element.get(f"{_OFFICE}string-value", "") if kind == "string" and not text else text


def _line(paragraph: Element) -> str:
    """Return the text of a paragraph; runs of spaces, tabs and breaks are elements of their own."""
    out = paragraph.text or ""
    for part in paragraph:
        if part.tag == f"{_TEXT}s":
            out += " " * min(int(part.get(f"{_TEXT}c", "1")), 1000)
        elif part.tag == f"{_TEXT}tab":
            out += "\t"
        elif part.tag == f"{_TEXT}line-break":
            out += "\n"
        elif part.tag != f"{_OFFICE}annotation":
            out += _line(part)
        out += part.tail or ""
        if len(out) > LONGEST_FIELD:
            raise ValueError(f"a field of more than {LONGEST_FIELD} characters")
    return out
