"""The hand's folder: what is written comes back, what is damaged is named, nothing is lost."""

from __future__ import annotations

import dataclasses
import json
import pickle

import numpy as np
import pytest

from capture.errors import HandFolderError, InputError, OutputError, UsageError, WrongSheetError
from capture.files import check_writable, write_bytes
from capture.report import Finding
from ownhand.cli.main import main
from ownhand.hands.captures import InkPicture, PageCapture, capture_file, load_captures, save_capture
from ownhand.hands.hand import HandRecord, change_record, create_hand, open_hand, open_or_create
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke


def an_attempt(**changes) -> Attempt:
    stroke = Stroke(np.array([[0.0, 1.0], [1.5, 2.0]]), 0.4, np.array([0.4, 0.5]))
    finding = Finding("outside its box", char="ß", page=1, row=2, column=3)
    base = Attempt("s1/1/2.3", "ß", 1, "written", (stroke,), 3.5, 7.0, -3.5, 9.0, 0.4, 0.8, "plain", (finding,))
    return dataclasses.replace(base, **changes)


def a_capture(**changes) -> PageCapture:
    ink = {"s1/1/2.3": InkPicture("ink/x.png", 11.8, -1.0, 6.0)}
    base = PageCapture("s1", 1, "page.png", {"dpi": 300.0}, (an_attempt(),), ink, {"word_gap": 1.2})
    return dataclasses.replace(base, **changes)


def test_a_hand_comes_back_as_it_was_made(tmp_path):
    record = HandRecord("Lantern Point", "the keeper", "my own hand", "postcards", "left", 2026)

    made = create_hand(tmp_path / "keeper", record)

    assert open_hand(tmp_path / "keeper") == made


def test_a_capture_comes_back_as_it_was_saved(tmp_path):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    save_capture(hand, a_capture())

    (back,) = load_captures(hand)

    (a,), (b,) = back.attempts, a_capture().attempts
    assert dataclasses.replace(back, attempts=()) == dataclasses.replace(a_capture(), attempts=())
    assert (a.id, a.char, a.findings, a.allograph) == (b.id, b.char, b.findings, b.allograph)
    np.testing.assert_array_equal(a.strokes[0].points_mm, b.strokes[0].points_mm)
    np.testing.assert_array_equal(a.strokes[0].widths_mm, b.strokes[0].widths_mm)


def test_a_folder_with_other_things_in_it_is_not_taken_for_a_new_hand(tmp_path):
    (tmp_path / "letter.txt").write_text("dear all")

    with pytest.raises(HandFolderError, match="holds other files"):
        open_or_create(tmp_path)

    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_missing_hand_says_how_to_begin_one(tmp_path):
    with pytest.raises(HandFolderError, match="ownhand sheet"):
        open_hand(tmp_path / "nobody")


@pytest.mark.parametrize("family", ["a\x1b[31m", "x" * 300, "ł" * 99, ".hidden", "a/b", "\udce9"])
def test_a_family_that_no_file_can_bear_is_refused(tmp_path, family):
    with pytest.raises(UsageError):
        open_or_create(tmp_path / "keeper", family=family)

    assert not (tmp_path / "keeper").exists()


def test_a_folder_with_a_long_or_odd_name_still_gives_a_family(tmp_path):
    assert open_or_create(tmp_path / ("ł" * 120)).record.family == "ł" * 90
    assert open_or_create(tmp_path / "..a\tb").record.family == "ab"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "is not JSON"),
        ("[]", "format"),
        ('{"format": 99, "family": "x"}', "format"),
        ('{"format": 1, "family": 7}', "family: expected text"),
        ('{"format": 1, "family": "../x"}', "family"),
        ('{"format": 1, "family": "x", "year": "old"}', "year: expected a number"),
        ('{"format": 1, "family": "x", "handedness": "both"}', "handedness: expected one of right, left"),
    ],
)
def test_a_damaged_record_says_what_is_wrong(tmp_path, text, said):
    (tmp_path / "hand.json").write_text(text)

    with pytest.raises(HandFolderError, match=said):
        open_hand(tmp_path)


def test_a_damaged_capture_names_the_place_of_the_fault(tmp_path):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    save_capture(hand, a_capture())
    file = capture_file(hand, "s1", 1)
    data = json.loads(file.read_text())
    data["attempts"][0]["strokes"][0]["points_mm"] = [[1, 2, 3]]
    file.write_text(json.dumps(data))

    with pytest.raises(HandFolderError, match=r"attempts\[0\].strokes\[0\].points_mm: expected 1 to 4000 pairs"):
        load_captures(hand)


