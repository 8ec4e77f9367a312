"""Words that the code of a page needs not spell: those of the table of words to copy, in the languages of the sheet.

A page of words to copy holds more of them than its code could spell out. They are known to whoever reads it, so they
are the preset dictionary of its compression (RFC 1951 goes back at most 32 KiB; `zdict` in Python's zlib). Part of the
layout rules: another table needs a new `capture.layout.LAYOUT`, and the old one has to stay.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path

import regex

TABLES = {3: "copy_words.json"}
"""By layout; earlier ones spell out every word."""

MOST_TAGS = 12
"""Languages whose words are known to a code: what is further back than 32 KiB is out of reach."""

KNOWN_COST, SPELT_COST = 2.4, 0.7
"""Bytes that a known word takes, and each byte of one that is spelt; as measured on the tables."""

MOST_COST = 295.0
"""Bytes for all words of a page: the code stays one that a scan at 150 dpi shows."""

_WORD = regex.compile(r"[\p{L}\p{M}]+")


def known_tags(languages: Iterable[str], layout: int) -> tuple[str, ...]:
    """Return the languages, by their first subtag, of which words are known."""
    if layout not in TABLES:
        return ()
    tags = (code.split("-")[0].split("_")[0] for code in languages)
    return tuple(dict.fromkeys(tag for tag in tags if tag in _table(layout)))[:MOST_TAGS]


def known_words(tags: Sequence[str], layout: int) -> str:
    """Return all words that are known in these languages, one after the other.

    Raises
    ------
    ValueError
        If nothing is known of one of them.
    """
    if not set(tags) <= set(_table(layout)):
        raise ValueError("no words are known of one of the languages")
    return " ".join(_table(layout)[tag] for tag in tags)


def fitting_lines(lines: Sequence[str], languages: Iterable[str], layout: int) -> int:
    """Return how many of the lines, from the first and one at least, the code of a page holds."""
    known = frozenset(known_words(known_tags(languages, layout), layout).split())
    cost = 0.0
    for k, line in enumerate(lines):
        cost += sum(_cost(word, known) for word in line.split())
        if k and cost > MOST_COST:
            return k
    return len(lines)


def _cost(word: str, known: frozenset[str]) -> float:
    bare = _WORD.search(word)
    if bare is None or bare[0] not in known:
        return SPELT_COST * (len(word.encode()) + 1)
    return KNOWN_COST + SPELT_COST * len(word.replace(bare[0], "", 1).encode())


@cache
def _table(layout: int) -> dict[str, str]:
    if layout not in TABLES:
        return {}
    file = Path(__file__).with_name("tables") / TABLES[layout]
    return {k: v["words"] for k, v in json.loads(file.read_text(encoding="utf-8")).items() if k != "about"}
