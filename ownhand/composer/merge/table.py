"""A table of recipients: CSV, or a sheet of a workbook."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import dropwhile
from pathlib import Path

from capture.errors import TableError, one_line
from ownhand.composer.merge.delimited import DELIMITERS, decoded, delimiter_of, rows_of, without_hint
from ownhand.composer.merge.ranges import ranges
from ownhand.composer.merge.template import key
from ownhand.composer.merge.workbook import SAVE_AGAIN, Cell, is_workbook, read_sheet

LARGEST_BYTES = 200_000_000
LONGEST_SHOWN = 60
"""Characters of a field that is shown."""

LISTED_SHEETS = 200
"""Characters of the names of other sheets that are shown."""

CONTROL = re.compile(r"[\x01-\x08\x0e-\x19\x1c-\x1f]")
"""Control characters without a use in text."""

LOOKED_AT, ENOUGH_TO_TELL, MOST_CONTROL = 4096, 200, 0.02
"""Characters at the beginning of a table, and how many it takes to tell; the share of control characters in them from
which it is no text. Stray ones are left out of what is written."""

PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\0", b"MM\0*", b"%PDF")
"""How PNG, JPEG, GIF, TIFF and PDF files begin."""

MOST_COLUMNS = 1000
MOST_ROWS = 200_000
"""A plotter that writes a card a minute is at it for four months."""


@dataclass(frozen=True)
class Row:
    """One recipient."""

    number: int
    """From 1, the head not counted."""

    line: int
    """Where it begins in the file."""

    values: dict[str, str]
    """By the name of the column, folded as by `ownhand.composer.merge.template.key`."""

    fault: str = ""
    """What is wrong with it; '' for a good row."""

    plain: Mapping[str, str] = field(default_factory=dict)
    """By column, where it differs: the value without its format, for fields that are set as a language does."""

    unread: Mapping[str, str] = field(default_factory=dict)
    """By column: why its field has no text."""


@dataclass(frozen=True)
class Table:
    """A table as read."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    encoding: str
    """'' for a workbook, which has none; so for the delimiter."""

    delimiter: str = ""
    as_likely: tuple[str, ...] = ()
    """Other encodings that the file may as well be in, and in which it reads otherwise."""

    sheet: str = ""
    """Of a workbook: the sheet that was read."""

    other_sheets: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    """What was left out, or is read otherwise than it looks."""

    def names(self, column: str = "") -> list[str]:
        """Return up to three fields to look at, of a column or the first: those with other letters than ASCII first."""
        column = column if column in self.columns else next(iter(self.columns), "")
        every = list(dict.fromkeys(row.values.get(column, "").strip() for row in self.rows))
        found = sorted((name for name in every if name), key=str.isascii)[:3]
        return [one_line(name)[:LONGEST_SHOWN] for name in found]

    def read_as(self, column: str = "") -> str:
        """Return in words how it was read, with names to see it by, how else it may be read, and what was left out."""
        names = ", ".join(self.names(column)) or "no names in it"
        if self.sheet:
            others = ", ".join(one_line(n) for n in self.other_sheets)[:LISTED_SHEETS]
            told = [f"read sheet '{one_line(self.sheet)}': {names}", f"other sheets are {others}" if others else ""]
        else:
            other = f"it may as well be {' or '.join(self.as_likely)}" if self.as_likely else ""
            told = [f"read as {self.encoding}: {names}", other]
        return "; ".join(filter(None, (*told, *self.remarks)))


