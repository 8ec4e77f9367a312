"""Full stops and commas at the end of a word are joined to nothing, and drawn once."""

from __future__ import annotations

import numpy as np
import pytest

import skeleton
from sample_sheets.writer.running_hand import ARCHIVIST, write_running_line
from skeleton.words.signs import passed_once, signs_apart
from tests.bench.trace_ink import ink


def line(*points: tuple[float, float]) -> np.ndarray:
    return np.array(points, float)


def test_what_leads_into_a_sign_belongs_to_the_letter() -> None:
    t, tail, dot = line((0, 0), (1, 1)), line((1, 1), (2, 1)), line((4, 2))
    (whole, rest) = signs_apart([[(0, t), (1, tail)], [(1, dot)]], "t.")
    ((number, drawn),) = whole
    assert number == 0 and drawn.tolist() == [[0, 0], [1, 1], [2, 1]]
    assert rest == [(1, dot)]
    # letters share their strokes, and a sign that has nothing else keeps what it has
    for text in ("to", "t."):
        assert signs_apart([[(0, t), (1, tail)]], text) == [[(0, t), (1, tail)]]
    # nothing of a stroke is lost that only signs have
    assert signs_apart([[(1, dot), (2, tail)], [(1, dot)], [(2, tail)]], "t.'")[0] == [(1, dot), (2, tail)]


def test_a_blot_is_one_line_and_lines_apart_stay() -> None:
    comma = line((0, 0), (-0.5, 1))
    again = comma[::-1] + 0.1
    assert passed_once([again[:1], comma, again], 0.4) == [comma]
    dots = [line((0, 0)), line((0, 1.5))]
    assert passed_once(dots, 0.4) == dots, "a colon has two"
    assert passed_once([], 0.4) == []


@pytest.mark.parametrize("text", ["again.", "winter,", "name,"])
def test_signs_are_read_as_they_were_written(text: str) -> None:
    """The simulated archivist's words, in the drawing library's ink."""
    (word,) = write_running_line(text, (0.0, 0.0), 3.0, np.random.default_rng(3), ARCHIVIST)
    lines = [np.asarray(t.points_mm) for t in word.traces]
    lines = [p if len(p) > 1 else np.vstack([p, p + np.array([1e-3, 0.0])]) for p in lines]
    grey, offset = ink(lines, pen_mm=0.45, seed=3, discs=True)

    sign = skeleton.read_word(grey, 300, text).letters[-1]

    assert len(sign.pieces_mm) == 1 and not sign.joined
    (written,) = (p for p, t in zip(word.pieces, text * 9, strict=False) if p[1] == len(text) - 1)
    middle = np.asarray(written[2], float).mean(axis=0) + offset
    assert np.hypot(*(sign.pieces_mm[0].mean(axis=0) - middle)) < 0.3
