"""A table of recipients: CSV in the encodings and quotings that spreadsheets write (RFC 4180 and its relatives)."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from capture.errors import TableError, one_line
from ownhand.composer.merge.encodings import code_page_of
from ownhand.composer.merge.template import key

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
LARGEST_BYTES = 200_000_000
LONGEST_SHOWN = 60
"""Characters of a field that is shown."""

MOST_COLUMNS = 1000
MOST_ROWS = 200_000
"""A plotter that writes a card a minute is at it for four months."""

MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # begins as that of UTF-16 does
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
"""Byte order marks."""

NO_TEXT = frozenset({"base64", "bz2", "hex", "quopri", "rot13", "rot_13", "uu", "zip", "undefined", "punycode", "idna"})
"""Codecs of Python that are no encodings of text, or take time by the square of its length."""


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


@dataclass(frozen=True)
class Table:
    """A table as read."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    encoding: str
    delimiter: str
    as_likely: tuple[str, ...] = ()
    """Other encodings that the file may as well be in, and in which it reads otherwise."""

    def names(self, column: str = "") -> list[str]:
        """Return up to three fields to look at, of a column or the first: those with other letters than ASCII first."""
        column = column if column in self.columns else next(iter(self.columns), "")
        every = list(dict.fromkeys(row.values.get(column, "").strip() for row in self.rows))
        found = sorted((name for name in every if name), key=str.isascii)[:3]
        return [one_line(name)[:LONGEST_SHOWN] for name in found]

    def read_as(self, column: str = "") -> str:
        """Return in words in which encoding it was read, with names to see it by, and which others it may be in."""
        names = ", ".join(self.names(column)) or "no names in it"
        other = f"; it may as well be {' or '.join(self.as_likely)}" if self.as_likely else ""
        return f"read as {self.encoding}: {names}{other}"


def read_table(path: Path, *, encoding: str | None = None, letters: Collection[str] = ()) -> Table:
    """Return the table in a CSV file with a head of column names.

    Without `encoding`: by byte order mark, else UTF-8, else the code page that its letters speak for (`encodings`).

    Parameters
    ----------
    letters
        Characters that are expected in it: those that the hand writes.

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
        raise TableError(str(path), f"cannot be read ({error.strerror})", "Give a CSV file.") from None
    text, used, as_likely = _decoded(raw, path, encoding, letters)
    if "\0" in text:
        raise TableError(str(path), "is no text", "Give a CSV file: 'CSV UTF-8' in the spreadsheet program.")
    text, said = _without_hint(text)
    delimiter = said or _delimiter(text)
    rows = _rows(text, delimiter, path)
    try:
        line, head = next(rows)
    except StopIteration:
        raise TableError(str(path), "holds no row", "The first row names the columns.") from None
    columns = tuple(key(name) for name in head)
    while columns and not columns[-1]:
        columns = columns[:-1]
    if len(columns) > MOST_COLUMNS:
        what = f"has {len(columns)} columns, {MOST_COLUMNS} at most are read"
        raise TableError(f"{path}, line {line}", what, "Leave out those that the text does not need.")
    twice = {name for name, count in Counter(columns).items() if count > 1}
    if not any(columns) or twice:
        what = f"has two columns '{min(twice)}'" if twice else "has no column names in its first row"
        raise TableError(f"{path}, line {line}", what, "Name every column once.")
    out: list[Row] = []
    try:
        for line, values in rows:
            if any(v.strip() for v in values):
                if len(out) == MOST_ROWS:
                    raise TableError(f"{path}, line {line}", f"more than {MOST_ROWS} rows", "Split the table.")
                out.append(_row(len(out) + 1, line, values, columns, DELIMITERS.get(delimiter, f"'{delimiter}'")))
    except csv.Error as error:
        out.append(Row(len(out) + 1, line + 1, {}, f"cannot be read as CSV from here on ({error})"))
    if not out:
        raise TableError(str(path), "holds no row but that of the column names", "Give it a row for each card.")
    return Table(columns, tuple(out), used, delimiter, as_likely)


def _decoded(
    raw: bytes, path: Path, encoding: str | None, letters: Collection[str]
) -> tuple[str, str, tuple[str, ...]]:
    """Return the text, its encoding, and others that are as likely."""
    if raw[:4] == b"PK\x03\x04" or raw[:4] == b"\xd0\xcf\x11\xe0":
        raise TableError(str(path), "is a workbook, not CSV", "Save it as 'CSV UTF-8' in the spreadsheet program.")
    try:
        if encoding:
            if encoding.lower().replace("-", "_") in NO_TEXT:
                raise LookupError(f"{encoding} is no encoding of text")
            return raw.decode(encoding), encoding, ()
        for mark, name in MARKS:
            if raw.startswith(mark):
                return raw.decode(name), name, ()
        if raw[:200].count(0) > len(raw[:200]) // 4:
            name = "utf-16-le" if raw[1:2] == b"\0" else "utf-16-be"
            return raw.decode(name), name, ()
    except (ValueError, LookupError) as error:
        what = f"does not hold together as {encoding or 'Unicode'} ({error})"
        raise TableError(str(path), what, "Say its encoding: --encoding cp1250, or save it as 'CSV UTF-8'.") from None
    try:
        return raw.decode("utf-8"), "utf-8", ()
    except UnicodeDecodeError:
        name, others = code_page_of(raw, letters)
        return raw.decode(name, errors="replace"), name, others


def _without_hint(text: str) -> tuple[str, str]:
    """Return the text without a first line 'sep=;', which some spreadsheets write, and the delimiter it named."""
    first = re.match(r"[^\r\n]*(\r\n?|\n)?", text)[0]  # type: ignore[index]
    rest = text[len(first) :]
    hint = first.strip().strip('"')
    if hint.lower().startswith("sep=") and len(hint) == 5:
        return "\n" + rest, hint[4]
    return text, ""


def _delimiter(text: str) -> str:
    """Return the delimiter that stands most often in the head, outside quotes; of equals the one that rows agree on."""
    lines = [line for line in re.split(r"\r\n?|\n", text[:100_000]) if line.strip()]
    head = lines[0] if lines else ""
    counts = {d: _fields(head, d) for d in DELIMITERS}
    best = max(counts.values())
    likely = [d for d in DELIMITERS if counts[d] == best]
    if best == 1 or len(likely) == 1:
        return likely[0]
    return max(likely, key=lambda d: sum(_fields(line, d) == best for line in lines[1:20]))


def _fields(line: str, delimiter: str) -> int:
    try:
        return len(next(csv.reader([line], delimiter=delimiter), []))
    except csv.Error:
        return 1


def _rows(text: str, delimiter: str, path: Path) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    while True:
        try:
            values = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            if line == 1:
                raise TableError(f"{path}, line 1", f"cannot be read as CSV ({error})", "") from None
            raise
        if values:
            yield line, values
        line = reader.line_num + 1


def _row(number: int, line: int, values: list[str], columns: tuple[str, ...], between: str) -> Row:
    extra = [v for v in values[len(columns) :] if v.strip()]
    fault = ""
    if extra:
        fault = (
            f"it has {len(values)} fields, the head has {len(columns)}; is a field with a {between} in it not quoted?"
        )
    padded = values[: len(columns)] + [""] * (len(columns) - len(values))
    return Row(number, line, dict(zip(columns, padded, strict=True)), fault)
