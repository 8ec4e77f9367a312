"""Ways to write a word: what the network is told along them, what it makes of it, and which way is taken."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

from skeleton.ink.ink_map import find_ink
from skeleton.pipeline import state_graph_of_ink
from skeleton.small_networks import PROVENANCE
from skeleton.words import decoding, lost_line, spliced_ways
from skeleton.words.along_ways import INPUTS, LETTERS, STEP, told_of_ways
from skeleton.words.decoding import decode_text, ways_to_write
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.finished_ways import finished
from skeleton.words.lost_line import APART, Judged, judged, log_odds_along, network_of, trained
from skeleton.words.spliced_ways import likeliest_way, meet, spliced
from tests.bench import trace_ways
from tests.bench.people import part
from tests.bench.trace_ink import ink
from tests.bench.training.way_examples import example_of, jobs_of, lost_of
from tests.bench.words import Word, script_word, way

BEGIN, END = 15, 16
"""Columns of what is told: that a stroke begins, ends."""


@pytest.fixture(scope="module")
def lamp():
    """A word in Hershey's simplex script (NBS SP 424): network, states, ways as found, and as finished."""
    grey, _ = ink(script_word("lamp").strokes)
    _, net, states = state_graph_of_ink(find_ink(grey, 300.0), of_words=True)
    found = ways_to_write(net, states, "lamp")
    return net, states, found, [finished(found.ink, "lamp", laid) for laid in found.laid]


def told(lamp, one):
    return told_of_ways(lamp[2].ink, [one], "lamp")[0]


def test_a_way_is_told_at_equal_steps_with_its_letters(lamp):
    found = told(lamp, lamp[3][0])
    assert found.inputs.shape == (len(found.places), INPUTS) and np.isfinite(found.inputs).all()
    assert found.inputs[:, BEGIN].sum() == found.inputs[:, END].sum() == len(lamp[3][0].strokes)
    step = np.hypot(*np.diff(found.places[found.stroke == 0], axis=0).T)
    assert np.median(step) == pytest.approx(STEP * lamp[3][0].laid.frame.x_height, rel=0.1)
    assert set(found.letters[:, 1].tolist()) == {12, 1, 13, 16}
    assert found.letters.max() < LETTERS and found.letters[0, 0] == 0 and found.letters[-1, 2] == 0


def test_a_line_passed_back_is_told_of_both_passes(lamp):
    first = lamp[3][0]
    there = first.strokes[0]
    back = WrittenStroke([s ^ 1 for s in reversed(there.walk)], there.letter[::-1].copy())
    once, twice = told(lamp, replace(first, strokes=(there,))), told(lamp, replace(first, strokes=(there, back)))
    half = len(once.places)
    assert (twice.inputs[:half, 13] > 0).mean() > 0.95 > (once.inputs[:, 13] > 0).mean()
    # back: 1; the stroke passes some places twice by itself
    assert (twice.inputs[half:, 12] == 1).mean() > 0.8


