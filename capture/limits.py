"""How much of everything there may be: the same figures for whoever writes a file and for whoever reads it.

What was printed, read or decided must be readable again, and nothing that comes from outside (a code on paper, a file,
a request) may ask for more than this. Figures are generous: several times what a person needs.
"""

from __future__ import annotations

import re
import unicodedata

MOST_MM = 900.0
"""Longest side of a sheet to be written on."""

X_HEIGHT_MM = (1.5, 12.0)
"""Least and most writing size of a sheet."""

MOST_PAGES = 400
"""Pages of one sheet; the command prints 60 of cells at most, and as many ruled ones as a text needs."""

MOST_PAGES_IN_FILE = 2000
"""Pictures in one file of scans."""

MOST_CELLS = 2000
"""Cells on one page: A2 at the least writing size has under 1,500."""

MOST_ATTEMPTS = 999
"""Attempts at one character on one sheet."""

MOST_CODE_POINTS = 16
"""Of one character: a base with its combining marks, or a sequence that a language counts as a letter."""

MOST_LANGUAGES = 400
"""Of one sheet."""

MOST_STROKES = 256
"""Of one attempt."""

MOST_POINTS = 4000
"""Of one stroke."""

REACH_MM = 300.0
"""How far a point of an attempt may lie from the left guide or the baseline of its cell."""

BASELINE_MM = 50.0
"""How far the baseline of an attempt may lie from the printed one."""

BEARING_MM = 50.0
"""Longest side bearing, either way."""

SIZE_MM = (0.1, 200.0)
"""Least and most guide height, cell width and pen in a capture."""

MOST_NAME = 100
"""Characters of a family's name."""

MOST_NAME_BYTES = 180
"""Bytes of a name that a file is called by: file systems take 255, and endings and marks of our own are added."""

_SHEET_ID = re.compile(r"[A-Za-z0-9_-]{1,24}")


def is_sheet_id(text: str) -> bool:
    """Return whether `text` may be the id of a sheet, which is a folder's name: 1 to 24 letters, digits, '-' and '_'.

    Examples
    --------
    >>> is_sheet_id("s1-4be2a9"), is_sheet_id("../s1"), is_sheet_id("")
    (True, False, False)
    """
    return _SHEET_ID.fullmatch(text) is not None


def is_character(text: str) -> bool:
    r"""Return whether `text` may be one character to write: NFC, not too long, without control characters.

    Examples
    --------
    >>> is_character("ą́"), is_character("\x1b"), is_character("\ud800"), is_character("")
    (True, False, False, False)
    """
    return (
        0 < len(text) <= MOST_CODE_POINTS
        and unicodedata.normalize("NFC", text) == text
        and not any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in text)
    )


def is_count(text: str) -> bool:
    """Return whether `text` is a whole number in ASCII figures, up to nine.

    Examples
    --------
    >>> is_count("07"), is_count("²"), "²".isdigit()
    (True, False, True)
    """
    return text.isascii() and text.isdigit() and len(text) <= 9


def is_plain(text: str, most: int) -> bool:
    """Return whether `text` is no longer than `most` characters and holds no control character or half surrogate."""
    return len(text) <= most and not any(unicodedata.category(c) in ("Cc", "Cs") for c in text)
