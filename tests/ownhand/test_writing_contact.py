"""The contact sheet of a page of writing: names of words stay clear of each other, and of what is printed."""

from __future__ import annotations

from unittest.mock import Mock

import numpy as np
import pytest

from capture.label_font import label_font
from ownhand.pictures.canvas import Canvas
from ownhand.pictures.writing_contact import LEAST_TEXT_MM, TEXT_MM, draw_words
from skeleton.words.line_reading import SUITS, SURELY, LineReading
from skeleton.words.word_reading import WordLetter, WordReading


def word(left, right, cost):
    """A word of one letter, between two places on its line, mm."""
    letter = WordLetter("n", (np.array([[left, 10.0], [right, 12.0]]),), 0.0, False)
    return WordReading((), (letter,), (12.0, 0.0), 2.0, 0.0, cost)


def named(words, texts, **how):
    """Return the texts that are drawn: where, what, and how large."""
    canvas = Mock(spec=Canvas)
    draw_words(canvas, LineReading(tuple(words), tuple(texts), 0.0), np.zeros(2), **how)
    return [(*call.args, call.kwargs["size_mm"]) for call in canvas.text.call_args_list]


def test_a_name_ends_before_the_next_one():
    words = [word(10.0, 16.0, SUITS + 1), word(19.0, 24.0, SURELY + 0.1), word(60.0, 70.0, 0.0)]
    (x, _, text, size), (after, _, _, usual), (_, _, last, whole) = named(words, ["fog", "bell", "harbour"])

    assert text == "fog left out" and LEAST_TEXT_MM < size < TEXT_MM
    assert x + label_font().width_mm(text, size) <= after
    assert last == "harbour" and usual == whole == TEXT_MM


def test_a_name_without_room_stays_legible():
    (_, _, _, size), _ = named([word(10.0, 12.0, SUITS + 1), word(12.5, 20.0, 0.0)], ["a", "bell"])

    assert size == pytest.approx(LEAST_TEXT_MM)


def test_doubts_about_words_that_are_named_elsewhere_stand_where_they_are_to():
    words = [word(10.0, 16.0, 0.0), word(19.0, 24.0, SUITS + 1), word(40.0, 45.0, SUITS - 0.1)]
    told = [(x, y, text) for x, y, text, _ in named(words, ["fog", "bell", "lamp"], doubts_mm=17.0) if text]

    assert told == [(19.0, 17.0, "left out"), (40.0, 17.0, "?")]
