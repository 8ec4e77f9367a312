"""A sheet of a workbook, .xlsx or .ods, as rows of text: what a spreadsheet program shows of it.

Both are ZIP archives of XML files (ECMA-376; ISO/IEC 26300). They come from strangers: what an archive unpacks to and
how many cells a sheet spans is limited, and no XML in it may declare entities.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from capture.errors import TableError, one_line
from ownhand.composer.merge.ranges import ranges

LARGEST_UNPACKED = 200_000_000
"""Bytes of all files in the archive: 200,000 rows of ten fields have some 100 MB."""

MOST_ELEMENTS = 10_000_000
"""Tags in the XML of the archive. 200,000 rows of ten fields have eight million, and an element takes a hundred bytes,
however short it is in the file."""

MOST_FILES = 10_000
"""In the archive."""

MOST_CELLS = 10_000_000
"""Cells that a sheet spans, empty ones too."""

SAVE_AGAIN = "Open it in the spreadsheet program and save it again as .xlsx, .ods or 'CSV UTF-8'."
ZIP, OLD = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


@dataclass(frozen=True)
class Cell:
    """One cell as text."""

    shown: str = ""
    plain: str = ""
    """The same without its format, for fields that are set as a language does: 1234.5, 2026-11-28."""

    fault: str = ""
    """Why it has no text; '' for a good one."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """One sheet of a workbook; its rows can be read once."""

    name: str
    others: tuple[str, ...]
    """Names of the workbook's other sheets."""

    rows: Iterator[tuple[int, Sequence[Cell]]]
    """Number of each row, from 1, and its cells; of rows after the last with any some may be left out."""

    remarks: tuple[str, ...] = ()
    """What is read of it otherwise than it looks."""


def is_workbook(raw: bytes) -> bool:
    """Return whether a file is a workbook by its first bytes, and no text."""
    return raw.startswith((ZIP, OLD))


def read_sheet(raw: bytes, where: str, *, name: str = "") -> Sheet:
    """Return a sheet of the workbook in `raw`: the one of that name, or the first that is not hidden.

    Parameters
    ----------
    where
        What the file is called where something is said of it.

    Raises
    ------
    TableError
        If it cannot be read, is too large, or has no such sheet. Rows may raise it too as they are read.
    """
    if raw.startswith(OLD):
        raise TableError(where, "is a workbook of an old kind (.xls), or has a password", SAVE_AGAIN)
    with _told(where), zipfile.ZipFile(io.BytesIO(raw)) as archive:
        files = archive.infolist()
        # what says less than it unpacks to is found damaged: no more than was said is unpacked
        unpacked = sum(f.file_size for f in files)
        if len(files) > MOST_FILES or unpacked > LARGEST_UNPACKED:
            what = f"unpacks to {len(files)} files of {unpacked / 1e6:.0f} MB"
            most = f"{MOST_FILES} files of {LARGEST_UNPACKED // 10**6} MB are read"
            raise TableError(where, f"{what}, at most {most}", "Split the table.")
        tags = sum(archive.read(f).count(b"<") for f in files if f.filename.endswith(".xml"))
        if tags > MOST_ELEMENTS:
            what = f"holds {tags / 1e6:.0f} million elements, at most {MOST_ELEMENTS // 10**6} million are read"
            raise TableError(where, what, "Split the table.")
        names = {f.filename for f in files}
        if "content.xml" in names:
            from ownhand.composer.merge import workbook_ods

            content = archive.read("content.xml")
            known, hidden = workbook_ods.sheet_names(content)
            chosen = _chosen(known, hidden, name, where)
            rows = workbook_ods.rows_of(content, known.index(chosen), where)
            hides, merges = workbook_ods.hidden_and_merged(content, known.index(chosen))
        elif "xl/workbook.xml" in names:
            from ownhand.composer.merge import workbook_xlsx

            book = workbook_xlsx.opened(raw)
            known, hidden = workbook_xlsx.sheet_names(book)
            chosen = _chosen(known, hidden, name, where)
            rows = workbook_xlsx.rows_of(raw, book, chosen)
            hides, merges = workbook_xlsx.hidden_and_merged(raw, book, chosen)
        else:
            raise TableError(where, "is an archive, but no .xlsx or .ods", SAVE_AGAIN)
    return Sheet(chosen, tuple(n for n in known if n != chosen), _within(rows, where), _remarks(hides, merges))


def _remarks(hidden: Sequence[int], merged: Sequence[int]) -> tuple[str, ...]:
    """Return what is to be said of rows that are hidden, and of rows with cells merged with those above them."""
    out = []
    if hidden:
        out.append(f"hidden rows are read like others: {ranges(hidden)}")
    if merged:
        out.append(f"merged cells hold their text in their first row alone, they are empty in row {ranges(merged)}")
    return tuple(out)


@contextmanager
def _told(where: str) -> Iterator[None]:
    """Say in a line what is wrong with a damaged or hostile workbook."""
    try:
        yield
    except TableError:
        raise
    except Exception as error:
        # zipfile, zlib, expat and openpyxl each raise what they like on bytes that somebody made up
        said = " ".join(str(error).split())[:200] or type(error).__name__
        raise TableError(where, f"is a damaged workbook ({said})", SAVE_AGAIN) from None


def _chosen(names: Sequence[str], hidden: Collection[str], wanted: str, where: str) -> str:
    """Return which sheet is read: the wanted one, without regard to case, or the first that is not hidden."""
    if wanted:
        found = [n for n in names if n == wanted] or [n for n in names if n.casefold() == wanted.strip().casefold()]
        if not found:
            listed = ", ".join(one_line(n) for n in names)[:400]
            raise TableError(where, f"has no sheet '{wanted}'", f"Its sheets are: {listed}.")
        return found[0]
    if not names:
        raise TableError(where, "has no sheet of cells", SAVE_AGAIN)
    return next((n for n in names if n not in hidden), names[0])


def _within(rows: Iterator[tuple[int, Sequence[Cell]]], where: str) -> Iterator[tuple[int, Sequence[Cell]]]:
    """Yield rows as long as they span no more than is read."""
    spanned = 0
    with _told(where):
        for number, cells in rows:
            spanned += len(cells) + 1
            if spanned > MOST_CELLS:
                raise TableError(f"{where}, row {number}", f"more than {MOST_CELLS} cells", "Split the table.")
            yield number, cells
