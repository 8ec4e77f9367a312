"""A hand taken from a page of writing: the lighthouse keeper's (simulated) letter, without a sheet."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont
from scipy.spatial import cKDTree

from capture.errors import InputError, UsageError
from capture.label_font import font_path
from ownhand.cli.main import main
from ownhand.commands.letter import summary, take_letter
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.web.views import overview
from sample_sheets.writer import KEEPER, write_line
from skeleton.words.page_lines import find_lines, without_rulings
from tests.bench.trace_ink import ink

TEXT = "the lamp burns\nall night, come\nand see it soon"


def written(seed, folder):
    """Write a page of three lines: its file, and letters with their line on the page in mm."""
    rng = np.random.default_rng(seed)
    letters = []
    for n, line in enumerate(TEXT.splitlines()):
        letters += [
            (char, [np.asarray(t.points_mm) for t in traces])
            for char, _, traces in write_line(line, (10.0, 20.0 + 11.0 * n), 3.0, rng, KEEPER)
        ]
    grey, offset = ink([p for _, pieces in letters for p in pieces])
    file = folder / "page.png"
    cv2.imwrite(str(file), grey)
    return file, [(c, [p + offset for p in pieces]) for c, pieces in letters]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return written(5, tmp_path_factory.mktemp("letter"))


@pytest.fixture(scope="module")
def taken(page, tmp_path_factory):
    hand = tmp_path_factory.mktemp("hands") / "keeper"
    return hand, take_letter(hand, page[0], TEXT, dpi=300, consent="my own hand", jobs=1)


def test_letters_of_a_page_become_attempts(page, taken):
    hand, done = taken
    letters = [c for c in TEXT if not c.isspace()]
    assert done.letters == len(letters)
    assert done.kept >= 0.9 * done.letters
    (capture,) = load_captures(open_hand(hand))
    assert [a.id for a in capture.attempts] == [a.id for a in done.capture.attempts]
    assert all((hand / "captures" / capture.sheet / p.file).is_file() for p in capture.ink.values())
    assert done.contact.is_file()


def test_a_negative_is_told_as_such(page, tmp_path):
    grey = cv2.imread(str(page[0]), cv2.IMREAD_GRAYSCALE)
    cv2.imwrite(str(tmp_path / "negative.png"), 255 - grey)

    with pytest.raises(InputError, match=r"negative\.png: the picture is inverted, white on black"):
        take_letter(tmp_path / "hand", tmp_path / "negative.png", TEXT, dpi=300, jobs=1)


def test_the_letters_are_the_ones_that_were_written(page, taken):
    """Every attempt lies on the ink of a letter of its character: brought back to the page by its picture's place."""
    right = 0
    for a in taken[1].capture.attempts:
        row, column = (int(v) for v in a.id.rsplit("/", 1)[1].split("."))
        lines = TEXT.splitlines()
        before = "".join([*lines[: row - 1], lines[row - 1][: column - 1]]).replace(" ", "")
        char, pieces = page[1][len(before)]
        assert char == lines[row - 1][column - 1] == a.char
        true = np.concatenate(pieces)
        found = np.concatenate([s.points_mm for s in a.strokes]) * [1, -1]
        shift = np.median(true, axis=0) - np.median(found, axis=0)
        right += np.median(cKDTree(true).query(found + shift)[0]) < 0.4
    assert right >= 0.9 * len(taken[1].capture.attempts)


def test_as_many_are_said_to_be_looked_at_as_the_review_lists(taken):
    hand, done = taken
    listed = overview(ReviewSession(open_hand(hand)), {})["doubtful"]
    assert listed == done.to_look_at >= done.doubtful


def test_letters_stand_on_the_baseline_in_their_size(taken):
    flat = [a for a in taken[1].capture.attempts if a.char in "nmus" and a.strokes]
    feet = [min(s.points_mm[:, 1].min() for s in a.strokes) for a in flat]
    tops = [max(s.points_mm[:, 1].max() for s in a.strokes) for a in flat]
    assert np.median(feet) == pytest.approx(0.0, abs=0.5)
    assert np.median(tops) == pytest.approx(3.0, abs=0.7)
    assert flat[0].x_height_mm == pytest.approx(3.0, rel=0.25)


def test_another_pages_text_is_refused(page, tmp_path):
    other = "Quarterly figures\nZEBRA XYLOPHONE\n0123456789 %%"
    with pytest.raises(InputError, match=r"does not suit the text.*upside down, turn the picture"):
        take_letter(tmp_path / "hand", page[0], other, dpi=300, jobs=1)
    assert not (tmp_path / "hand").exists()


