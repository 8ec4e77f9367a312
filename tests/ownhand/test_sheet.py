"""Printing sheets: what is asked for is on them, and a hand is only begun when it can be."""

from __future__ import annotations

import pypdfium2
import pytest

from capture.code import page_from_payload, page_payload
from capture.errors import UsageError
from capture.sheet_file import load_sheet
from ownhand.cli.main import main
from ownhand.commands.sheet import print_sheet
from ownhand.hands.hand import load_sheets, open_hand


def sheet_of(hand):
    return load_sheet(next((hand / "sheets").glob("*/sheet.json")))


def chars_of(hand) -> set[str]:
    return {c.char for p in sheet_of(hand).pages for c in p.cells}


def test_a_sheet_begins_a_hand_with_its_record(tmp_path):
    hand = tmp_path / "keeper"
    said = ["--writer", "A. Keeper", "--consent", "my own hand", "--family", "Lantern Point", "--left-handed"]

    assert main(["sheet", str(hand), "--languages", "en,pl", *said]) == 0

    record = open_hand(hand).record
    assert (record.family, record.writer, record.consent, record.handedness) == (
        "Lantern Point", "A. Keeper", "my own hand", "left",
    )  # fmt: skip
    assert set("aąbcżźŁ019.,?") <= chars_of(hand)


def test_what_is_written_from_right_to_left_is_told_of(tmp_path, capsys):
    assert main(["sheet", str(tmp_path / "keeper"), "--characters", "aש"]) == 0
    assert "Of scripts written from right to left, which are not set so, only in the font: ש" in capsys.readouterr().err


def test_what_the_print_has_no_shape_for_is_told_with_its_number(tmp_path, capsys):
    assert main(["sheet", str(tmp_path / "keeper"), "--characters", "aש🐈"]) == 0
    said = "The sheet's print has no shape for 2 of them, write them by this key: U+05E9 is ש, U+1F408 is 🐈"
    assert said in capsys.readouterr().err


def test_a_refused_sheet_leaves_no_hand_and_the_next_try_loses_nothing(tmp_path):
    hand = tmp_path / "keeper"
    said = ["--writer", "A. Keeper", "--consent", "my own hand", "--left-handed"]

    assert main(["sheet", str(hand), "-c", "abc", "--paper", "30x30", *said]) == 2
    assert not hand.exists()
    assert main(["sheet", str(hand), "-c", "abc"]) == 0
    assert main(["sheet", str(hand), "-c", "abc", *said]) == 0

    record = open_hand(hand).record
    assert (record.writer, record.consent, record.handedness) == ("A. Keeper", "my own hand", "left")


def test_what_the_record_says_is_never_replaced_by_another_sheet(tmp_path, capsys):
    hand = tmp_path / "keeper"
    main(["sheet", str(hand), "-c", "abc", "--consent", "agreed on paper"])

    assert main(["sheet", str(hand), "-c", "abc", "--consent", "my own hand"]) == 2

    assert "ownhand record" in capsys.readouterr().err
    assert open_hand(hand).record.consent == "agreed on paper"


@pytest.mark.parametrize("name", ["\u0301", "\u200b", "\u00ad"])
def test_a_name_or_a_text_of_signs_without_width_takes_no_room(tmp_path, name):
    text = tmp_path / "copy.txt"
    text.write_text(f"{name}\n", "utf-8")
    told = ["--family", name, "--writer", name, "--use", name]

    assert main(["sheet", str(tmp_path / "hand"), "-c", "a", "--copy", str(text), *told]) == 0


def test_consent_that_was_given_stands_on_the_sheet(tmp_path):
    done = print_sheet(tmp_path / "keeper", characters="abc", writer="A. Keeper", consent="my own hand", use="cards")

    text = pypdfium2.PdfDocument(done.pdf)[0].get_textpage().get_text_range()
    assert "cards; my own hand" in text
    assert "A. Keeper" in text


@pytest.mark.parametrize(("more", "each"), [([], 4), (["--least", "3"], 3), (["--least", "6"], 6)])
def test_characters_asked_for_by_themselves_get_as_many_attempts_as_said(tmp_path, more, each):
    assert main(["sheet", str(tmp_path / "keeper"), "-c", "eqz", "--paper", "US Letter", *more]) == 0

    cells = [c.char for p in sheet_of(tmp_path / "keeper").pages for c in p.cells]
    assert sorted(cells) == sorted("eqz" * each)


def test_commands_in_messages_can_be_pasted_into_a_shell(tmp_path, capsys):
    hand = tmp_path / "lamp room; rm"
    main(["sheet", str(hand), "-c", "abc"])

    assert f"ownhand read '{hand}' SCANS" in capsys.readouterr().err


def test_pdf_svg_and_json_lie_in_a_folder_of_their_own(tmp_path):
    done = print_sheet(tmp_path / "keeper", characters="abc", copy="A line to copy.")

    names = sorted(p.name for p in done.pdf.parent.iterdir())
    document = pypdfium2.PdfDocument(done.pdf)
    assert names == ["page-1.svg", "page-2.svg", "sheet.json", "sheet.pdf"]
    assert len(document) == done.pages == 2
    document.close()


def test_a_text_asks_for_all_it_needs_however_it_is_normalised(tmp_path):
    text = tmp_path / "letter.txt"
    text.write_text("Cafe\u0301 – 3 €", encoding="utf-8")

    assert main(["sheet", str(tmp_path / "keeper"), "--text", str(text)]) == 0

    assert chars_of(tmp_path / "keeper") == set("Café–3€")


def test_every_character_gets_two_attempts_and_common_ones_more(tmp_path):
    print_sheet(tmp_path / "keeper", languages=["en"])

    attempts = [c.char for p in sheet_of(tmp_path / "keeper").pages for c in p.cells]
    assert min(attempts.count(c) for c in set(attempts)) >= 2
    assert attempts.count("e") > attempts.count("z")


def test_two_sheets_of_a_hand_do_not_get_in_each_others_way(tmp_path):
    first = print_sheet(tmp_path / "keeper", characters="abc")

    second = print_sheet(tmp_path / "keeper", characters="def")

    assert first.id != second.id
    assert first.pdf.exists() and second.pdf.exists()


def test_a_request_that_cannot_be_met_leaves_no_hand_behind(tmp_path):
    with pytest.raises(UsageError):
        print_sheet(tmp_path / "keeper", languages=["en"], pages=1, x_height_mm=12.0)

    assert not (tmp_path / "keeper").exists()


@pytest.mark.parametrize(
    "text", ["the \x07lamp", "\x1b[2J lamp", "e" + "\u0301" * 900, "lamp \ud800", "\x9b1m lamp", "the lamp\u2029burns"]
)
def test_a_text_to_copy_makes_a_sheet_that_is_read_again_or_is_refused(tmp_path, text):
    try:
        print_sheet(tmp_path / "hand", copy=text)
    except UsageError as error:
        assert "text to copy: it holds control characters, or words of more than 420 bytes" in str(error)
        assert not (tmp_path / "hand").exists()
        return

    (sheet,) = load_sheets(open_hand(tmp_path / "hand")).values()
    assert [page_from_payload(page_payload(sheet, page)).page for page in sheet.pages] == list(sheet.pages)
