"""Ruled lines of a sheet: words to copy for a joined hand, and letters taken from what was copied."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

from capture.sheet_file import load_sheet
from fontbuild.joins import APART, IN_TEXT
from ownhand.cli.main import main
from ownhand.commands.read import read_scans
from ownhand.commands.read_report import finding_rows, next_steps, page_rows
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from tests.bench.trace_ink import even

LANTERN = Path(__file__).parents[2] / "sample_sheets" / "lantern"
LINES_PAGE = 7


def dense(strokes) -> np.ndarray:
    """Return points of all strokes, a twentieth of a millimetre apart."""
    return np.concatenate([even(np.array(s, float), 0.05) for s in strokes])


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """The keeper's page of copied lines, read: (hand, report)."""
    hand = tmp_path_factory.mktemp("hands") / "keeper"
    return hand, read_scans(hand, [LANTERN / "scans" / f"page-{LINES_PAGE}.jpg"], jobs=1)


@pytest.fixture(scope="module")
def truth():
    """The letters of the page's lines: {(line, place in its text): (character, strokes)}."""
    data = json.loads(gzip.decompress((LANTERN / "truth.json.gz").read_bytes()))
    letters = iter(data["lines"])
    out = {}
    for number, line in enumerate(load_sheet(LANTERN / "sheet" / "sheet.json").pages[LINES_PAGE - 1].ruled, 1):
        for place, char in enumerate(line.text, 1):
            if char != " ":
                letter = next(letters)
                assert (letter["line"], letter["char"]) == (number, char)
                out[number, place] = (char, dense(letter["strokes"]))
    return out


def test_letters_of_copied_lines_become_attempts(copied, truth):
    attempts = copied[1].pages[0].capture.attempts

    assert len(attempts) >= 0.9 * len(truth)
    assert {a.allograph for a in attempts} <= IN_TEXT
    # the keeper prints: hardly a letter is joined to the next
    assert sum(a.allograph == APART for a in attempts) >= 0.8 * len(attempts)
    assert all(a.x_height_mm == attempts[0].x_height_mm for a in attempts)


def test_they_are_the_letters_that_were_written(copied, truth):
    right = 0
    attempts = copied[1].pages[0].capture.attempts
    for a in attempts:
        place = tuple(int(v) for v in a.id.rsplit("/", 1)[1].split("."))
        char, true = truth[place]
        assert a.char == char
        found = dense([s.points_mm * [1, -1] for s in a.strokes])
        shift = np.median(true, axis=0) - np.median(found, axis=0)
        right += np.median(cKDTree(true).query(found + shift)[0]) < 0.3
    assert right >= 0.95 * len(attempts)


def test_the_page_is_told_as_one_of_lines_and_shown(copied):
    hand, report = copied
    (row,) = page_rows(report)
    (page,) = report.pages

    assert row[2] == "9 lines"
    assert int(row[3]) == len(page.capture.attempts)
    assert page.contact.is_file()
    assert all((page.contact.parent / p.file).is_file() for p in page.capture.ink.values())
    assert [a.id for c in load_captures(open_hand(hand)) for a in c.attempts] == [a.id for a in page.capture.attempts]


def test_spacing_of_copied_lines_is_still_measured(copied):
    rhythm = copied[1].pages[0].capture.rhythm

    assert {"letter_gap", "word_gap", "foot_sd"} <= rhythm.keys()


def test_words_that_do_not_suit_are_named_and_one_doubt_is_one_row(copied):
    report = copied[1]
    doubts = {(f.row, f.detail) for f in report.findings if f.kind == "doubtful word"}
    rows = [row for row in finding_rows(report) if row[4].startswith("doubtful word")]

    assert len(rows) == len(doubts)
    told = " ".join(next_steps(Path("keeper"), report))
    assert all(word in told for word in report.pages[0].left_out[:12])


def test_a_sheet_for_a_joined_hand_has_words_to_copy_and_says_which_pairs_are_in_them(tmp_path, capsys):
    assert main(["sheet", str(tmp_path / "keeper"), "-l", "en", "--joined", "--pages", "4"]) == 0

    sheet = load_sheet(next((tmp_path / "keeper" / "sheets").glob("*/sheet.json")))
    words = " ".join(line.text for page in sheet.pages for line in page.ruled).split()
    said = capsys.readouterr().out
    assert "of those in running text" in said
    assert {"th", "he", "in", "er"} <= {w[i : i + 2] for w in words for i in range(len(w) - 1)}
    # two pages of lines are what a person writes in a quarter of an hour
    assert sum(bool(page.ruled) for page in sheet.pages) <= 5


def test_joined_words_need_a_language_or_a_text(tmp_path, capsys):
    assert main(["sheet", str(tmp_path / "keeper"), "-c", "abc", "--joined"]) == 2
    assert "--languages" in capsys.readouterr().err
    assert not (tmp_path / "keeper").exists()


def test_the_picture_of_an_i_shows_its_dot(copied):
    hand, _ = copied
    (page,) = load_captures(open_hand(hand))
    dotted = [a for a in page.attempts if a.char == "i" and a.status == "written"]

    assert len(dotted) > 3
    for a in dotted:
        grey = cv2.imread(str(hand / "captures" / page.sheet / page.ink[a.id].file), cv2.IMREAD_GRAYSCALE)
        # paper is the first part
        assert cv2.connectedComponents((grey < 128).astype(np.uint8))[0] - 1 >= 2, a.id
