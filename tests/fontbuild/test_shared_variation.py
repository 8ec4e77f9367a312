"""What letters of a word and of a line have in common comes out as it went in."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from fontbuild.joins import APART, WAYS
from fontbuild.shared_variation import shared_variation
from fontbuild.variants import AttemptStrokes

LETTERS = "abdehimnostu"


def copied(lines: int, *, word: float, line: float, own: float, seed: int = 1) -> dict[str, list[AttemptStrokes]]:
    """Return letters as tall as their word, their line and chance make them: standard deviations of logarithms."""
    rng = np.random.default_rng(seed)
    out = defaultdict(list)
    for row in range(1, lines + 1):
        of_line, column = rng.normal(0, line), 0
        for _ in range(7):
            of_word = rng.normal(0, word)
            for char in rng.choice(list(LETTERS), 5):
                column += 1
                tall = (3.0 + 0.1 * LETTERS.index(char)) * np.exp(of_line + of_word + rng.normal(0, own))
                wide = 2.0 * np.exp(rng.normal(0, 0.1))
                strokes = (np.array([[0.0, tall], [0.0, 0.0], [wide, 0.0]]),)
                out[char].append(AttemptStrokes(f"s/1/{row}.{column}", char, strokes, allograph=APART))
            column += 1
    return dict(out)


def test_shares_of_words_and_lines_come_out_as_they_went_in() -> None:
    found = shared_variation(copied(40, word=0.06, line=0.04, own=0.08))

    whole = 0.06**2 + 0.04**2 + 0.08**2
    assert found["height_sd"] == pytest.approx(np.sqrt(whole), rel=0.05)
    assert found["width_sd"] == pytest.approx(0.1, rel=0.05)
    assert found["letters_seen"] == 40 * 7 * 5
    assert found["word_height_share"] == pytest.approx(0.06**2 / whole, abs=0.08)
    assert found["line_height_share"] == pytest.approx(0.04**2 / whole, abs=0.08)
    assert found["word_width_share"] == pytest.approx(0.0, abs=0.05)
    assert found["line_width_share"] == pytest.approx(0.0, abs=0.05)


def test_a_few_letters_cut_wrongly_hardly_count() -> None:
    text = copied(40, word=0.06, line=0.04, own=0.08)
    plain = shared_variation(text)["height_sd"]
    for group in text.values():
        group[0] = replace(group[0], strokes=tuple(s * [1.0, 4.0] for s in group[0].strokes))

    assert shared_variation(text)["height_sd"] == pytest.approx(plain, rel=0.06)


def test_letters_cut_out_of_joined_words_do_not_tell_the_widths_where_others_do() -> None:
    def cut(text: dict[str, list[AttemptStrokes]], every: int) -> float:
        rng = np.random.default_rng(4)
        for group in text.values():
            for i in range(0, len(group), every):
                wider = [np.exp(rng.normal(0, 0.5)), 1.0]
                strokes = tuple(s * wider for s in group[i].strokes)
                group[i] = replace(group[i], strokes=strokes, allograph=WAYS[True, False])
        return shared_variation(text)["width_sd"]

    assert cut(copied(12, word=0.06, line=0.04, own=0.08), 2) == pytest.approx(0.1, rel=0.1)
    assert cut(copied(12, word=0.06, line=0.04, own=0.08), 1) > 0.4


def test_what_a_text_has_many_letters_of_does_not_decide_how_much_a_hand_varies() -> None:
    rng = np.random.default_rng(2)

    def letter(id_: str, char: str, way: str) -> AttemptStrokes:
        tall = 3.0 * np.exp(rng.normal(0, 0.2 if char == "e" else 0.05))
        return AttemptStrokes(id_, char, (np.array([[0.0, tall], [0.0, 0.0], [2.0, 0.0]]),), allograph=way)

    text = {
        c: [letter(f"s/1/{row}.{at + k}", c, APART) for row in range(1, 11) for k in range(many)]
        for c, at, many in (("e", 0, 30), ("a", 40, 3), ("d", 50, 3), ("h", 60, 3), ("m", 70, 3))
    }
    for c in "adhm":
        text[c] += [letter(f"s/2/{k}.1", c, "") for k in range(90)]

    # the e is 300 of 420 letters of the text, and 300 of 780 attempts
    weighed = np.sqrt((300 * 0.2**2 + 480 * 0.05**2) / 780)
    assert shared_variation(text)["height_sd"] == pytest.approx(weighed, rel=0.08)


def test_few_lines_are_known_to_tell_little() -> None:
    few, many = (shared_variation(copied(n, word=0.06, line=0.04, own=0.08)) for n in (5, 40))

    assert few["line_height_share_error"] > 1.5 * many["line_height_share_error"]


def test_letters_of_cells_tell_nothing_nor_do_three_lines() -> None:
    text = copied(40, word=0.06, line=0.04, own=0.08)
    cells = {c: [AttemptStrokes(w.id, c, w.strokes) for w in group] for c, group in text.items()}

    assert shared_variation(cells) == {}
    assert shared_variation(copied(3, word=0.06, line=0.04, own=0.08)) == {}
