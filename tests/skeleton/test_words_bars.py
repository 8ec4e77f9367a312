"""Bars of joined t's, and what a way over a word's ink leaves unexplained."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from capture.units import Points
from skeleton.ink.ink_map import find_ink
from skeleton.pipeline import state_graph_of_ink
from skeleton.states.state_graph import end_to_end
from skeleton.words.bars import bars_of
from skeleton.words.decoding import connected_parts
from skeleton.words.frame import WordFrame
from skeleton.words.laid_text import laid_over
from skeleton.words.letter_forms import form_table, forms_of
from skeleton.words.unexplained_ink import unexplained
from skeleton.words.word_reading import read_word
from tests.bench.trace_ink import ink
from tests.bench.words import script_word

X_HEIGHT_MM = 3.5


def _taken_apart(strokes: list[Points], foot: float):
    """Return the ink's network and states, px a mm, and the frame whose baseline is at `foot` mm."""
    grey, offset = ink(strokes)
    paper = find_ink(grey, 300.0)
    _, net, states = state_graph_of_ink(paper, of_words=True)
    left = float(states.here[:, 0].min())
    frame = WordFrame(left, (foot + offset[1]) * paper.px_per_mm - 0.5, X_HEIGHT_MM * paper.px_per_mm)
    return net, states, frame, paper.px_per_mm, offset


def _joined_t(bar: Points) -> list[Points]:
    """Return a stem written up and down between two joins, and its bar; mm, baseline at y = 0, y down."""
    t = np.linspace(0.0, 1.0, 40)[:, None]
    up = (1 - t) * [-4.0, 0.0] + t * [0.0, -6.5] + np.hstack([np.zeros_like(t), 2.0 * np.sin(np.pi * t)])
    down = (1 - t) * [0.0, -6.5] + t * [0.3, -0.8]
    away = (1 - t) * [0.3, -0.8] + t * [4.0, -0.5] + np.hstack([np.zeros_like(t), 0.9 * np.sin(np.pi * t)])
    return [np.concatenate([up, down[1:], away[1:]]), bar]


@pytest.mark.parametrize("text", ["tower", "mother"])
def test_a_bar_across_joined_writing_is_a_stroke_of_its_own(text):
    """Hershey's simplex script (NBS SP 424), in which a t is one stroke with its neighbours, and a bar."""
    word = script_word(text)
    grey, offset = ink(word.strokes)
    (bar,) = (s + offset for s in word.strokes if np.ptp(s[:, 1]) < 0.1 * np.ptp(s[:, 0]))
    read = [s.points_mm for s in read_word(grey, 300, text).strokes]
    off = [np.abs(s[[0, -1]] - bar[[0, -1]]).max() for s in read]
    assert min(off) < 0.5


@pytest.mark.parametrize("left", [-1.4, 0.0], ids=["across the stem", "from the stem"])
def test_bars_are_where_they_were_drawn(left):
    bar = np.array([[left, -4.4], [2.4, -4.6]])
    net, states, frame, px_per_mm, offset = _taken_apart(_joined_t(bar), 0.0)
    (walk,) = bars_of(net, states, "lte", frame)
    ends = (states.here[walk[[0, -1]]] + 0.5) / px_per_mm - offset
    assert ends[1] == pytest.approx(bar[1], abs=0.3)
    # thinning cuts what is hidden by the stem
    assert ends[0] == pytest.approx(bar[0], abs=0.3 if left else 0.8)


def test_no_more_bars_than_letters_that_have_them():
    strokes = _joined_t(np.array([[-1.4, -4.4], [2.4, -4.6]]))
    net, states, frame, *_ = _taken_apart(strokes, 0.0)
    assert bars_of(net, states, "lie", frame) == ()
    assert len(bars_of(net, states, "tft", frame)) == 1


def test_what_joins_letters_is_no_bar():
    low = np.array([[-1.4, -0.9], [2.4, -1.1]])
    net, states, frame, *_ = _taken_apart(_joined_t(low), 0.0)
    assert bars_of(net, states, "lte", frame) == ()


def test_what_is_not_passed_is_unexplained():
    """A stroke less: its ink, some of it passed twice, and its ends have to be paid for."""
    word = script_word("lamp", X_HEIGHT_MM)
    net, states, frame, *_ = _taken_apart(word.strokes, 0.0)
    sizes = np.repeat(states.spacing, np.diff(states.first))
    nothing = np.zeros(len(states.here))
    forms = form_table([forms_of(c) for c in word.text])
    laid = laid_over(net, states, connected_parts(net), sizes, word.text, forms, frame, nothing)
    whole = unexplained(net, states, sizes, laid)
    every, _ = laid.walks
    half = every[: len(every) // 2]
    missed = np.setdiff1d(every // 2, half // 2)
    bare = laid.bare.copy()
    bare[missed] = True
    less = replace(laid, walks=end_to_end([half.tolist()]), bare=bare)
    assert unexplained(net, states, sizes, less) >= whole + 0.9 * float(sizes[missed].sum()) / net.pen_px
