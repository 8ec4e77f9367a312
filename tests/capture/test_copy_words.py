"""Words to copy: the pairs of letters that a language needs, in few words."""

from __future__ import annotations

import json
from collections import Counter
from itertools import pairwise

import pytest

from capture.copy_words import TABLE, TIMES, covering, pair_rows, pairs_of, words_to_copy
from capture.errors import UsageError
from capture.letter_frequencies import pair_shares
from tests.bench.copy_words import UNWANTED


@pytest.mark.parametrize("code", ["en", "de", "fr", "pl", "es"])
def test_nearly_all_pairs_of_running_text_are_in_the_words(code):
    chosen = words_to_copy([code])

    # counted off the words themselves, against shares counted off wordfreq's lists (Speer 2022)
    written = {a + b for w in chosen.words for a, b in pairwise(w)}
    shares = pair_shares(code)
    assert sum(s for p, s in shares.items() if p in written) / sum(shares.values()) >= 0.95
    assert sum(map(len, chosen.words)) < 1200


def test_every_word_is_written_as_often_as_said_and_never_twice_in_a_row():
    chosen = words_to_copy(["en", "fr"])

    text = chosen.text.split()
    assert set(Counter(text).values()) == {TIMES}
    assert set(text) == set(chosen.words)
    assert all(a != b for a, b in pairwise(text))


def test_a_text_asks_for_its_own_pairs_and_gives_its_own_words():
    chosen = words_to_copy([], "The foghorn hums; the foghorn hums.")

    assert set(chosen.words) <= {"The", "the", "foghorn", "hums"}
    assert chosen.written >= {"fo", "og", "gh", "ho", "or", "rn", "hu", "um", "ms", "th", "he"}
    assert chosen.covered == pytest.approx(1.0)


def test_few_words_are_taken_and_none_that_the_others_make_needless():
    shares = {"ab": 0.4, "bc": 0.3, "cd": 0.3}

    assert covering(shares, ["ab", "bc", "cd", "abcd"], needed=1.0) == ["abcd"]
    assert covering(shares, ["xy", "ab"], needed=1.0) == ["ab"]


def test_letters_that_no_pen_joins_are_no_pair():
    assert pairs_of("l'été") == ["ét", "té"]
    assert pairs_of("a") == []


def test_the_table_says_which_pairs_are_on_the_sheet_and_which_are_not():
    chosen = words_to_copy([], "abc abc")
    rows = pair_rows(chosen)

    assert rows == [["a", "b", "50.0%", ""], ["b", "c", "50.0%", ""]]


def test_a_language_without_counted_pairs_is_named():
    with pytest.raises(UsageError, match="no pairs of letters are known"):
        words_to_copy(["ja"])
    assert words_to_copy(["en", "ja"]).strange == ("ja",)


def test_the_table_holds_words_as_they_are_spelled_and_says_where_they_are_from():
    """German nouns have a capital (Amtliches Regelwerk der deutschen Rechtschreibung, section 55)."""
    table = json.loads(TABLE.read_text(encoding="utf-8"))

    assert "CC BY-SA" in table["about"]["licence"]
    for tag, entry in table.items():
        if tag != "about":
            words = entry["words"].split()
            assert len(words) == len(set(words))
            assert all(w.isalpha() and w[1:] == w[1:].lower() for w in words), tag
            assert any(w[0].isupper() for w in words) == (tag == "de"), tag
    german = set(table["de"]["words"].split())
    nouns, others = ("Ausland", "Hälfte", "Körper", "Zukunft"), ("dünn", "erwartet", "höchst", "jedoch", "spät")
    assert german >= {w for w in nouns if w in german or w.lower() in german}
    assert german >= {w for w in others if w in german or w.capitalize() in german}


def test_nobody_has_to_copy_an_oath():
    """Read by eye; some of them are common enough in wordfreq's lists (Speer 2022) to be taken otherwise."""
    table = json.loads(TABLE.read_text(encoding="utf-8"))
    words = {w.lower() for tag, entry in table.items() if tag != "about" for w in entry["words"].split()}

    assert not words & set(UNWANTED.split())
    assert not words & {"kurwa", "chuja", "jævlig", "kuce", "γαμώ", "курва", "kæft"}
