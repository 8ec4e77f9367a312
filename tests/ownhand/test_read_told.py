"""What is said after reading: nothing that was left out or put right goes unsaid."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from capture.errors import NEEDS_REVIEW
from capture.read import Verdict
from ownhand.cli.main import main
from ownhand.commands.letter import TakenLetter
from ownhand.commands.read_report import ReadReport, Taken, next_steps
from ownhand.hands.captures import load_captures
from ownhand.hands.lost_characters import lost_characters, told_of_lost
from ownhand.workroom import work
from tests.ownhand.stand_in import write_hand


def report(hand, *, scale: float | None = 1.0, blank: int = 0) -> ReadReport:
    (capture,) = load_captures(hand)
    attempts = [
        dataclasses.replace(a, status="blank", strokes=()) if i < blank else a for i, a in enumerate(capture.attempts)
    ]
    capture = dataclasses.replace(capture, attempts=tuple(attempts))
    verdict = Verdict(300.0, scale, 0.05, 0.8, 0.02, 4, 4, 1.0, True, "")
    return ReadReport(
        (Taken(capture, hand.captures_folder / "LAMP1" / "page-01-contact.png", verdict, 0.45, 0),), (), ()
    )


def test_a_sheet_printed_at_ninety_seven_per_cent_is_told(tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)

    assert any("LAMP1 page 1 was printed at 97 %" in line for line in next_steps(hand.path, report(hand, scale=0.97)))
    assert not any("printed at" in line for line in next_steps(hand.path, report(hand)))


def test_cells_taken_as_blank_are_named_with_their_place(tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)

    told = next_steps(hand.path, report(hand, blank=2))

    assert "LAMP1 page 1: 2 cell(s) taken as blank, by row.column: a (1.1), a (1.2)" in told


def test_letters_kept_from_an_earlier_scan_are_told(tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)
    done = report(hand)
    (page,) = done.pages
    stamps = dict(zip((a.id for a in page.capture.attempts), ["0a", "0a", "1b", "0a", "1b", "1b"], strict=True))
    ink = {key: dataclasses.replace(page.capture.ink[key], file=f"ink/01-01.01-{s}.png") for key, s in stamps.items()}
    capture = dataclasses.replace(page.capture, scan="page 1-1b.jpg", ink=ink)
    done = dataclasses.replace(done, pages=(dataclasses.replace(page, capture=capture),))

    told = "LAMP1 page 1: 3 of its letters stay as an earlier scan had them, which were read better there"
    assert told in next_steps(hand.path, done)
    once = dataclasses.replace(done, pages=(dataclasses.replace(page, capture=dataclasses.replace(capture, ink={})),))
    assert not any("earlier scan" in line for line in next_steps(hand.path, once))


def test_reading_ends_with_where_to_look_and_what_comes_next(tmp_path):
    hand = write_hand(tmp_path / "lamp room", "an", attempts=3, faults=False)

    told = next_steps(hand.path, report(hand))

    assert any(line.startswith("read: cells with strokes; blank: nothing written") for line in told)
    assert f"ownhand review '{hand.path}'" in told[-2]
    assert told[-1] == f"Then build the font: ownhand build '{hand.path}'"
    assert next_steps(Path("x"), ReadReport((), (), ())) == []


def test_pages_without_writing_lead_to_no_font(tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)

    told = next_steps(hand.path, report(hand, blank=6))

    assert told[-1].startswith("Nothing is written on these pages") and "build" not in "".join(told)


def test_characters_that_only_words_left_out_have_are_lost_to_the_hand(tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)

    assert lost_characters(["line 1: nana", "line 3: quay"], hand) == ("q", "u", "y")
    assert lost_characters(["line 1: anna"], hand) == lost_characters([], hand) == ()
    assert told_of_lost(("q", "u"), Path("the hand")).endswith("ownhand sheet 'the hand' --characters qu")


@pytest.mark.parametrize(("lost", "code"), [((), 0), (("q",), NEEDS_REVIEW)])
def test_words_left_out_are_missing_only_where_the_hand_has_their_letters_nowhere_else(
    tmp_path, monkeypatch, lost, code
):
    # README, exit codes: 5 is for characters that are missing
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)
    read = dataclasses.replace(report(hand), lost=lost)
    (page,) = read.pages
    read = dataclasses.replace(read, pages=(dataclasses.replace(page, left_out=("line 3: quay",)),))
    letter = TakenLetter(page.capture, page.contact, 6, 5, 0, 0, ("line 3: quay",), 0.0, (), lost)
    monkeypatch.setattr("ownhand.commands.read.read_scans", lambda *args, **options: read)
    monkeypatch.setattr("ownhand.commands.letter.take_letter", lambda *args, **options: letter)
    (tmp_path / "text.txt").write_text("a quay")

    assert main(["read", str(hand.path), "scan.png"]) == code
    assert main(["letter", str(hand.path), "scan.png", str(tmp_path / "text.txt")]) == code


def test_the_page_in_the_browser_is_told_what_the_command_says_of_words_left_out(tmp_path, monkeypatch):
    hand = write_hand(tmp_path / "hand", "an", attempts=3, faults=False)
    done = report(hand)
    done = dataclasses.replace(done, pages=(dataclasses.replace(done.pages[0], left_out=("line 3: lamp",)),))
    monkeypatch.setattr("ownhand.commands.read.read_scans", lambda *_, **__: done)

    told = work.WORKS["read"]({"hand": str(hand.path), "scans": [], "adopt": False}, lambda _: None)["notices"]

    assert "LAMP1 page 1: 1 word(s) left out, their ink does not suit them: line 3: lamp" in told
