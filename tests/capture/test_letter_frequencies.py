"""The table of letters and pairs against published counts, and against itself."""

from __future__ import annotations

import pytest

from capture.letter_frequencies import nearest_tag, pair_shares, table_of, tags
from capture.plan import letter_frequencies

ENGLISH = {"e": 12.7, "t": 9.1, "a": 8.2, "o": 7.5, "i": 7.0, "n": 6.7, "s": 6.3, "h": 6.1, "r": 6.0, "z": 0.1}
"""Per cent, after Lewand, Cryptological Mathematics (2000); values from memory."""


@pytest.mark.parametrize(("letter", "percent"), ENGLISH.items())
def test_english_letters_are_as_frequent_as_a_handbook_has_them(letter: str, percent: float) -> None:
    assert 100 * table_of("en")[letter][0] == pytest.approx(percent, abs=1.3)


@pytest.mark.parametrize("tag", tags())
def test_the_shares_of_a_language_sum_to_one(tag: str) -> None:
    letters = table_of(tag).values()

    assert sum(share for share, _ in letters) == pytest.approx(1, abs=0.002)
    assert sum(first for _, first in letters) == pytest.approx(1, abs=0.002)
    assert sum(pair_shares(tag).values()) <= 1


def test_a_language_without_a_table_borrows_from_a_near_one_or_has_none() -> None:
    assert nearest_tag("hr") == "sh"
    assert nearest_tag("ga") is None
    assert letter_frequencies(["ga"]) == letter_frequencies(["en"])


def test_pairs_come_commonest_first_and_hold_letters_only() -> None:
    pairs = pair_shares("en")

    assert next(iter(pairs)) == "th"
    assert all(len(pair) == 2 and pair.isalpha() for pair in pairs)
