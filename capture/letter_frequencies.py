"""How often letters and pairs of letters occur in the words of a language.

The table beside this module was counted off the word lists of wordfreq (Robyn Speer, 2022, doi
10.5281/zenodo.7199437; CC BY-SA 4.0); `python -m tests.bench letter_frequencies --write` counts it anew.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

TABLE = Path(__file__).with_name("tables") / "letter_frequencies.json"

FARTHEST = 10
"""Distance of languages (CLDR's, as langcodes gives it) up to which one's table serves for the other: Croatian is 4
from the Serbo-Croatian of the table, Irish 24 from English."""


def tags() -> list[str]:
    """Return the languages of the table, as BCP 47 tags."""
    return [key for key in _table() if key != "about"]


def nearest_tag(code: str) -> str | None:
    """Return the tag whose table serves for the language `code` (BCP 47), None where there is none."""
    import langcodes

    tag, distance = langcodes.closest_match(code, tags())
    return tag if distance <= FARTHEST else None


def table_of(tag: str) -> dict[str, tuple[float, float]]:
    """Return each letter's share of all letters of running text, and of the first letters of words (each sums to 1).

    Raises
    ------
    KeyError
        If the table has no such tag; `tags` lists them, `nearest_tag` finds one.
    """
    return {char: (1e-6 * share, 1e-6 * first) for char, (share, first) in _table()[tag]["letters"].items()}


def pair_shares(tag: str) -> dict[str, float]:
    """Return each pair's share of all pairs of neighbouring letters in words, commonest first; rare pairs are left out.

    Raises
    ------
    KeyError
        As `table_of`.
    """
    return {pair: 1e-6 * share for pair, share in _table()[tag]["pairs"].items()}


@cache
def _table() -> dict[str, Any]:
    data: dict[str, Any] = json.loads(TABLE.read_text(encoding="utf-8"))
    return data
