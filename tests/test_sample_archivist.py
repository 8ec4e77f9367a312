"""The museum's second hand, whose letters join: the sample holds together, and its letters are found where they are.

A letter counts as found where its ink, as it was read, and its true ink overlap by half (intersection over union of
line samples): which of two letters a join belongs to is a matter of rule, and a join is a third of many a letter's ink.
"""

from __future__ import annotations

import gzip
import json

import numpy as np
import pytest

from capture.fiducial_detection import grey_of
from capture.read import read_page
from capture.scan import load_scan, load_scans
from capture.sheet_file import load_sheet
from capture.units import MM_PER_INCH
from ownhand.commands.line_reading import read_lines
from sample_sheets.make_running import FOLDER, LETTER, LETTER_LINES_MM, LETTER_X_HEIGHT_MM, SEED, running_sheet
from sample_sheets.writer.running_hand import ARCHIVIST, write_running_line
from sample_sheets.writer.running_letters import RUNNING, running_form
from skeleton.ink.ink_map import find_ink_of_words
from skeleton.words.page_lines import find_lines
from tests.bench import words as bench

OVERLAP = 0.5


class Here:
    """Does at once what a pool of processes would do."""

    map = staticmethod(map)


@pytest.fixture(scope="module")
def truth():
    return json.loads(gzip.decompress((FOLDER / "truth.json.gz").read_bytes()))


@pytest.fixture(scope="module")
def words(truth):
    """True words by page (0: the letter), line and number."""
    return {(w["page"], w["line"], w["word"]): w for w in truth["words"]}


def letters_of(word, place=lambda points: points):
    """Return a true word's letters as the bench of words takes them."""
    out = [(char, []) for char in word["text"]]
    for _, letter, line in word["pieces"]:
        points = place(np.array(line, float).reshape(-1, 2))
        out[letter][1].append(points if len(points) > 1 else np.vstack([points, points + np.array([1e-3, 0.0])]))
    return out


def found(readings, true, monkeypatch) -> tuple[float, float]:
    """Return the share of letters found, of all and of those in words that suit their ink."""
    monkeypatch.setattr(bench, "OVERLAP", OVERLAP)
    rows = []
    for line, reading in readings:
        for number, word in enumerate(reading.words, 1):
            letters = [(x.char, x.pieces_mm) for x in word.letters]
            right = bench.letters_found(letters, true(line, number, word)) if letters else 0.0
            rows.append((right, len(reading.texts[number - 1]), reading.suits[number - 1]))
    right, count, suits = (np.array(column) for column in zip(*rows, strict=True))
    return float(np.average(right, weights=count)), float(np.average(right[suits], weights=count[suits]))


@pytest.fixture(scope="module")
def copied():
    """The page with lines to copy: as printed, what was written on its lines, and how it is read.

    Read once, which takes a while; behind the others the fourth line comes again, with the words of the first.
    """
    sheet = load_sheet(FOLDER / "sheet" / "sheet.json")
    page = sheet.pages[-1]
    (scan,) = load_scans(FOLDER / "scans" / f"page-{page.page}.jpg")
    lines = read_page(scan, lambda _: sheet).lines
    inks = [find_ink_of_words(line.grey, line.px_per_mm * MM_PER_INCH) for line in lines]
    texts = [line.line.text for line in lines]
    return page, lines, read_lines(Here, [*inks, inks[3]], [*texts, texts[0]], lambda *_: None)


def test_letters_copied_on_ruled_lines_are_found(copied, words, monkeypatch):
    page, lines, readings = copied

    def true(number, word, _):
        ink = lines[number]
        row = 1 + page.ruled.index(ink.line)
        return letters_of(words[page.page, row, word], lambda p: p - [ink.left_mm, ink.top_mm])

    every, suited = found(enumerate(readings[: len(lines)]), true, monkeypatch)
    assert every >= 0.8
    assert suited >= 0.85


def test_another_lines_words_are_not_taken_though_the_writers_own_letters_are_known(copied):
    *right, wrong = copied[-1]

    assert sum(wrong.suits) <= 1
    assert np.mean([suits for reading in right for suits in reading.suits]) >= 0.7


