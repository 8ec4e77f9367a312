"""A text of rows whose fields a delimiter parts: CSV as spreadsheets write it (RFC 4180 and its relatives)."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator
from pathlib import Path

from capture.errors import TableError
from ownhand.composer.merge.encodings import code_page_of
from ownhand.composer.merge.workbook import Cell

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}

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


def decoded(raw: bytes, path: Path, encoding: str | None, letters: Collection[str]) -> tuple[str, str, tuple[str, ...]]:
    """Return the text, its encoding, and others that are as likely.

    Raises
    ------
    TableError
        If the bytes do not hold together in the encoding that is given or told by their mark.
    """
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


def without_hint(text: str) -> tuple[str, str]:
    """Return the text without a first line 'sep=;', which some spreadsheets write, and the delimiter it named."""
    first = re.match(r"[^\r\n]*(\r\n?|\n)?", text)[0]  # type: ignore[index]
    rest = text[len(first) :]
    hint = first.strip().strip('"')
    if hint.lower().startswith("sep=") and len(hint) == 5:
        return "\n" + rest, hint[4]
    return text, ""


def delimiter_of(text: str) -> str:
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


def rows_of(text: str, delimiter: str, path: Path) -> Iterator[tuple[int, list[Cell]]]:
    """Yield the rows with the lines on which they begin; the last may say why no more can be read.

    Raises
    ------
    TableError
        If the first one cannot be read.
    """
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
            yield line, [Cell(fault=f"it cannot be read as CSV from here on ({error})")]
            return
        yield line, [Cell(v, v) for v in values]
        line = reader.line_num + 1
