"""The contact sheet of a page that was copied: looked at as a picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from capture.read import LineInk, read_page
from capture.scan import load_scans
from capture.sheet_file import load_sheet
from fontbuild.text_spacing_statistics import copied_words
from ownhand.hands.captures import of_earlier_scans
from ownhand.hands.copies import copied_line
from ownhand.hands.hand import HandRecord, create_hand
from ownhand.hands.storage import keep_page, write_contact
from ownhand.pictures.copy_contact import BRACKET, PX_PER_MM
from skeleton.words.line_reading import LineReading
from skeleton.words.word_reading import WordLetter, WordReading, nothing_read

LANTERN = Path(__file__).parents[2] / "sample_sheets" / "lantern"
DARK = 110


@pytest.fixture(scope="module")
def copied(tmp_path_factory):
    """The sample's copied page as it is kept: its reading, and its contact sheet in greys."""
    folder = tmp_path_factory.mktemp("copied")
    sheet = load_sheet(LANTERN / "sheet" / "sheet.json")
    number = next(p.page for p in sheet.pages if p.ruled)
    (scan,) = load_scans(LANTERN / "scans" / f"page-{number}.jpg")
    reading = read_page(scan, lambda _: sheet)
    hand = create_hand(folder / "hand", HandRecord("Lamp Room", "A. Keeper", "simulated"))
    capture, contact = keep_page(hand, reading, f"page-{number}.jpg", {})
    write_contact(reading.page, capture, reading.lines, (), sheet.x_height_mm, contact)
    return reading, np.asarray(Image.open(contact).convert("L"))


def share_dark(picture: np.ndarray, line: LineInk) -> float:
    """Return how much of a line's ink the picture shows where it lies on paper."""
    rows, columns = np.nonzero(line.grey < 64)
    y = (line.top_mm + rows / line.px_per_mm) * PX_PER_MM
    x = (line.left_mm + columns / line.px_per_mm) * PX_PER_MM
    return float((picture[np.round(y).astype(int), np.round(x).astype(int)] < DARK).mean())


def test_the_contact_sheet_of_a_copied_page_shows_its_ink_where_it_lies(copied):
    reading, picture = copied

    assert len(reading.lines) > 3
    assert min(share_dark(picture, line) for line in reading.lines) > 0.95


def test_every_word_that_was_found_is_underlined_and_a_line_whose_words_run_together_is_not(copied):
    reading, picture = copied
    parted = []
    for line in reading.lines:
        words = copied_words([copied_line(line)], x_height_mm=1.0)
        y = round((line.baseline_mm + BRACKET * reading.sheet.x_height_mm) * PX_PER_MM)
        row = picture[y, round(line.left_mm * PX_PER_MM) :] < 200
        parted.append(len(words))

        assert np.count_nonzero(row[1:] & ~row[:-1]) == len(words) - bool(row[0])
    assert min(parted) == 0 < max(parted)


def test_a_copied_page_read_again_from_a_worse_scan_keeps_its_letters(tmp_path):
    """A print that was not written on, or words that cannot be read this time, take nothing away."""
    sheet = load_sheet(LANTERN / "sheet" / "sheet.json")
    number = next(p.page for p in sheet.pages if p.ruled)
    (scan,) = load_scans(LANTERN / "scans" / f"page-{number}.jpg")
    filled = read_page(scan, lambda _: sheet)
    hand = create_hand(tmp_path / "hand", HandRecord("Lamp Room", "A. Keeper", "simulated"))
    line = filled.lines[0]
    word, *others = line.line.text.split()
    width = line.grey.shape[1] / line.px_per_mm
    letters = tuple(WordLetter(c, (np.array([[x, 4.0], [x + 0.5, 6.0]]),), 0.0, False)
                    for c, x in zip(word, np.linspace(1, width / 8, len(word)), strict=True))  # fmt: skip
    read = WordReading((), letters, (6.0, 0.0), 2.0, 0.0, 0.1)
    rest = [nothing_read() for _ in others]
    written = [LineReading((read, *rest), (word, *others), 0.0)]

    first, _ = keep_page(hand, filled, "page-26aa.jpg", {}, written)
    again, _ = keep_page(hand, replace(filled, lines=()), "blank-27bb.pdf", {}, [])

    assert [a.char for a in first.attempts] == list(word)
    assert [a.id for a in again.attempts] == [a.id for a in first.attempts]
    assert [w.text for w in again.copied] == [w.text for w in first.copied] and first.copied
    assert again.rhythm == pytest.approx(first.rhythm, abs=1e-3)
    assert all((hand.captures_folder / sheet.id / picture.file).is_file() for picture in again.ink.values())
    assert len(again.ink) == of_earlier_scans(again) == len(word)
