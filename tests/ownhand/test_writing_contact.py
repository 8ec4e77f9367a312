"""The contact sheet of a page of writing: names of words stay clear of each other, and of what is printed."""

from __future__ import annotations

from unittest.mock import Mock, patch

import numpy as np
import pytest

from capture.label_font import label_font
from ownhand.pictures import writing_contact
from ownhand.pictures.canvas import Canvas
from ownhand.pictures.writing_contact import LEAST_TEXT_MM, LEGEND, LEGEND_MM, TEXT_MM, draw_words, draw_writing
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


def test_doubtful_letters_side_by_side_have_one_name_between_them():
    pieces = [(np.array([[10.0 + n, 10.0], [10.8 + n, 12.0 + n]]),) for n in range(6)]
    right = [0.2, 0.4, 0.9, 0.49, 0.51, 0.0]
    letters = tuple(WordLetter(c, p, 0.0, False, r) for c, p, r in zip("harbou", [*pieces[:5], ()], right, strict=True))
    told = named([WordReading((), letters, (12.0, 0.0), 2.0, 0.0, 0.0)], ["harbou"])

    # centred under what they draw; one without ink is not named
    assert [(round(x, 2), round(y, 2), text) for x, y, text, _ in told[1:]] == [
        (10.9, round(13.0 + TEXT_MM, 2), "ha ?"),
        (13.4, round(15.0 + TEXT_MM, 2), "b ?"),
    ]


@pytest.mark.parametrize("wide_px", [400, 2480])
def test_the_legend_stands_below_the_page(wide_px):
    with patch.object(writing_contact, "Canvas") as canvas:
        draw_writing(np.full((600, wide_px), 255, np.uint8), 300.0, [])
    page_mm = 600 / 300 * 25.4
    (x, y, legend), how = canvas.return_value.text.call_args
    assert legend == LEGEND and page_mm < y < page_mm + LEGEND_MM == canvas.call_args.args[1]
    # as long as the page is wide at most
    assert x + label_font().width_mm(legend, how["size_mm"]) < canvas.call_args.args[0]