def test_what_is_left_bare_is_told_where_it_is(lamp):
    first = lamp[3][0]
    whole = told(lamp, first)
    stroke = first.strokes[0]
    cut = WrittenStroke(stroke.walk[: len(stroke.walk) // 2], stroke.letter[: len(stroke.walk) // 2])
    less = told(lamp, replace(first, strokes=(cut,)))
    assert less.inputs[:, 26].max() > 0.9 > 0.6 > np.quantile(whole.inputs[:, 26], 0.9)


def test_the_network_is_what_numpys_own_convolution_makes_it(lamp):
    network = trained()
    one = told(lamp, lamp[3][0])
    both = log_odds_along(network, [one, one])
    np.testing.assert_allclose(both[0], both[1], atol=1e-4)

    def convolved(x, weights, offsets, apart):
        points = weights.shape[1] // x.shape[1]
        kernels = weights.reshape(len(weights), points, x.shape[1])
        wide = np.zeros((points - 1) * apart + 1)
        out = np.tile(offsets.astype(float)[:, None], len(x))
        for i, kernel in enumerate(kernels):
            for c in range(x.shape[1]):
                wide[::apart] = kernel[::-1, c]
                out[i] += np.convolve(x[:, c], wide)[len(wide) // 2 :][: len(x)]
        return out.T

    x = np.concatenate([one.inputs, network.of_letter[one.letters].reshape(len(one.letters), -1)], axis=1).astype(float)
    x = np.maximum(convolved(x, network.weights[0], network.offsets[0], 1), 0)
    for k, apart in enumerate(APART):
        y = np.maximum(convolved(x, network.weights[k + 1], network.offsets[k + 1], apart), 0)
        x = x + y @ network.mixing[k].T + network.mixing_offsets[k]
    expected = np.maximum(x, 0) @ network.last.T + network.last_offsets
    np.testing.assert_allclose(both[0], expected, atol=2e-3)


def test_a_word_written_backwards_is_not_taken(lamp):
    _, _, found, ways = lamp
    right = min(range(len(ways)), key=lambda k: float(found.unexplained[k]))
    back = replace(
        ways[right],
        strokes=tuple(
            WrittenStroke([s ^ 1 for s in reversed(w.walk)], w.letter[::-1].copy(), w.delayed)
            for w in reversed(ways[right].strokes)
        ),
    )
    # as much is left unexplained
    cost = judged(found.ink, [back, ways[right]], [0.0, 0.0], "lamp").cost
    assert cost[0] > 3 * cost[1]


def test_what_is_left_unexplained_counts_beside(lamp):
    _, _, found, ways = lamp
    cost = judged(found.ink, [ways[0], ways[0]], [30.0, 0.0], "lamp").cost
    assert cost[0] - cost[1] == pytest.approx(30 * lost_line.UNEXPLAINED)


def test_what_is_lost_is_dealt_to_the_letters(lamp):
    _, _, found, ways = lamp
    told_so = judged(found.ink, ways, [0.0] * len(ways), "lamp")
    assert told_so.of_letter.shape == (len(ways), 4) and (told_so.of_letter >= 0).all()
    assert (told_so.of_letter.sum(axis=1) <= told_so.cost).all()


def test_a_way_spliced_with_itself_stays_what_it_is(lamp):
    _, states, found, _ = lamp
    for laid in found.laid:
        for letter in range(3):
            assert meet(states, laid, laid, letter)
            again = spliced(states, laid, laid, letter)
            np.testing.assert_array_equal(again.walks[0], laid.walks[0])
            np.testing.assert_array_equal(again.letter, laid.letter)
            np.testing.assert_array_equal(again.bare, laid.bare)
            # the points of the models are those that the rows were found for
            on = laid.rows[:, 2] >= 0
            np.testing.assert_array_equal(again.model[again.rows[on, 2]], laid.model[laid.rows[on, 2]])


def test_ways_that_part_between_letters_do_not_meet(lamp):
    _, states, found, _ = lamp
    laid = found.laid[0]
    # the second way's letter ends elsewhere
    rows = laid.rows.copy()
    rows[rows[:, 1] == 0, 0] = rows[-1, 0]
    rows[rows[:, 1] == 1, 0] = rows[-1, 0]
    assert not meet(states, laid, replace(laid, rows=rows), 0)


def test_of_two_ways_the_better_part_of_each_is_taken(lamp):
    """What is expected to be lost is told here: at the first letters of one way, at the last ones of the other."""
    _, _, found, _ = lamp
    laid = found.laid[0]

    def told_so(ink, ways, left, text):
        mixed = [way.laid is not laid and way.laid is not other for way in ways]
        lost = [[0.0] * 4 if m else [6.0, 6, 0, 0] if way.laid is laid else [0, 0, 6.0, 6]
                for way, m in zip(ways, mixed, strict=True)]  # fmt: skip
        of_letter = np.array(lost)
        return Judged(of_letter, of_letter.sum(axis=1))

    other = replace(laid, cost=laid.cost + 1.0)
    with patch.object(spliced_ways, "judged", told_so):
        taken = likeliest_way(found.ink, "lamp", [laid, other], [0.0, 0.0])
        assert taken.laid is not laid and taken.laid is not other
        np.testing.assert_array_equal(taken.laid.walks[0], laid.walks[0])
        # one way alone is not judged
        assert likeliest_way(found.ink, "lamp", [other], [0.0]).laid is other


def test_the_likeliest_way_is_what_is_read(lamp):
    net, states, _, ways = lamp
    for one in ways:
        with patch.object(decoding, "likeliest_way", lambda *_, one=one: one):
            read = decode_text(net, states, "lamp")
        assert [s.walk for s in read.strokes] == [s.walk for s in one.strokes]


def test_lost_line_is_where_the_way_leaves_the_written_one():
    t = np.linspace(0, 10, 51)
    level = np.stack([t, np.zeros(51)], axis=1)
    aside = level + np.where((t > 4) & (t < 6), 1.0, 0.0)[:, None] * np.array([0.0, 1.0])
    lost, begun, share = lost_of(aside, np.zeros(51, np.int64), [level])
    assert lost[(t < 3.5) | (t > 6.5)].sum() == 0 and 6 <= lost.sum() <= 12
    assert share == pytest.approx(way([aside], [level]), abs=1e-9)
    assert begun.tolist() == [1.0] + [0.0] * 50
    _, two, _ = lost_of(level, np.zeros(51, np.int64), [level[:25], level[25:]])
    assert two.sum() == 2 and two[0] == 1 and two[24:27].sum() == 1


def test_the_network_says_what_it_was_fitted_on_and_whose_words_are_left_out():
    file = Path(lost_line.__file__).with_name("tables") / lost_line.NAME
    with np.load(file) as kept:
        said = json.loads(bytes(kept[PROVENANCE]).decode())
    assert "trace_ways" in said["recipe"] and said["fitted_on"][0]["licence"] == "CC BY 4.0"
    words = [
        Word(text, f"{who}/{n}", script_word(text).strokes, None)
        for who in ("cee", "kar", "phi")
        for n in range(12)
        for text in ("lamp", "quiet")
    ]
    jobs = jobs_of(words, "train", 2, 1)
    asked = {word.writer for word, _, _ in jobs}
    assert asked == {w.writer for w in words if part("unipen", w.writer) == "train"}
    assert len(jobs) == 2 * len({(w.writer, w.text) for w in words if w.writer in asked})


def test_ways_are_made_and_the_network_scored_on_them(capsys):
    words = [Word(text, "cee/nobody", script_word(text).strokes, None) for text in ("lamp", "gulls")]
    made = [example_of((word, 1, 0.5)) for word in words]
    for word, example in zip(words, made, strict=True):
        assert example is not None and example.text == word.text and example.true_strokes == len(word.strokes)
        for one in example.ways:
            assert one.lost.shape == one.begun.shape == (len(one.told.places),)
            assert one.begun.sum() == len(word.strokes)
            # the more is lost, the less is passed
            assert (one.lost.sum() > 0) == (one.way < 1)
    trace_ways._score(made, network_of(Path(lost_line.__file__).with_name("tables") / lost_line.NAME))
    assert "2 words" in capsys.readouterr().out