def test_a_capture_in_which_an_attempt_stands_twice_is_refused(tmp_path):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    save_capture(hand, a_capture())
    file = capture_file(hand, "s1", 1)
    data = json.loads(file.read_text())
    data["attempts"].append(data["attempts"][0])
    file.write_text(json.dumps(data))

    with pytest.raises(HandFolderError, match=r"attempts\[\d+\]\.id: 's1/1/2.3' stands there twice") as error:
        load_captures(hand)

    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [
        (("sheet",), "../s1", "sheet, page: expected those"),
        (("page",), 7, "sheet, page: expected those"),
        (("ink", "s1/1/2.3", "px_per_mm"), 1e13, "ink.s1/1/2.3.px_per_mm: expected a number"),
        (("attempts", 0, "x_height_mm"), 10**400, "x_height_mm: expected a number"),
        (("attempts", 0, "char"), "\x1b", "char: expected one character"),
        (("attempts", 0, "strokes", 0, "points_mm"), [[0, 10**400]], "points_mm: expected"),
        (("verdict", "dpi"), [], "verdict.dpi: expected a number"),
    ],
)
def test_a_capture_that_reaches_beyond_its_limits_is_refused(tmp_path, place, value, said):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    save_capture(hand, a_capture())
    file = capture_file(hand, "s1", 1)
    data = at = json.loads(file.read_text())
    for step in place[:-1]:
        at = at[step]
    at[place[-1]] = value
    file.write_text(json.dumps(data))

    with pytest.raises(HandFolderError) as error:
        load_captures(hand)

    assert said in str(error.value)


def test_a_captures_folder_that_is_a_link_out_of_the_hand_is_not_written_to(tmp_path):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    (tmp_path / "elsewhere").mkdir()
    hand.captures_folder.mkdir()
    (hand.captures_folder / "s1").symlink_to(tmp_path / "elsewhere")

    with pytest.raises(InputError, match="not the name of a file inside"):
        save_capture(hand, a_capture())

    assert not list((tmp_path / "elsewhere").iterdir())


@pytest.mark.parametrize("name", ["font", "scans", "captures", "sheets", "layouts"])
def test_a_hand_with_a_folder_that_is_a_link_out_of_it_is_refused(tmp_path, name):
    create_hand(tmp_path / "keeper", HandRecord("Keeper"))
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "keeper" / name).symlink_to(tmp_path / "elsewhere")

    with pytest.raises(HandFolderError, match=f"{name}: is a link to a folder outside the hand"):
        open_hand(tmp_path / "keeper")


def test_a_hand_that_is_a_link_itself_or_has_links_within_it_is_opened(tmp_path):
    create_hand(tmp_path / "disk" / "keeper", HandRecord("Keeper"))
    (tmp_path / "disk" / "keeper" / "scans").mkdir()
    (tmp_path / "disk" / "keeper" / "pictures").symlink_to("scans")
    (tmp_path / "keeper").symlink_to(tmp_path / "disk" / "keeper")

    assert open_hand(tmp_path / "keeper").record == HandRecord("Keeper")


def test_a_year_that_nobody_gave_is_shown_as_none(tmp_path, capsys):
    hand = create_hand(tmp_path / "keeper", HandRecord("Keeper")).path

    assert main(["record", str(hand)]) == 0
    assert "year: " in capsys.readouterr().out.splitlines()
    assert main(["record", str(hand), "--year", "2026"]) == 0
    assert "year: 2026" in capsys.readouterr().out.splitlines()


def test_changing_the_record_keeps_the_rest_of_it(tmp_path):
    create_hand(tmp_path / "keeper", HandRecord("Keeper", "the keeper"))

    change_record(tmp_path / "keeper", {"consent": "my own hand"})

    assert open_hand(tmp_path / "keeper").record == HandRecord("Keeper", "the keeper", "my own hand")


def test_a_family_that_cannot_be_a_file_name_is_refused(tmp_path):
    create_hand(tmp_path / "keeper", HandRecord("Keeper"))

    with pytest.raises(UsageError, match="cannot be a file's name"):
        change_record(tmp_path / "keeper", {"family": "a/b"})


def test_a_write_that_fails_leaves_the_old_file_and_no_scraps(tmp_path, monkeypatch):
    file = tmp_path / "kept.json"
    file.write_bytes(b"old")

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_bytes(file, b"new")

    assert file.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [file]


def test_a_name_as_long_as_file_systems_take_can_be_written(tmp_path):
    # 255 bytes: NAME_MAX of the usual file systems of Linux, from memory
    file = tmp_path / ("n" * 251 + ".svg")

    assert write_bytes(file, b"ink").read_bytes() == b"ink"


def test_an_existing_output_is_only_replaced_when_asked(tmp_path):
    file = tmp_path / "page.svg"
    file.write_text("mine")

    with pytest.raises(OutputError, match="--force"):
        check_writable(file, force=False)
    check_writable(file, force=True)


def test_errors_travel_between_processes_whole():
    error = WrongSheetError("page.png", "another sheet", "Read it elsewhere.")

    back = pickle.loads(pickle.dumps(error))

    assert (type(back), str(back), back.exit_code) == (WrongSheetError, str(error), 3)


@pytest.mark.parametrize("name", ["two\nlines", "two\rlines"])
def test_a_hand_whose_name_is_more_than_a_line_is_refused(tmp_path, name):
    with pytest.raises(HandFolderError, match="more than one line"):
        open_or_create(tmp_path / name)
    assert not list(tmp_path.iterdir())
