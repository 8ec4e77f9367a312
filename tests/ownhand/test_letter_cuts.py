"""Letters of a word cut apart in another place: a part goes over to the neighbour, and stays where it was."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from ownhand.commands.letter import take_letter
from ownhand.hands.captures import InkPicture, load_captures
from ownhand.hands.hand import open_hand
from ownhand.review.edits.alike_cuts import Pair, cut_alike
from ownhand.review.edits.edit_requests import current
from ownhand.review.edits.letter_cuts import moved_frame, neighbour_of, passed_on
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.session.word_cuts import beside, pairs_alike
from ownhand.review.web.views import character, cuts_view
from ownhand.validation import Place
from skeleton.geometry.stroke import Stroke
from tests.bench.trace_ink import ink
from tests.bench.words import script_word

TEXT, APART_MM = "summer summer", 50.0


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A word in Hershey's simplex script (NBS SP 424) on a page, twice, and its hand: (file, hand)."""
    strokes = script_word("summer").strokes
    grey, _ = ink([*strokes, *(s + np.array([APART_MM, 0.0]) for s in strokes)])
    folder = tmp_path_factory.mktemp("cuts")
    cv2.imwrite(str(folder / "page.png"), grey)
    take_letter(folder / "hand", folder / "page.png", TEXT, dpi=300, consent="my own hand", jobs=1)
    return folder / "page.png", folder / "hand"


@pytest.fixture
def book(page):
    (page[1] / "decisions.json").unlink(missing_ok=True)
    return ReviewSession(open_hand(page[1]))


def take(book, *mends):
    book.take(book.decisions.version, Place(list(mends), "mends", []))


def on_page(book, keys) -> np.ndarray:
    """Return points of the decided strokes of some letters, page mm, y down."""
    out = []
    for a in book.decided():
        if a.id in keys:
            x, y = book.ink[a.id][1].place_mm
            out += [np.array([x, y]) + s.points_mm * [1, -1] for s in a.strokes]
    return np.concatenate(out)


def pair_of(book) -> tuple[str, str]:
    """Return the ids of two letters that are joined."""
    return next(
        (key, neighbour_of(key, "next"))
        for key, a in book.attempts.items()
        if a.allograph in ("joined", "joined after") and "next" in beside(book, key)
    )


def test_letters_of_a_word_know_their_neighbours(book):
    first, second = pair_of(book)
    shown = character(book, book.char(first), {}, {})["attempts"]

    assert beside(book, first)["next"] == book.char(second)
    assert beside(book, second)["before"] == book.char(first)
    assert next(a for a in shown if a["id"] == first)["beside"]["next"] == book.char(second)


def test_a_joins_two_letters_meet_on_the_page(book):
    first, second = pair_of(book)
    ends = [s.points_mm[-1] for s in book.attempt(first).strokes]
    shift = moved_frame(book.ink[first][1], book.ink[second][1])
    begins = [s.points_mm[0] for s in book.attempt(second).strokes]

    assert min(np.hypot(*(a + shift - b)) for a in ends for b in begins) < 0.15


def test_a_cut_is_moved_by_splitting_a_stroke_and_passing_the_part_on(book):
    first, second = pair_of(book)
    shift = moved_frame(book.ink[first][1], book.ink[second][1])
    begins = [s.points_mm[0] for s in book.attempt(second).strokes]
    strokes = book.attempt(first).strokes
    k = min(range(len(strokes)), key=lambda i: min(np.hypot(*(strokes[i].points_mm[-1] + shift - b)) for b in begins))
    before = on_page(book, (first, second))
    at = strokes[k].points_mm[int(0.8 * len(strokes[k].points_mm))]
    count = len(book.attempt(second).strokes)

    take(book, {"attempt": first, "do": "split", "stroke": k, "at": at.tolist()})
    take(book, {"attempt": first, "do": "pass on", "stroke": k + 1, "to": "next"})

    kept, got = (book.decision(key).strokes for key in (first, second))
    assert np.hypot(*(kept[k].points_mm[-1] - at)) < 0.01
    # it leads into the neighbour's stroke, which is one now
    assert len(got) == count
    after = on_page(book, (first, second))
    assert after.min(axis=0) == pytest.approx(before.min(axis=0), abs=0.02)
    assert after.max(axis=0) == pytest.approx(before.max(axis=0), abs=0.02)
    book.undo(book.decisions.version)
    assert book.decision(second).strokes is None