def test_letters_of_a_page_without_a_sheet_are_found(words, monkeypatch):
    scan = load_scan(FOLDER / "letter.jpg")
    text = (FOLDER / "letter.txt").read_text(encoding="utf-8").splitlines()[:6]
    grey = grey_of(scan.pixels)
    page = find_lines(grey[: round(grey.shape[0] * 0.41)], 300, len(text))
    readings = [
        reading.moved(corner / ink.px_per_mm)
        for reading, corner, ink in zip(
            read_lines(Here, page.lines, text, lambda *_: None), page.corners, page.lines, strict=True
        )
    ]
    turn = np.radians(0.7)
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])

    def true(line, word, reading):
        # the page lay askew: a word is brought on to its ink by the middles of both
        letters = letters_of(words[0, line, word], lambda p: p @ turned)
        ink = np.vstack([p for x in reading.letters for p in x.pieces_mm])
        own = np.vstack([p for _, pieces in letters for p in pieces])
        shift = (ink.min(axis=0) + ink.max(axis=0) - own.min(axis=0) - own.max(axis=0)) / 2
        return [(c, [p + shift for p in pieces]) for c, pieces in letters]

    every, suited = found(enumerate(readings, 1), true, monkeypatch)
    assert page.looks_like == len(text)
    assert every >= 0.68
    assert suited >= 0.78


def test_the_sheet_is_the_one_that_is_made():
    made, kept = running_sheet(), load_sheet(FOLDER / "sheet" / "sheet.json")

    assert made.pages[1].ruled == kept.pages[1].ruled
    assert [c.char for c in made.pages[0].cells] == [c.char for c in kept.pages[0].cells]


def test_the_letter_says_what_its_text_says(words):
    lines = (FOLDER / "letter.txt").read_text(encoding="utf-8").splitlines()

    assert "\n".join(lines) + "\n" == LETTER
    for number, line in enumerate(lines, 1):
        assert [words[0, number, n]["text"] for n in range(1, len(line.split()) + 1)] == line.split()


def test_the_same_seed_writes_the_same_letter(words):
    rng = np.random.default_rng([SEED, 0])
    line = LETTER.splitlines()[0]
    at = (14.0 + rng.normal(0, 0.8), 18.0 + LETTER_LINES_MM)
    written = write_running_line(line, at, LETTER_X_HEIGHT_MM, rng, ARCHIVIST)

    for number, word in enumerate(written, 1):
        kept = words[0, 1, number]["pieces"]
        assert [(s, n) for s, n, _ in kept] == [(s, n) for s, n, _ in word.pieces]
        # another machine's sine may differ in its last digit
        assert np.allclose(kept[0][2][0], word.pieces[0][2][0], atol=0.01)


def test_a_word_is_written_without_lifting_but_for_habit_and_dots_come_last():
    rng = np.random.default_rng(4)
    hand = type(ARCHIVIST)(ARCHIVIST.habits, lifts=0.0, at_once=0.0)
    (word,) = write_running_line("timid", (0.0, 0.0), 3.0, rng, hand)

    assert [letter for stroke, letter, _ in word.pieces if stroke == 0] == [0, 1, 2, 3, 4]
    # the bar of the t and the dots of both i
    assert [letter for stroke, letter, _ in word.pieces if stroke > 0] == [0, 1, 3]
    assert word.joined == (True, True, True, True, False)


def test_pieces_of_one_stroke_meet(words):
    for word in words.values():
        for (stroke, _, line), (after, _, line_after) in zip(word["pieces"], word["pieces"][1:], strict=False):
            assert after != stroke or line[-1] == line_after[0]


@pytest.mark.parametrize("char", sorted(RUNNING))
def test_every_running_form_ends_on_the_way_to_the_next_letter(char):
    form = running_form(char)

    assert form.main.arriving[-1, 0] > 0.5
    assert form.main.at[-1, 0] >= form.main.at[:, 0].max() - 0.3
