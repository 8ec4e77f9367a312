"""Characters that share a letter: a base and its accented forms."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection


def base_of(char: str) -> str:
    """Return the letter under the accents; `char` itself where it has none.

    Examples
    --------
    >>> base_of("ễ"), base_of("ø")
    ('e', 'ø')
    """
    plain = unicodedata.normalize("NFD", char)
    return unicodedata.normalize("NFC", "".join(c for c in plain if not unicodedata.combining(c)))


def relatives(char: str, among: Collection[str]) -> set[str]:
    """Return `char` and, if it is a plain letter, its accented forms, as far as they are in `among`.

    i and j lose their dot under an accent (Unicode, SpecialCasing: Soft_Dotted), so only forms with marks below them
    are written as they are.
    """
    out = {char}
    if base_of(char) != char:
        return out
    for other in among:
        if other != char and base_of(other) == char:
            marks = unicodedata.normalize("NFD", other)[1:]
            if char in "ij" and any(unicodedata.combining(m) == 230 for m in marks):
                continue
            out.add(other)
    return out
