"""Strokes of a way to write a word that are run together, and those that are not."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest

from skeleton.ink.ink_map import find_ink
from skeleton.pipeline import state_graph_of_ink
from skeleton.words import strokes_run_together
from skeleton.words.decoding import ways_to_write
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.lost_line import Judged
from skeleton.words.spliced_ways import likeliest_way
from skeleton.words.strokes_run_together import run_together
from skeleton.words.unexplained_ink import missed_ends, tips_of
from tests.bench.trace_ink import ink
from tests.bench.words import script_word


@pytest.fixture(scope="module")
def lamp():
    """A joined word in Hershey's simplex script (NBS SP 424), written in one stroke: its ink, and its way."""
    grey, _ = ink(script_word("lamp").strokes)
    _, net, states = state_graph_of_ink(find_ink(grey, 300.0, faint=False), of_words=True)
    found = ways_to_write(net, states, "lamp")
    return found.ink, likeliest_way(found.ink, "lamp", found.laid, found.unexplained.tolist())


def parted(way, at):
    """Return a way whose first stroke is parted at a step."""
    first, *others = way.strokes
    halves = WrittenStroke(first.walk[:at], first.letter[:at]), WrittenStroke(first.walk[at:], first.letter[at:])
    return replace(way, strokes=(*halves, *others))


def judged_by_strokes(wanted):
    """Return a judge who wants so many strokes."""

    def judge(_, ways, left, text):
        cost = np.array([10.0 * abs(len(one.strokes) - wanted) for one in ways])
        return Judged(np.zeros((len(ways), len(text))), cost)

    return judge


def test_a_stroke_that_was_parted_on_its_way_is_run_together(lamp):
    word, way = lamp
    strokes = len(way.strokes)
    for share in (0.3, 0.5, 0.7):
        two = parted(way, round(share * len(way.strokes[0].walk)))
        mended = run_together(word, two, 0.0, "lamp")

        assert len(two.strokes) == strokes + 1
        assert len(mended.strokes) == strokes
        assert set(np.array(way.strokes[0].walk) // 2) <= set(np.array(mended.strokes[0].walk) // 2)


def test_what_loses_no_less_stays(lamp):
    word, way = lamp
    with patch.object(strokes_run_together, "judged", judged_by_strokes(len(way.strokes))):
        assert run_together(word, way, 0.0, "lamp") is way


def test_letters_that_stand_apart_are_not_run_together():
    # the same script, each letter by itself and none joined
    word = script_word("lamp")
    strokes = [line + np.array([2.0 * n, 0.0]) for n, (_, lines) in enumerate(word.letters) for line in lines]
    grey, _ = ink(strokes)
    _, net, states = state_graph_of_ink(find_ink(grey, 300.0, faint=False), of_words=True)
    found = ways_to_write(net, states, "lamp")
    with patch.object(strokes_run_together, "judged", judged_by_strokes(1)):
        way = likeliest_way(found.ink, "lamp", found.laid, found.unexplained.tolist())

    assert len(way.strokes) >= 4


def test_ends_are_missed_at_tips_where_no_stroke_begins_or_ends(lamp):
    word, way = lamp
    tips = tips_of(word.net, word.states)
    walk = way.strokes[0].walk
    inner = [walk[len(walk) // 3 : len(walk) // 2]]

    assert missed_ends(word.states, tips, inner) > missed_ends(word.states, tips, [walk]) >= 0.0
