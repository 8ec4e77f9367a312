"""Kerning of SVG 1.1 fonts (w3.org/TR/SVG11/fonts.html, 20.7): lists of letters on both sides instead of pairs.

`k` of an hkern *reduces* the advance, so its sign is the opposite of ours. Built letters are kerned as their bases
are, so that most pairs of a hand repeat others; in lists they take a fifth of the room.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

RANGE = re.compile(r"U\+(?P<first>[0-9A-F]{1,6})(?:-(?P<last>[0-9A-F]{1,6}))?", re.IGNORECASE)
"""A Unicode range as in CSS 2 (w3.org/TR/2008/REC-CSS2-20080411/fonts.html, 15.3.3), without its wild cards."""


@dataclass(frozen=True)
class Kern:
    """The same correction between any of one group of letters and any of another."""

    first: tuple[str, ...]
    second: tuple[str, ...]
    k: float
    """What is added to the advance of the first, font units."""


def grouped(pairs: Mapping[tuple[str, str], float], *, digits: int = 0) -> list[Kern]:
    """Return the pairs in groups of equal kerning, rounded to `digits`; those that round to nothing are left out.

    Examples
    --------
    >>> grouped({("T", "e"): -60.0, ("T", "é"): -60.2, ("Ť", "é"): -60.0, ("Ť", "e"): -60.0})
    [Kern(first=('T', 'Ť'), second=('e', 'é'), k=-60.0)]
    """
    rows: dict[float, dict[str, list[str]]] = {}
    for (first, second), k in sorted(pairs.items()):
        if amount := round(float(k), digits):
            rows.setdefault(amount, {}).setdefault(first, []).append(second)
    out: list[Kern] = []
    for amount, row in sorted(rows.items()):
        same: dict[tuple[str, ...], list[str]] = {}
        for first, seconds in row.items():
            same.setdefault(tuple(seconds), []).append(first)
        out += [Kern(tuple(firsts), seconds, amount) for seconds, firsts in same.items()]
    return out


def listed(chars: Iterable[str]) -> str:
    """Return characters as u1 and u2 list them; a comma, which would end the item, by its number.

    Examples
    --------
    >>> listed("T,e")
    'T,U+2C,e'
    """
    return ",".join("U+2C" if c == "," else c for c in chars)


def unlisted(text: str, known: Collection[str]) -> list[str]:
    """Return the characters that a u1 or u2 lists, of a range those that are `known`.

    Examples
    --------
    >>> unlisted("T, U+2C,U+61-63", "abcT,")
    ['T', ',', 'a', 'b', 'c']
    """
    out: list[str] = []
    for item in filter(None, (part.strip() for part in text.split(","))):
        match = RANGE.fullmatch(item)
        if match is None:
            out.append(item)
            continue
        first = int(match["first"], 16)
        last = int(match["last"], 16) if match["last"] else first
        out += sorted(c for c in known if len(c) == 1 and first <= ord(c) <= last)
    return out
