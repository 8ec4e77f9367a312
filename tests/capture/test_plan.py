"""How many attempts each character gets."""

from __future__ import annotations

import math

import pytest

from capture.errors import UsageError
from capture.languages import characters_for
from capture.layout import lay_out
from capture.plan import LEAST, MOST, letter_frequencies, plan_attempts

FIVE = ["en", "fr", "de", "pl", "es"]


def test_frequencies_are_shares_of_running_text():
    shares = letter_frequencies(["en"])

    assert sum(share for char, share in shares.items() if char.isalpha()) == pytest.approx(1.0, abs=0.01)
    assert all(0 <= share < 0.2 for share in shares.values())


def test_english_letters_stand_in_their_known_order():
    # Common order of English letters (Lewand, Cryptological Mathematics, 2000); counts over Debian's common licences
    # have the same thirteen in the lead. Neighbours differ by little.
    shares = letter_frequencies(["en"])
    known = "etaoinsrhldcu"
    ranked = sorted((c for c in shares if c.islower() and c.isascii()), key=lambda c: -shares[c])

    assert ranked[0] == "e"
    assert set(ranked[:13]) >= set(known) - {"c"}
    assert shares["e"] == pytest.approx(0.125, abs=0.02)
    assert set(ranked[-4:]) == set("jqxz")


def test_each_language_brings_its_letters():
    assert letter_frequencies(["pl"])["ł"] > 0.01
    assert letter_frequencies(["fr"])["é"] > 0.01
    assert letter_frequencies(["de"])["D"] > letter_frequencies(["de"])["X"]
    assert letter_frequencies(FIVE)["ł"] == pytest.approx(letter_frequencies(["pl"])["ł"] / 5, rel=1e-6)


def test_a_language_without_word_lists_still_gets_a_plan():
    plan = plan_attempts(characters_for(["cy"]), ["cy"])

    assert plan["e"] > plan["ŵ"] >= LEAST


def test_attempts_follow_the_square_root_of_the_frequency():
    shares = letter_frequencies(["en"])
    plan = plan_attempts(characters_for(["en"]), ["en"])
    scale = MOST / math.sqrt(shares["e"])

    assert plan["e"] == MOST
    for char, attempts in plan.items():
        if attempts > LEAST:
            assert attempts == pytest.approx(scale * math.sqrt(shares[char]), abs=0.5)


@pytest.mark.parametrize("pages", [3, 4, 6])
def test_the_plan_fills_the_pages_asked_for_and_no_more(pages):
    plan = plan_attempts(characters_for(FIVE), FIVE, pages=pages)
    sheet = lay_out(plan, sheet_id="s")

    assert len(sheet.pages) == pages
    assert min(plan.values()) >= LEAST and max(plan.values()) <= MOST
    assert plan["e"] >= plan["t"] >= plan["q"]
    # One attempt more for the commonest letters would not go on the last page.
    last = max(cell.row for cell in sheet.pages[-1].cells)
    assert last >= max(cell.row for cell in sheet.pages[0].cells) - 3


def test_pages_that_do_not_hold_two_of_each_are_refused_with_the_number_it_takes():
    with pytest.raises(UsageError, match=r"take 3 pages of A4, not 2\. Ask for 3 pages"):
        plan_attempts(characters_for(FIVE), FIVE, pages=2)


def test_more_pages_than_can_be_used_give_the_most_of_each():
    assert set(plan_attempts("abc", ["en"], pages=50).values()) == {MOST}


def test_the_order_of_the_characters_is_kept():
    assert list(plan_attempts("zéa", ["fr"])) == ["z", "é", "a"]


@pytest.mark.parametrize("wrong", [{"pages": 0}, {"pages": -1}, {"least": 0}, {"least": 5, "most": 3}])
def test_impossible_bounds_are_refused(wrong):
    with pytest.raises(UsageError):
        plan_attempts("abc", ["en"], **wrong)


def test_no_characters_are_refused():
    with pytest.raises(UsageError, match="no characters"):
        plan_attempts("", ["en"])
