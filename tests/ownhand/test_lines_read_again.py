"""Which words of a text are read again with the writer's own letters, and how often."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ownhand.commands import line_reading
from ownhand.commands.line_reading import (
    AGAIN,
    AGAIN_IN_LONG,
    LONG,
    OWN_FORMS,
    joined_as_the_hand,
    own_letters,
    read_lines,
)
from skeleton.words.line_reading import SUITS, SURELY, LineReading
from skeleton.words.word_reading import WordLetter, WordReading

SURE, UNSURE, DOUBTFUL = 0.5, 0.5 * (0.8 + SURELY), SURELY + 0.1


class Here:
    """A pool that works in this process."""

    map = staticmethod(map)


def word(text: str, cost: float, number: int = 0) -> WordReading:
    """Return a word read at a cost, in its own place on the line."""
    stroke = np.stack([10 * number + np.linspace(0, 2, 9), np.linspace(0, 2, 9)], axis=1)
    letters = tuple(WordLetter(c, (stroke,), 0.0, True) for c in text)
    return WordReading((), letters, (2.0, 0.0), 2.0, 0.0, cost)


@pytest.mark.parametrize("lines", [1, LONG // 9 + 1])
def test_a_long_text_is_read_again_less_often_and_its_sure_words_not(lines, monkeypatch):
    costs = {"keeper": SURE, "of": UNSURE, "l": DOUBTFUL}
    asked: list[tuple[str, ...]] = []

    def read(ink, text, known=None, again=None):
        words = text.split()
        if again is not None:
            assert known  # with the writer's own letters
            asked.append(tuple(words[i] for i in sorted(again)))
        return LineReading(tuple(word(w, costs[w], n) for n, w in enumerate(words)), tuple(words), 0.0)

    monkeypatch.setattr(line_reading, "read_line_ink", read)
    told: list[tuple[str, int, int]] = []

    found = read_lines(Here, [None] * lines, ["keeper of l"] * lines, lambda *step: told.append(step))

    long = lines > 1
    assert len(found) == lines
    assert set(asked) == {("l",)} if long else set(asked) == {("of", "l")}
    assert len(asked) == lines * (AGAIN_IN_LONG if long else AGAIN)
    # progress comes to its end
    assert told[-1][0] == "read again" and told[-1][1] == told[-1][2]


def test_the_cheaper_reading_of_a_word_stays(monkeypatch):
    costs = iter([DOUBTFUL, SURELY + 1, UNSURE, SURE])

    def read(ink, text, known=None, again=None):
        return LineReading((word(text, next(costs)),), (text,), 0.0)

    monkeypatch.setattr(line_reading, "read_line_ink", read)
    (found,) = read_lines(Here, [None], ["lamp"], lambda *_: None)
    assert found.words[0].cost == SURE


def test_words_that_were_not_found_are_read_again_as_long_as_any_letters_are_known(monkeypatch):
    asked = []

    def read(ink, text, known=None, again=None):
        asked.append(again)
        lost = replace(word("bay", float("nan")), letters=())
        return LineReading((word("lamp", SURE), lost), ("lamp", "bay"), 0.0)

    monkeypatch.setattr(line_reading, "read_line_ink", read)
    read_lines(Here, [None], ["lamp bay"], lambda *_: None)
    assert [list(a) for a in asked[1:]] == [[1]] * AGAIN


def test_the_letters_that_are_known_are_those_likeliest_cut_rightly():
    cheap, dear = word("aa", SURE), word("aaaaaaa", UNSURE, 1)
    odds = [0.9, 0.3, 0.95, 0.6, 0.97, 0.4, 0.99, 0.7, 0.8]
    letters = iter(replace(x, right=r) for x, r in zip((*cheap.letters, *dear.letters), odds, strict=True))
    cheap, dear = (replace(w, letters=tuple(next(letters) for _ in w.letters)) for w in (cheap, dear))
    lost = replace(word("a", SUITS + 0.1, 2))
    known = own_letters([dear, lost, cheap])
    assert list(known) == ["a"] and len(known["a"]) == OWN_FORMS == 6
    # six of seven that are not doubtful: all but the one at 0.6, the rightest first
    places = [x for w in (cheap, dear) for x in w.letters]
    best = sorted((x for x in places if not x.doubtful), key=lambda x: -x.right)[:OWN_FORMS]
    assert [x.right for x in best] == [0.99, 0.97, 0.95, 0.9, 0.8, 0.7]
    for form in known["a"]:
        assert form[0][:, 0].min() == pytest.approx(0.0, abs=1e-9)


def test_a_character_cut_wrongly_throughout_is_not_known():
    bad = word("bb", SURE)
    bad = replace(bad, letters=tuple(replace(x, right=0.2) for x in bad.letters))
    assert own_letters([bad, word("a", SURE, 1)]).keys() == {"a"}


@pytest.mark.parametrize(("joined", "all_joined"), [(9, True), (5, False)])
def test_in_a_hand_that_joins_most_letters_those_a_stroke_runs_through_are_joined(joined, all_joined):
    line = [np.stack([np.linspace(n, n + 1, 9), np.zeros(9)], axis=1) for n in range(11)]
    letters = [WordLetter("n", (piece,), 0.0, n < joined) for n, piece in enumerate(line)]
    lifted = WordLetter("n", (line[9] + np.array([0.5, 0.0]),), 0.0, False)
    words = tuple(WordReading((), tuple(w), (0.0, 0.0), 1.0, 0.0, SURE) for w in (letters, [letters[10], lifted]))

    (found,) = joined_as_the_hand([LineReading(words, ("n" * 11, "nn"), 0.0)])

    assert [x.joined for x in found.words[0].letters] == [all_joined or n < joined for n in range(10)] + [False]
    # where the next letter begins elsewhere the pen was lifted
    assert [x.joined for x in found.words[1].letters] == [False, False]
