"""Pages of words to copy are full, few, and come back from their codes."""

from __future__ import annotations

import hashlib
import json

import pytest

from capture.code import page_from_payload, page_payload
from capture.copy_words import TABLE, words_to_copy
from capture.errors import WrongSheetError
from capture.known_words import known_words
from capture.layout import lay_out
from capture.sheet import Sheet

TAGS = sorted(key for key in json.loads(TABLE.read_text(encoding="utf-8")) if key != "about")


def copied(languages: list[str], layout: int, x_height_mm: float = 2.8) -> Sheet:
    """Return a sheet of nothing but words to copy."""
    text = words_to_copy(languages).text
    return lay_out(
        {}, sheet_id="s1-fe0922", x_height_mm=x_height_mm, languages=languages, ruled_text=text, layout=layout
    )


@pytest.mark.parametrize("tag", TAGS)
def test_a_page_of_words_to_copy_is_full_and_its_code_holds_it(tag: str) -> None:
    sheet = copied([tag], 3)

    assert {len(page.ruled) for page in sheet.pages[:-1]} <= {14}
    for page in sheet.pages:
        payload = page_payload(sheet, page)
        assert page_from_payload(payload).page == page
        # QR version 13 in byte mode with error correction M: 331 bytes (ISO/IEC 18004:2015, table 7), 0.38 mm a module
        assert len(payload) <= 331


@pytest.mark.parametrize(("tag", "before", "now"), [("en", 3, 2), ("fr", 4, 2), ("pl", 6, 3), ("ru", 11, 4)])
def test_words_to_copy_take_fewer_pages_than_before(tag: str, before: int, now: int) -> None:
    old, new = copied([tag], 2), copied([tag], 3)

    assert (len(old.pages), len(new.pages)) == (before, now)
    assert [w for p in new.pages for r in p.ruled for w in r.text.split()] == words_to_copy([tag]).text.split()


def test_lines_are_fuller_only_where_that_saves_a_page() -> None:
    # at 3.5 mm, 181 mm of line: 0.95 of it at 1.2 x-heights a character are 40, at 1.1 they are 44
    longest = {
        tuple(tags): max(len(r.text) for p in copied(tags, 3, 3.5).pages for r in p.ruled)
        for tags in (["en"], ["en", "fr", "pl"])
    }

    assert longest["en",] <= 41 < longest["en", "fr", "pl"] <= 45


def test_a_text_in_no_known_language_is_parted_where_its_code_is_full() -> None:
    text = "qxoqu zwyrt vlimp krund " * 60

    sheet = lay_out({}, sheet_id="s", x_height_mm=2.0, languages=["en"], ruled_text=text)
    assert len(sheet.pages) > 2
    for page in sheet.pages:
        assert page_from_payload(page_payload(sheet, page)).page == page


def test_a_code_that_knows_words_of_a_strange_language_is_refused() -> None:
    sheet = copied(["en"], 3)
    payload = page_payload(sheet, sheet.pages[0])

    assert payload[7:10] == b"\x02en"
    with pytest.raises(WrongSheetError, match="damaged"):
        page_from_payload(payload[:8] + b"xx" + payload[10:])


def test_the_words_that_codes_know_have_not_changed_under_sheets_that_are_on_paper() -> None:
    # If this fails, keep the old table for layout 3, name it in `capture.known_words`, and count the layout up.
    assert hashlib.sha256(known_words(TAGS, 3).encode()).hexdigest()[:16] == "2ea936a3988921ac"
