"""The network that tells how people write: what it computes, where it has no say, how it is fitted."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from skeleton.hypotheses.labelled import NAMES
from skeleton.matching.stroke_distance import SAMPLES, Shape, shape_along, shape_of, shapes_of_readings
from skeleton.scoring import writing_habits
from skeleton.scoring.writing_habits import MAX_STROKES, Habits, costs_by, habit_costs, stroke_inputs
from skeleton.states.state_graph import packed
from tests.bench.people import part
from tests.bench.training import examples
from tests.bench.training.examples import tasks
from tests.skeleton.test_people import records


def stem(upwards: bool = False) -> Shape:
    line = np.stack([np.zeros(9), np.linspace(0, 1, 9)], axis=1)
    return shape_of([line[::-1] if upwards else line])


def test_a_network_of_one_unit_is_worked_by_hand() -> None:
    """It looks at how low the stroke begins: y of the first point, twice, then 3, then the character's own weight."""
    inputs = MAX_STROKES * (2 * SAMPLES + 2) + 2
    first = np.zeros((inputs, 1), np.float32)
    first[1] = 1.0
    one = np.ones((1, 1), np.float32)
    network = Habits({"l": 0}, np.zeros(2), np.ones(2), first, 0 * one, 3 * one, one, 0.5 * one)

    got = costs_by(network, "l", [stem(), stem(upwards=True)], np.zeros((2, 2)))

    # in a box of size 1 about its middle a stem begins at -1/2 or at 1/2
    assert got == pytest.approx([0.5 * (0 + 1), 0.5 * (3 * 1.0 + 1)])


def test_of_a_character_that_was_not_seen_it_says_nothing() -> None:
    features = np.random.default_rng(1).normal(0, 1, (2, len(NAMES) + 1))
    assert not habit_costs("\u0416", [stem(), stem(upwards=True)], features).any()
    assert habit_costs("l", [stem(), stem(upwards=True)], features).any()


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


def test_it_is_kept_with_what_it_was_fitted_on() -> None:
    with np.load(Path(writing_habits.__file__).with_name(writing_habits.NAME)) as kept:
        told = json.loads(bytes(kept[writing_habits.PROVENANCE]).decode())
    notice = (Path(writing_habits.__file__).parents[1] / "NOTICE").read_text(encoding="utf-8")
    assert date.fromisoformat(told["date"])
    assert "trace_habits" in told["recipe"] and writing_habits.NAME in notice
    assert {"UNIPEN", "DigiLeTs"} <= {d["name"].split(" (")[0] for d in told["fitted_on"]}
    assert all(d["licence"] not in ("", "not stated") for d in told["fitted_on"])


def test_people_of_the_network_are_added_and_nobody_left_out_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # without the simulated writers, whose characters take seconds to write
    monkeypatch.setattr(examples, "loose_characters", lambda *args, **options: [])
    file = tmp_path / "unipen_chars.json"
    file.write_text(json.dumps(records(80)), "utf-8")

    def of(count: int) -> list[str]:
        return [t.case.writer for t in tasks([file], 1, 1, of_network=count) if t.group.startswith("unipen/")]

    few, many = of(0), of(30)
    assert len(many) == len(few) + 30 and set(few) < set(many)
    assert all(part("unipen", w) == "train" for w in many)