def test_printed_text_is_refused(tmp_path):
    """Set in the font of the sheet's labels, scanned with some noise."""
    text = "the lamp burns all\nnight and the keeper\nlooks at the sea then\nthe ships come home"
    image = Image.new("L", (1500, 700), 245)
    for n, line in enumerate(text.splitlines()):
        face = ImageFont.truetype(str(font_path()), 80)
        ImageDraw.Draw(image).text((80, 60 + 140 * n), line, font=face, fill=30)
    noisy = np.asarray(image, float) + np.random.default_rng(0).normal(0, 4, (700, 1500))
    cv2.imwrite(str(tmp_path / "print.png"), np.clip(cv2.GaussianBlur(noisy, (0, 0), 0.7), 0, 255).astype(np.uint8))

    with pytest.raises(InputError, match="all alike"):
        take_letter(tmp_path / "hand", tmp_path / "print.png", text, dpi=300, jobs=1)
    assert not (tmp_path / "hand").exists()


def test_a_line_that_the_text_lacks_is_said(page, tmp_path):
    first, _, last = TEXT.splitlines()
    try:
        said = take_letter(tmp_path / "hand", page[0], f"{first}\n{last}", dpi=300, jobs=1).notices
    except InputError as error:
        said = (str(error),)
    assert any("3" in line and "2" in line for line in said)


@pytest.mark.parametrize("seed", [5, 7, 8])
def test_a_word_that_is_doubled_in_the_text_is_left_out(seed, tmp_path):
    file, _ = written(seed, tmp_path)
    doubled = TEXT.replace("lamp", "lamp lamp")
    done = take_letter(tmp_path / "hand", file, doubled, dpi=300, jobs=1)
    # one of the two is the one that was written
    assert done.left_out == ("line 1: lamp",)
    assert sum(a.char == "p" for a in done.capture.attempts) == 1


def test_a_page_without_writing_is_refused(tmp_path, capsys):
    file = tmp_path / "blank.png"
    cv2.imwrite(str(file), np.full((400, 600), 240, np.uint8))
    (tmp_path / "text.txt").write_text("lamp")
    assert main(["letter", str(tmp_path / "hand"), str(file), str(tmp_path / "text.txt"), "--dpi", "300"]) == 3
    assert "no writing is on it" in capsys.readouterr().err


def test_the_scale_must_be_known(page, tmp_path):
    bare = tmp_path / "bare.png"
    shutil.copy(page[0], bare)
    with pytest.raises(UsageError, match="scale is not known"):
        take_letter(tmp_path / "hand", bare, TEXT, jobs=1)


def test_the_scale_follows_from_the_distance_of_lines(page, tmp_path):
    done = take_letter(tmp_path / "hand", page[0], TEXT, line_distance_mm=22.0, jobs=1)
    # the lines are 11 mm apart: told that they are 22, everything is twice as large
    assert done.capture.attempts[0].x_height_mm == pytest.approx(6.0, rel=0.25)


def test_words_left_out_are_named():
    from ownhand.commands.letter import TakenLetter
    from ownhand.hands.captures import PageCapture

    capture = PageCapture("letter-1", 1, "a.png", {}, (), {})
    lines = summary(
        TakenLetter(capture, None, 20, 16, 2, 5, ("line 2: lamp",), 0.04, ("No consent …",)), hand=Path("keeper")
    )
    assert "16 of 20 letters taken (80%)" in lines[0]
    assert lines[1].startswith("5 of them to look at in the review")
    assert "line 2: lamp" in lines[2]
    assert "4% of the ink" in lines[3]
    assert lines[-1].endswith("Then build the font: ownhand build keeper")


def test_printed_rulings_are_taken_away(page):
    grey = cv2.imread(str(page[0]), cv2.IMREAD_GRAYSCALE)
    ruled = grey.copy()
    for y in range(60, grey.shape[0], 90):
        ruled[y : y + 2] = np.minimum(ruled[y : y + 2], 150)
    clean = without_rulings(ruled, 300)
    assert np.abs(clean.astype(int) - grey).mean() < 1.0
    lines = find_lines(ruled, 300, 3)
    assert lines.looks_like == 3
    assert lines.left_out < 0.02


def test_touching_lines_are_cut_apart():
    """A stem of one line that runs into the next is cut half-way between them."""
    rng = np.random.default_rng(1)
    strokes = []
    for n in range(2):
        for _, _, traces in write_line("noon moon soon", (10.0, 20.0 + 8.0 * n), 3.0, rng, KEEPER):
            strokes += [np.asarray(t.points_mm) for t in traces]
    strokes.append(np.array([[30.0, 17.0], [30.0, 27.5]]))
    grey, _ = ink(strokes)
    lines = find_lines(grey, 300, 2)
    heights = [line.mask.shape[0] / line.px_per_mm for line in lines.lines]
    assert max(heights) < 9.0


def test_the_record_says_who_agreed(taken):
    assert json.loads((taken[0] / "hand.json").read_text())["consent"] == "my own hand"
