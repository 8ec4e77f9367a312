"""Cuts between joined letters in a real browser: one moved, the same pair elsewhere offered the same, and undone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from ownhand.commands.letter import take_letter
from ownhand.hands.hand import open_hand
from ownhand.review.edits.letter_cuts import neighbour_of
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.session.word_cuts import pair_of
from tests.bench.trace_ink import ink
from tests.bench.words import script_word
from tests.ownhand.on_page import open_attempt, stored, until

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

TEXT, APART_MM = "summer summer summer", 50.0


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The hand of a page with a word in Hershey's simplex script (NBS SP 424), three times."""
    folder = tmp_path_factory.mktemp("written")
    strokes = script_word("summer").strokes
    grey, _ = ink([s + np.array([k * APART_MM, 0.0]) for k in range(3) for s in strokes])
    cv2.imwrite(str(folder / "page.png"), grey)
    take_letter(folder / "hand", folder / "page.png", TEXT, dpi=300, consent="my own hand", jobs=1)
    return open_hand(folder / "hand")


def mended(hand, key) -> bool:
    return (decision := stored(hand, key)) is not None and decision.strokes is not None


def test_a_cut_is_moved_and_the_same_pair_elsewhere_cut_alike_by_one_press(page, hand):
    book = ReviewSession(hand)
    first = next(k for k in book.attempts if (pair := pair_of(book, k)) and pair.line)
    char, last = book.char(first), len(book.attempt(first).strokes)
    same = [k for k in book.attempts if book.char(k) == char and book.char(neighbour_of(k, "next") or k)]

    open_attempt(page, first, char)
    page.keyboard.press(str(last))
    page.keyboard.press("s")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name=f"{last + 1} strokes").wait_for()
    page.keyboard.press(str(last + 1))
    page.get_by_role("button", name="To the next letter").click()
    page.get_by_text("could be cut in the same place").wait_for()
    assert not any(mended(hand, k) for k in same if k != first), "nothing is cut before it is asked for"
    page.locator('[data-act="offer-cuts"]').click()
    page.locator("#cuts .card").first.wait_for()
    offered = page.locator("#cuts .card").count()
    page.get_by_role("button", name="alike").last.click()
    page.get_by_text("cut alike.").wait_for()
    cut = [k for k in same if k != first and mended(hand, k)]
    page.keyboard.press("u")
    until(lambda: not any(mended(hand, k) for k in cut))

    assert len(cut) == offered > 0
    assert mended(hand, first), "the cut that was moved by hand stays"