def test_what_was_decided_on_cuts_survives_a_new_reading(page, book):
    first, second = pair_of(book)
    last = len(book.attempt(first).strokes) - 1
    line = book.attempt(first).strokes[last].points_mm
    take(book, {"attempt": first, "do": "split", "stroke": last, "at": line[len(line) // 2].tolist()})
    take(book, {"attempt": first, "do": "pass on", "stroke": last + 1, "to": "next"})
    decided = {key: book.decision(key).strokes for key in (first, second)}

    take_letter(page[1], page[0], TEXT, dpi=300, jobs=1)

    again = ReviewSession(open_hand(page[1]))
    ids = {a.id for c in load_captures(open_hand(page[1])) for a in c.attempts}
    assert {first, second} <= ids
    for key, strokes in decided.items():
        now = {a.id: a for a in again.decided()}[key].strokes
        assert all(np.allclose(s.points_mm, t.points_mm, atol=1e-3) for s, t in zip(now, strokes, strict=True))


def cut_elsewhere(book, first: str) -> float:
    """Move the cut after a letter back by a fifth of its last stroke; return where it lies, page mm from the left."""
    k = len(book.attempt(first).strokes) - 1
    line = book.attempt(first).strokes[k].points_mm
    at = line[int(0.8 * len(line))]
    take(book, {"attempt": first, "do": "split", "stroke": k, "at": at.tolist()})
    take(book, {"attempt": first, "do": "pass on", "stroke": k + 1, "to": "next"})
    return end_of(book, first)


def end_of(book, key: str) -> float:
    """Return where a letter's last stroke ends, page mm from the left."""
    return book.ink[key][1].place_mm[0] + float(current(book.attempt(key), book.decision(key))[-1].points_mm[-1, 0])


def same_pair(book, first: str) -> str:
    """Return the letter of the other word that stands where `first` stands in its own."""
    place, _, column = first.rpartition(".")
    by = len(TEXT) // 2 + 1
    return f"{place}.{int(column) + (by if int(column) <= len(TEXT) // 2 else -by)}"


def test_the_same_pair_elsewhere_is_offered_the_same_cut_and_takes_it_in_one_step(book):
    first, second = pair_of(book)
    other = same_pair(book, first)
    cut = cut_elsewhere(book, first)
    before = on_page(book, (other, neighbour_of(other, "next")))
    offered = pairs_alike(book, first)
    shown = cuts_view(book, offered)

    assert book.decision(other).strokes is None, "nothing is mended before somebody says so"
    assert offered[other].changes
    assert [letter["id"] for letter in shown[0]["letters"]] == [other, neighbour_of(other, "next")]
    take(book, {"attempt": other, "do": "cut alike", "from": first})
    assert abs(end_of(book, other) - cut) == pytest.approx(APART_MM, abs=0.25)
    after = on_page(book, (other, neighbour_of(other, "next")))
    assert after.min(axis=0) == pytest.approx(before.min(axis=0), abs=0.05)
    assert after.max(axis=0) == pytest.approx(before.max(axis=0), abs=0.05)
    assert not pairs_alike(book, first)[other].changes
    book.undo(book.decisions.version)
    assert book.decision(other).strokes is None
    assert book.decision(second).strokes is not None


def test_a_cut_made_alike_survives_a_new_reading(page, book):
    first, _ = pair_of(book)
    other = same_pair(book, first)
    cut_elsewhere(book, first)
    take(book, {"attempt": other, "do": "cut alike", "from": first})
    end = end_of(book, other)

    take_letter(page[1], page[0], TEXT, dpi=300, jobs=1)

    assert end_of(ReviewSession(open_hand(page[1])), other) == pytest.approx(end, abs=1e-3)


def test_a_pair_that_is_written_otherwise_is_not_cut(book):
    def pair(*lines) -> Pair:
        one, other = (np.array(p, float) for p in lines)
        return Pair((Stroke(one, 0.4),), (Stroke(other, 0.4),), 3.0)

    low = pair([[0, 3], [0, 0], [2, 0]], [[2, 0], [4, 0], [4, 3]])
    high = pair([[0, 0], [0, 3], [2, 3]], [[2, 3], [4, 3], [4, 0]])
    apart = pair([[0, 3], [0, 0]], [[4, 0], [4, 3]])
    assert cut_alike(low, low).why == "is cut there already"
    assert not cut_alike(low, high).fits
    assert "no line" in cut_alike(low, apart).why
    with pytest.raises(OperationError):
        take(
            book,
            {
                "attempt": next(k for k in book.attempts if not beside(book, k).get("next")),
                "do": "cut alike",
                "from": pair_of(book)[0],
            },
        )


def test_nothing_is_passed_on_to_where_no_letter_is(book):
    first = min(book.attempts, key=lambda key: int(key.rpartition(".")[2]))
    with pytest.raises(OperationError, match="no letter before it"):
        take(book, {"attempt": first, "do": "pass on", "stroke": 0, "to": "before"})


def test_a_letter_keeps_a_stroke():
    one = (Stroke(np.array([[0.0, 0.0], [1.0, 1.0]]), 0.4),)
    with pytest.raises(OperationError, match="last stroke"):
        passed_on(one, 0, one, np.zeros(2))
    with pytest.raises(OperationError, match="no stroke 2"):
        passed_on(one, 1, one, np.zeros(2))


def test_a_loose_stroke_is_written_first_or_last_as_it_lies():
    def line(x: float) -> Stroke:
        return Stroke(np.array([[x, 0.0], [x, 1.0]]), 0.4)

    left, got = passed_on((line(0.0), line(5.0)), 1, (line(8.0),), np.zeros(2))
    assert [s.points_mm[0, 0] for s in left] == [0.0]
    assert [s.points_mm[0, 0] for s in got] == [5.0, 8.0]
    _, got = passed_on((line(0.0), line(5.0)), 1, (line(2.0),), np.zeros(2))
    assert [s.points_mm[0, 0] for s in got] == [2.0, 5.0]


def test_letters_in_cells_have_no_neighbours():
    cell = InkPicture("ink/a.png", 11.8, 0.0, 5.0)
    assert moved_frame(cell, cell) is None
    assert neighbour_of("s1/1/3.7", "before") == "s1/1/3.6"
    assert neighbour_of("odd", "next") == ""
