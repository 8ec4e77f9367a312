"""Decisions as data: what they make of attempts, and the file they are kept in."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import HandFolderError
from fontbuild.font import Font, Metrics, Record
from fontbuild.glyph import Glyph
from ownhand.hands.decisions import (
    KEPT,
    SET_ASIDE,
    Decision,
    Decisions,
    KnownWay,
    apply_decisions,
    building_rules,
    ink_changed,
    known_ways,
    seen,
    with_bearings,
)
from ownhand.hands.decisions_file import from_json, load_decisions, save_decisions, to_json, told
from ownhand.validation import FaultsError
from skeleton.geometry.stroke import Stroke
from tests.ownhand.stand_in import attempt, letter, unsteady

LINE = Stroke(np.array([[0.0, 0.0], [1.0, 2.0], [2.0, 1.0]]), 0.4)
DOT = Stroke(np.array([[1.0, 3.0]]), 0.5)


@pytest.fixture
def t():
    return attempt("t", 1, 1, unsteady(letter("t"), np.random.default_rng(1)))


def decided(t, **what) -> Decisions:
    return Decisions(1, 1, {t.id: Decision(changed=1, **what)})


def test_without_decisions_the_attempts_are_as_they_were_read(t):
    assert apply_decisions([t], Decisions()) == (t,)


def test_an_attempt_set_aside_says_so_and_why(t):
    (after,) = apply_decisions([t], decided(t, verdict=SET_ASIDE, reason="half a letter"))

    assert after.status == "set aside"
    assert "half a letter" in str(after.findings[-1])
    assert building_rules(decided(t, verdict=SET_ASIDE)).set_aside == {t.id}


def test_an_attempt_that_the_writer_spoiled_is_used_when_it_is_kept(t):
    spoiled = dataclasses.replace(t, status="spoiled", confidence=0.2)
    (after,) = apply_decisions([spoiled], decided(t, verdict=KEPT))

    assert (after.status, after.confidence) == ("written", 1.0)
    assert building_rules(decided(t, verdict=KEPT)).keep == {t.id}


def test_a_corrected_label_and_mended_strokes_replace_what_was_read(t):
    (after,) = apply_decisions([t], decided(t, char="ť", strokes=(LINE, DOT)))

    assert after.char == "ť"
    assert [s.is_dot for s in after.strokes] == [False, True]


def test_a_baseline_moved_up_lets_the_letter_down(t):
    (after,) = apply_decisions([t], decided(t, baseline_mm=0.5))

    for old, new in zip(t.strokes, after.strokes, strict=True):
        assert np.allclose(old.points_mm - [0, 0.5], new.points_mm)


def test_decisions_on_attempts_that_are_not_there_do_nothing_and_are_not_lost(t, tmp_path):
    decisions = Decisions(1, 1, {"GONE/1/1.1": Decision(verdict=KEPT, changed=1)})
    file = save_decisions(tmp_path / "decisions.json", decisions)

    assert apply_decisions([t], decisions) == (t,)
    assert load_decisions(file).attempts["GONE/1/1.1"].verdict == KEPT


def test_a_better_scan_of_the_same_ink_does_not_flag_a_mend(t):
    decision = Decision(strokes=(LINE,), seen_mm=seen(t.strokes))
    rescanned = tuple(Stroke(s.points_mm + np.array([0.06, -0.04]), s.width_mm) for s in t.strokes)

    assert not ink_changed(dataclasses.replace(t, strokes=rescanned), decision)


def test_other_ink_in_the_cell_keeps_the_mend_and_flags_it(t):
    decisions = decided(t, strokes=(LINE,), seen_mm=seen(t.strokes))
    other = dataclasses.replace(t, strokes=unsteady(letter("m"), np.random.default_rng(2)))
    (after,) = apply_decisions([other], decisions)

    assert np.allclose(after.strokes[0].points_mm, LINE.points_mm)
    assert any("ink has changed" in str(f) for f in after.findings)


def test_known_ways_are_given_by_character_as_the_tracer_sees_them_with_y_down(t):
    ways = known_ways(Decisions(characters={"t": KnownWay(t.id, 3.5, (LINE, DOT), 1)}))

    assert [s.points_mm.tolist() for s in ways["t"]] == [[[0, 0], [1, -2], [2, -1]], [[1, -3]]]


def font_of_one(glyph: Glyph) -> Font:
    return Font(Record("Lamp Room"), Metrics(500, 700, 750, -250, 0, 50), 0.007, {glyph.char: (glyph,)})


def test_side_bearings_set_by_hand_are_the_glyphs_own():
    strokes = (np.array([[20.0, 0.0], [30.0, 100.0], [40.0, 200.0], [120.0, 300.0]]),)
    glyph = Glyph("t", "t", strokes, 200.0, anchors={"top": (70.0, 500.0)}, source="A/1/1.1")
    decisions = Decisions(attempts={"A/1/1.1": Decision(left_mm=0.35, right_mm=0.7)})
    (after,) = with_bearings(font_of_one(glyph), decisions).glyphs["t"]

    assert after.strokes[0][:, 0].min() * 0.007 == pytest.approx(0.35)
    assert (after.advance - after.strokes[0][:, 0].max()) * 0.007 == pytest.approx(0.7)
    assert after.anchors["top"] == pytest.approx((70.0 + 30.0, 500.0))


def test_one_side_bearing_set_by_hand_leaves_the_other_as_it_was_spaced():
    glyph = Glyph("t", "t", (np.array([[20.0, 0.0], [30.0, 0.0], [40.0, 0.0], [120.0, 0.0]]),), 200.0, source="A/1/1.1")
    decisions = Decisions(attempts={"A/1/1.1": Decision(left_mm=0.0)})
    (after,) = with_bearings(font_of_one(glyph), decisions).glyphs["t"]

    assert after.strokes[0][:, 0].min() == pytest.approx(0.0)
    assert after.advance - after.strokes[0][:, 0].max() == pytest.approx(80.0)


mm = st.floats(-50, 50).map(lambda v: round(v, 3))
strokes = st.lists(
    st.builds(
        lambda points, width, closed: Stroke(np.array(points), round(width, 3), closed=closed),
        st.lists(st.tuples(mm, mm), min_size=1, max_size=6),
        st.floats(0, 3),
        st.booleans(),
    ),
    min_size=1,
    max_size=3,
).map(tuple)
text = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
a_decision = st.builds(
    Decision,
    verdict=st.sampled_from(["", KEPT, SET_ASIDE]),
    reason=text,
    char=st.sampled_from(["", "a", "é", "ạ́", "“"]),
    strokes=st.none() | strokes,
    baseline_mm=mm,
    left_mm=st.none() | mm,
    right_mm=st.none() | mm,
    done=st.lists(text, max_size=3).map(tuple),
    seen_mm=st.just(()) | st.tuples(mm, mm, mm, mm, mm),
    changed=st.integers(0, 10**6),
)
a_way = st.builds(KnownWay, attempt=text, x_height_mm=st.floats(0.1, 20), strokes=strokes, changed=st.integers(0, 99))


@given(st.dictionaries(text, a_decision, max_size=4), st.dictionaries(st.sampled_from("aé“"), a_way, max_size=2))
def test_what_is_saved_is_loaded_again(attempts, characters):
    before = Decisions(7, 3, attempts, characters)

    assert to_json(from_json(json.loads(json.dumps(to_json(before))))) == to_json(before)


def test_the_file_can_be_read_by_people_with_a_stroke_on_a_line(t, tmp_path):
    file = save_decisions(tmp_path / "decisions.json", decided(t, strokes=(LINE,), reason="two [1, 2] things"))
    lines = file.read_text(encoding="utf-8").splitlines()

    assert any("[0.0, 0.0], [1.0, 2.0], [2.0, 1.0]" in line for line in lines)
    assert any('"two [1, 2] things"' in line for line in lines)


def test_a_decision_that_cannot_be_read_costs_itself_and_is_named_with_its_place(tmp_path):
    file = tmp_path / "decisions.json"
    bad = {"verdict": "maybe", "strokes": [{"points_mm": [[0, "x"]]}], "left_mm": "wide"}
    file.write_text(json.dumps({"format": 1, "attempts": {"S/1/1.1": bad, "S/1/1.2": {"verdict": "kept"}}}))

    decisions = load_decisions(file)

    assert {key: d.verdict for key, d in decisions.attempts.items()} == {"S/1/1.2": KEPT}
    message = " ".join(told(file, decisions))
    assert str(file) in message and "1 decision(s) cannot be read" in message
    assert "attempts.S/1/1.1.verdict: expected one of 'kept', 'set aside'" in message
    assert "attempts.S/1/1.1.strokes[0].points_mm: expected 1 to 4000 pairs of numbers" in message
    assert "attempts.S/1/1.1.left_mm: expected a number from -50 to 50" in message
    # nothing is lost by writing it again
    assert to_json(load_decisions(save_decisions(file, decisions)))["attempts"]["S/1/1.1"] == bad


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b"[]",
        b"3",
        b'{"format": 2}',
        b'{"format": 1, "attempts": []}',
        b"[" * 100_000,
        b'{"format": 1, "version": NaN}',
        b'{"format": true}',
        b'{"format": 1, "version": -1}',
        b'{"format": 1, "step": 1e13}',
        b'{"format": 1, "attempts": {"\\ud800": {}}}',
    ],
)
def test_a_file_that_is_not_decisions_is_refused_in_one_line(raw, tmp_path):
    file = tmp_path / "decisions.json"
    file.write_bytes(raw)
    with pytest.raises(HandFolderError) as error:
        load_decisions(file)

    assert "\n" not in str(error.value)
    assert file.read_bytes() == raw


json_data = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["format", "attempts", "characters", "strokes", "points_mm", "char", "done", "x"]), inner
        )
    ),
    max_leaves=12,
)


@given(json_data)
def test_any_json_is_either_decisions_or_refused_with_a_place(data):
    try:
        found = from_json({"format": 1, "attempts": {"S/1/1.1": data}} if data is not None else data)
        assert bool(found.attempts) != bool(found.faults)
    except FaultsError as error:
        assert error.faults