def read_table(
    path: Path, *, encoding: str | None = None, letters: Collection[str] = (), sheet: str | None = None
) -> Table:
    """Return the table in a CSV file or a workbook (.xlsx, .ods) with a head of column names.

    The encoding of a CSV file is told, without `encoding`, by its byte order mark, else it is UTF-8, else the code page
    that its letters speak for (`encodings`).

    Parameters
    ----------
    letters
        Characters that are expected in it: those that the hand writes.
    sheet
        Of a workbook; None: the first that is not hidden.

    Raises
    ------
    TableError
        If it cannot be read, or has no head or nothing under it. Faults in single rows are kept with the row.
    """
    try:
        with path.open("rb") as file:  # read, not asked for its size: a pipe has none
            raw = file.read(LARGEST_BYTES + 1)
        if len(raw) > LARGEST_BYTES:
            raise TableError(str(path), "is larger than 200 MB", "Split the table.")
    except OSError as error:
        remedy = "Give a table: CSV, .xlsx or .ods."
        raise TableError(str(path), f"cannot be read ({error.strerror})", remedy) from None
    if is_workbook(raw):
        if encoding:
            raise TableError(str(path), "is a workbook, in which there is nothing to decode", "Leave out the encoding.")
        found = read_sheet(raw, str(path), name=sheet or "")
        hint = "does the sheet's first row name the columns?"
        below = dropwhile(lambda row: not _holds(row[1]), found.rows)
        columns, rows, empty = _table(below, path, "row", hint)
        remarks = (*empty, *found.remarks)
        return Table(columns, rows, "", sheet=found.name, other_sheets=found.others, remarks=remarks)
    if raw.startswith(PICTURES):
        raise TableError(str(path), "is a picture or a PDF, and no table", "Give a table: CSV, .xlsx or .ods.")
    if sheet:
        raise TableError(str(path), "is no workbook and has no sheets", "Leave out the sheet.")
    text, used, as_likely = decoded(raw, path, encoding, letters)
    start = text[:LOOKED_AT]
    junk = len(start) >= ENOUGH_TO_TELL and len(CONTROL.findall(start)) > MOST_CONTROL * len(start)
    if "\0" in text or junk:
        raise TableError(str(path), "is no text and no workbook", "Give a table: CSV, .xlsx or .ods.")
    if text.lstrip()[:1] == "<":
        raise TableError(str(path), "is XML or HTML, and no table", SAVE_AGAIN)
    text, said = without_hint(text)
    delimiter = said or delimiter_of(text)
    between = DELIMITERS.get(delimiter, f"'{delimiter}'")
    hint = f"is a field with a {between} in it not quoted?"
    columns, rows, empty = _table(rows_of(text, delimiter, path), path, "line", hint)
    return Table(columns, rows, used, delimiter, as_likely, remarks=empty)


def _table(
    rows: Iterable[tuple[int, Sequence[Cell]]], path: Path, line_name: str, hint: str
) -> tuple[tuple[str, ...], tuple[Row, ...], tuple[str, ...]]:
    """Return the names of the columns, the rows under them, and which empty rows between these were left out.

    Parameters
    ----------
    line_name, hint
        What a place in the file is called, and what a row with too many fields may come of.
    """
    each = iter(rows)
    line, head = next((row for row in each if row[1]), (0, ()))
    if not head:
        raise TableError(str(path), "holds no row", "The first row names the columns.")
    columns = tuple(key(cell.shown) for cell in head)
    while columns and not columns[-1]:
        columns = columns[:-1]
    if len(columns) > MOST_COLUMNS:
        what = f"has {len(columns)} columns, {MOST_COLUMNS} at most are read"
        raise TableError(f"{path}, {line_name} {line}", what, "Leave out those that the text does not need.")
    twice = {name for name, count in Counter(columns).items() if count > 1}
    if not any(columns) or twice:
        what = "has no column names in its first row"
        if twice:
            what = f"has two columns '{min(twice)}'" if min(twice) else "has several columns without a name"
        raise TableError(f"{path}, {line_name} {line}", what, "Name every column once.")
    out: list[Row] = []
    empty: list[int] = []
    since: list[int] = []
    for line, cells in each:
        if not _holds(cells):
            since.append(line)
            continue
        # those after the last row are no gap, programs write thousands of them
        empty += since
        since = []
        if len(out) == MOST_ROWS:
            raise TableError(f"{path}, {line_name} {line}", f"more than {MOST_ROWS} rows", "Split the table.")
        out.append(_row(len(out) + 1, line, cells, columns, hint))
    if not out:
        raise TableError(str(path), "holds no row but that of the column names", "Give it a row for each card.")
    told = (f"empty {line_name}s are left out: {ranges(empty)}",) if empty else ()
    return columns, tuple(out), told


def _holds(cells: Sequence[Cell]) -> bool:
    """Return whether any of a row's cells has a text, or should have."""
    return any(cell.shown.strip() or cell.fault for cell in cells)


def _row(number: int, line: int, cells: Sequence[Cell], columns: tuple[str, ...], hint: str) -> Row:
    known, extra = dict(zip(columns, cells, strict=False)), cells[len(columns) :]
    fault = ""
    if any(c.shown.strip() for c in extra):
        fault = f"it has {len(cells)} fields, the head has {len(columns)}; {hint}"
    elif not any(c.shown.strip() for c in known.values()):
        fault = next((c.fault for c in cells if c.fault), "")
    values = {name: known[name].shown if name in known else "" for name in columns}
    plain = {name: c.plain for name, c in known.items() if c.plain != c.shown}
    return Row(number, line, values, fault, plain, {name: c.fault for name, c in known.items() if c.fault})
