"""The code on paper is enough to lay the page out again."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.code import page_from_payload, page_payload, sheet_from_coded
from capture.errors import UsageError, WrongSheetError
from capture.layout import LAYOUT, LAYOUTS, lay_out

COUNTS = {"e": 9, "t": 5, "a": 4, "é": 2, "x̂": 3, "\u0301": 2, "Ж": 2, "—": 2, "𝄞": 2, "0": 4}


def museum_sheet():
    return lay_out(
        {**dict.fromkeys("bcdfghijklmnopqrsuvwxyz", 8), **COUNTS},
        sheet_id="lantern-1",
        paper="A5",
        languages=("en", "pl"),
        ruled_text="Zapal lampę o zmierzchu. " * 20,
    )


def test_every_page_is_laid_out_again_from_its_own_code():
    sheet = museum_sheet()

    assert len(sheet.pages) > 4
    for page in sheet.pages:
        coded = page_from_payload(page_payload(sheet, page))
        assert coded.page == page
        assert (coded.sheet_id, coded.layout, coded.pages) == (sheet.id, LAYOUT, len(sheet.pages))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_page_of_any_layout_that_is_on_paper_is_laid_out_again(layout):
    sheet = lay_out({"a": 2, "I": 2, "…": 3}, sheet_id="s", layout=layout)
    coded = page_from_payload(page_payload(sheet, sheet.pages[0]))

    assert (coded.layout, coded.page) == (layout, sheet.pages[0])


def test_the_sheet_is_rebuilt_from_pages_in_any_order():
    sheet = museum_sheet()
    coded = [page_from_payload(page_payload(sheet, page)) for page in reversed(sheet.pages)]

    assert sheet_from_coded(coded) == sheet


def test_pages_of_two_sheets_do_not_make_one():
    coded = []
    for name in ("lantern-1", "lantern-2"):
        sheet = lay_out({"a": 2}, sheet_id=name)
        coded.append(page_from_payload(page_payload(sheet, sheet.pages[0])))

    with pytest.raises(WrongSheetError, match="lantern-2"):
        sheet_from_coded(coded)


def test_a_code_of_another_layout_says_which():
    sheet = lay_out({"a": 2}, sheet_id="s")
    payload = bytearray(page_payload(sheet, sheet.pages[0]))
    payload[2] = 99

    with pytest.raises(WrongSheetError, match="layout 99"):
        page_from_payload(bytes(payload))


@pytest.mark.parametrize(
    "payload", [b"", b"oh", b"https://example.org/", bytes(300), b"oh\x01" + bytes(4) + b"\x03\x00"]
)
def test_a_code_that_is_not_ours_is_refused(payload):
    with pytest.raises(WrongSheetError):
        page_from_payload(payload)


@given(st.data())
def test_a_damaged_code_never_passes_for_another_page(data):
    sheet = museum_sheet()
    payload = bytearray(page_payload(sheet, sheet.pages[0]))
    at = data.draw(st.integers(0, len(payload) - 1))
    payload[at] ^= data.draw(st.integers(1, 255))

    try:
        coded = page_from_payload(bytes(payload))
    except WrongSheetError:
        return
    # The same body can be compressed in more ways than one.
    assert coded.page == sheet.pages[0]


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_without_a_fault(payload):
    for head in (b"", b"oh\x01"):
        with pytest.raises(WrongSheetError):
            page_from_payload(head + payload)


nfc = st.text(min_size=1, max_size=3).map(lambda text: unicodedata.normalize("NFC", text))


@given(
    counts=st.dictionaries(nfc, st.integers(1, 9), min_size=1, max_size=40),
    paper=st.sampled_from(["A5", "A4", "Letter", "150x200.5"]),
    x_height=st.floats(1.5, 6.0),
)
def test_any_sheet_comes_back_from_its_codes(counts, paper, x_height):
    try:
        sheet = lay_out(counts, sheet_id="s", paper=paper, x_height_mm=x_height)
    except UsageError:
        return
    coded = [page_from_payload(page_payload(sheet, page)) for page in sheet.pages]

    assert sheet_from_coded(coded) == sheet
