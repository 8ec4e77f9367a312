"""The network that tells how people write: what it computes, where it has no say, how it is fitted."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from skeleton.hypotheses.labelled import NAMES
from skeleton.matching.stroke_distance import SAMPLES, Shape, shape_along, shape_of, shapes_of_readings
from skeleton.pipeline import build_state_graph_of
from skeleton.scoring.form_similarity import FORM_FEATURE_NAMES
from skeleton.scoring.ink_along_kernels import END_CLUES, PLACE_CLUES, ink_along
from skeleton.scoring.path_features import path_scorer
from skeleton.scoring.writing_habits import (
    FINE_SCALE,
    MAX_STROKES,
    SHARE_HEARD,
    Habits,
    habit_costs,
    judged_by,
    looked_again,
    stroke_inputs,
)
from skeleton.states.state_graph import end_to_end, packed
from tests.bench.people import part
from tests.bench.trace_ink import ink
from tests.bench.training import choices
from tests.bench.training.bending import bent
from tests.bench.training.choices import load, make, written
from tests.bench.training.rightness import rightness
from tests.skeleton.test_people import records

CLUES = MAX_STROKES * (PLACE_CLUES * SAMPLES + END_CLUES)


def stem(upwards: bool = False) -> Shape:
    line = np.stack([np.zeros(9), np.linspace(0, 1, 9)], axis=1)
    return shape_of([line[::-1] if upwards else line])


def network_of_one_unit() -> Habits:
    """Return one that sees how low a stroke begins, and at its second look how well a reading explains the ink."""
    first = np.zeros((MAX_STROKES * (2 * SAMPLES + 2) + 2 + CLUES, 1), np.float32)
    first[1] = 1.0
    one, none = np.ones((1, 1), np.float32), np.zeros((1, 1), np.float32)
    again = np.array([[1.0], [0.0], [2.0], [3.0]], np.float32)
    return Habits(
        {"l": 0}, np.zeros(2), np.ones(2), first, none, 3 * one, one, one, 0.5 * one, again, one[0], one[0], 0.25
    )


def test_a_network_of_one_unit_is_worked_by_hand() -> None:
    """It looks at how low a stroke begins: y of the first point, doubled; then 3 of it, 1 of the mean, 1; then half."""
    two, no_clues = [stem(), stem(upwards=True)], np.zeros((2, CLUES), np.float32)

    got = judged_by(network_of_one_unit(), "l", two, no_clues, np.zeros((2, 2)), np.log([3.0, 1.0]))

    # in a box of size 1 about its middle a stem begins at -1/2 or at 1/2; the second is three times as likely
    assert got is not None
    assert got.traits[:, 0] == pytest.approx([0 + 0.75 + 1, 3 * 1.0 + 0.75 + 1])
    assert got.costs == pytest.approx([SHARE_HEARD * 0.5 * 1.75, SHARE_HEARD * 0.5 * 4.75])


def test_the_second_look_is_worked_by_hand() -> None:
    """It hears the trait, whether a reading was fitted (2) and, finely, what it leaves unexplained (3), and adds 1."""
    traits = np.array([[1.0], [0.5]], np.float32)
    got = looked_again(network_of_one_unit(), traits, np.array([0.0, 0.4]), np.array([True, False]))
    # a fine difference is heard up to 0.3
    assert got == pytest.approx([1 + 2 + 1, 0.25 * 0.4 + 0.5 + 3 * FINE_SCALE * 0.3 + 1])


def test_of_a_character_that_was_not_seen_it_says_nothing() -> None:
    features = np.random.default_rng(1).normal(0, 1, (2, len(NAMES) + len(FORM_FEATURE_NAMES) + 1))
    told = [stem(), stem(upwards=True)], np.zeros((2, CLUES), np.float32), features, np.zeros(2)
    assert habit_costs("\u0416", *told) is None
    judged = habit_costs("l", *told)
    assert judged is not None and judged.costs.all()


def test_what_the_ink_tells_along_a_stroke_turns_round_with_it() -> None:
    """A stem walked up has the same places the other way, and its ends exchanged; there and back it is passed twice."""
    picture, _ = ink([np.array([[0.0, 0.0], [0.0, 7.0]])], kind="clean")
    apart = build_state_graph_of(picture, 300)
    assert apart is not None
    _, net, states = apart
    n = len(states.here) // 2
    down, up = list(range(0, 2 * n, 2)), list(range(2 * n - 1, 0, -2))
    scorer = path_scorer(net, states)
    pack = packed([end_to_end([down]), end_to_end([up]), end_to_end([down + up])])

    got = ink_along(scorer.context, pack, states.width, scorer.tip, SAMPLES, MAX_STROKES)

    one, other, both = got[:, 0, :-END_CLUES].reshape(3, SAMPLES, PLACE_CLUES)
    np.testing.assert_allclose(one, other[::-1])
    assert (one[:, 1] == 0).all() and (both[:, 1] == 1).all()
    ends, turned, there_and_back = got[:, 0, -END_CLUES:]
    # landed and lifted as the one has it are what the other has in the other direction
    np.testing.assert_allclose(ends[:2], turned[[3, 2]])
    assert (ends[4:6] == 1).all() and there_and_back[6:].tolist() == [1, 1]
    assert not got[:, 1:].any()


def test_strokes_beyond_the_last_seen_are_left_out() -> None:
    line = np.array([[0.0, 0.0], [1.0, 1.0]])
    seen = stroke_inputs([shape_of([line] * 7), shape_of([line])]).reshape(2, MAX_STROKES, -1)
    assert (seen[0, :, -1] == 1).all()
    assert seen[1, :, -1].tolist() == [1, 0, 0, 0, 0] and not seen[1, 1:].any()


def test_shapes_of_many_readings_are_those_of_each() -> None:
    here = np.random.default_rng(2).normal(0, 3, (40, 2))
    one = np.arange(0, 20, dtype=np.int32), np.array([0, 12, 20])
    other = np.arange(39, 5, -2, dtype=np.int32), np.array([0, 17])

    found = shapes_of_readings(packed([one, other]), here)

    for got, walks in zip(found, (one, other), strict=True):
        want = shape_along(walks, here)
        np.testing.assert_array_equal(got.strokes, want.strokes)
        np.testing.assert_array_equal(got.lengths, want.lengths)


def test_characters_are_inked_for_the_fit_and_nobody_left_out_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # without the simulated writers, whose characters take seconds to write
    monkeypatch.setattr(choices, "museum", lambda attempts: [])
    file = tmp_path / "unipen_chars.json"
    file.write_text(json.dumps(records(80)), "utf-8")

    asked = [w for w in written([file], ("train",), 2, 1) if w.source == "unipen"]
    assert asked and all(part("unipen", w.case.writer) == "train" for w in asked)
    assert {w.number for w in asked} == {0, 1}
    make(asked[:3] + asked[-2:], tmp_path / "made", cores=2, seconds=600)
    made = load(tmp_path / "made")

    assert len(made.counts) == 5 and made.counts.sum() == len(made.linear) == len(made.strokes) == len(made.along)
    # a stem or a bow is among what is considered; rivals were fitted to the ink
    begin = np.cumsum([0, *made.counts])
    assert all(made.full[a:b].any() for a, b in pairwise(begin))
    assert not np.isnan(made.unlike).all()


def test_a_reading_is_right_in_paths_or_in_order_and_direction_too() -> None:
    down, across = np.array([[0.0, 0.0], [0.0, 5.0]]), np.array([[-2.0, 1.0], [2.0, 1.0]])
    true = [down, across]
    readings = [[down, across], [across, down], [down, across[::-1]], [down], [down, across + 1.0]]
    paths, full = rightness(readings, true)
    assert paths.tolist() == [True, True, True, False, False]
    assert full.tolist() == [True, False, False, False, False]


def test_a_bent_character_stays_one(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    turn = np.linspace(0, 2 * np.pi, 60)
    ring = 3 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    every = [bent([ring], rng)[0] for _ in range(40)]
    off = np.array([np.hypot(*(b - ring).T).mean() for b in every])
    assert 0.1 < off.mean() < 0.9 and off.max() < 2.5
    assert all(np.hypot(*(b[0] - b[-1])) < 1e-9 for b in every)
