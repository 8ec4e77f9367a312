"""The tables that were sent to a hand's room: where they are, and what is in them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from capture.errors import InputError
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.composer.merge.run_plan import safe_name
from ownhand.composer.merge.table import Table, read_table
from ownhand.hands.hand import Hand

TABLES = frozenset({".csv", ".xlsx", ".ods"})
"""How the tables that are kept end; text of any name ends as the first."""


def tables_folder(hand: Hand) -> Path:
    """Return where the tables are kept."""
    return hand.path / "tables"


def tables(hand: Hand) -> list[Path]:
    """Return the tables that are kept, by name."""
    return sorted(p for p in tables_folder(hand).glob("[!.]*") if p.suffix in TABLES)


def table_of(hand: Hand, name: str, font: Font, *, encoding: str = "", sheet: str = "") -> Table:
    """Return a table that was sent; its encoding is told by the letters that the hand writes, as by the command.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    file = table_file(hand, name)
    seen = file.stat()
    return _read(file, (seen.st_mtime_ns, seen.st_size, seen.st_ino), encoding, frozenset(font.glyphs), sheet)


@lru_cache(maxsize=2)
def _read(file: Path, state: tuple[int, ...], encoding: str, letters: frozenset[str], sheet: str) -> Table:
    """Return a table; read once as long as its file stays, for every letter that is typed asks for it."""
    return read_table(file, encoding=encoding or None, letters=letters, sheet=sheet or None)


def table_file(hand: Hand, name: str) -> Path:
    """Return where a table that was sent is.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    is_ours = Path(name).name == name and safe_name(Path(name).stem) == Path(name).stem and Path(name).suffix in TABLES
    if not is_ours or not (file := path_inside(tables_folder(hand), name)).is_file():
        raise InputError(name[:80] or "the table", "is not one of the hand's tables", "Drop the table on the page.")
    return file


def table_view(hand: Hand, name: str, font: Font, *, encoding: str = "", sheet: str = "") -> dict[str, Any]:
    """Return what the page needs to know of a table."""
    table = table_of(hand, name, font, encoding=encoding, sheet=sheet)
    return {
        "table": name,
        "encoding": table.encoding,
        "as_likely": list(table.as_likely),
        "sheet": table.sheet,
        "other_sheets": list(table.other_sheets),
        "columns": list(table.columns),
        "rows": len(table.rows),
        "read_as": table.read_as("name"),
        "faults": [f"line {row.line}: {row.fault}" for row in table.rows if row.fault][:20],
    }
