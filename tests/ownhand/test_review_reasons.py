"""Which attempts are doubtful, and in which words; and the font that is built again only where something changed."""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import pytest

from capture.errors import InputError
from capture.report import Finding
from fontbuild.build import build_font
from fontbuild.font import Record
from fontbuild.letterwise import in_turn
from fontbuild.usable_attempts import ENOUGH, BuildingRules
from fontbuild.variants import AttemptStrokes, variants_of
from ownhand.hands.decisions import KEPT, Decision, seen
from ownhand.hands.kept_letters import KeptLetters
from ownhand.review.edits.operations import turn
from ownhand.review.session.builder import Builder, BuildFailedError, Order
from ownhand.review.session.review_reasons import doubts, is_settled, name_of, sorting_key
from tests.ownhand.stand_in import attempt, letter, unsteady


@pytest.fixture
def t():
    return attempt("t", 1, 1, unsteady(letter("t"), np.random.default_rng(1)))


def test_a_sure_attempt_without_findings_is_not_doubtful(t):
    assert doubts(t, Decision()) == ()


def test_every_reason_is_said_and_low_confidence_only_once(t):
    findings = (Finding("outside its box"), Finding("low confidence", detail="0.12"))
    found = doubts(dataclasses.replace(t, confidence=0.12, findings=findings), Decision(), "another stroke count")

    assert found == (
        "outside its box",
        "strokes or their order may be wrong",
        "unlike the others: another stroke count",
    )


def test_an_unsure_reading_that_the_builder_left_aside_is_said_once_and_in_plain_words(t):
    found = doubts(dataclasses.replace(t, confidence=0.08), Decision(), "doubtful reading (confidence 0.08)")

    assert found == ("strokes or their order may be wrong",)


def test_a_doubt_is_settled_by_any_decision_until_the_ink_changes(t):
    mended = Decision(strokes=turn(t.strokes, 1), seen_mm=seen(t.strokes))
    other = dataclasses.replace(t, strokes=unsteady(letter("w"), np.random.default_rng(1)))

    assert not is_settled(t, Decision(baseline_mm=0.1))
    assert is_settled(t, Decision(verdict=KEPT))
    assert is_settled(t, Decision(char="f"))
    assert is_settled(t, mended)
    assert not is_settled(other, mended)
    assert doubts(other, mended) == ("the ink has changed since it was mended",)


def test_characters_are_named_in_words_and_stand_letters_first_with_their_accents_beside_them():
    assert name_of("é") == "small e with acute"
    assert name_of("\u0301") == "combining acute accent"
    assert sorted("1é.zaÉeb", key=sorting_key) == ["a", "b", "É", "e", "é", "z", "1", "."]


def written(seed: int) -> AttemptStrokes:
    return AttemptStrokes(
        f"S/1/1.{seed}", "t", tuple(s.points_mm for s in unsteady(letter("t"), np.random.default_rng(seed)))
    )


MADE: list[str] = []


def counted(char, group, x_height_mm):
    MADE.append(char)
    return variants_of(char, group, x_height_mm=x_height_mm)


def test_one_that_is_left_out_because_there_are_surer_ones_is_nothing_to_look_at(t):
    assert doubts(t, Decision(), ENOUGH) == ()
    assert doubts(t, Decision(), "a line that goes to and fro") == ("unlike the others: a line that goes to and fro",)


def test_work_on_the_same_attempts_gives_the_same_and_is_not_done_again():
    MADE.clear()
    letterwise = KeptLetters(in_turn)
    group = [written(1), written(2)]
    (first,) = letterwise(counted, [("t", group, 3.5)])
    (again,) = letterwise(counted, [("t", [written(1), written(2)], 3.5)])
    moved = dataclasses.replace(group[1], strokes=tuple(s + 0.01 for s in group[1].strokes))
    list(letterwise(counted, [("t", [group[0], moved], 3.5)]))

    assert pickle.dumps(again) == pickle.dumps(first)
    assert len(MADE) == 2
    letterwise.forget_unused()
    letterwise.forget_unused()
    list(letterwise(counted, [("t", group, 3.5)]))
    assert len(MADE) == 3


def test_after_a_mend_only_its_character_is_worked_on(t):
    letterwise = KeptLetters(in_turn)
    attempts = [dataclasses.replace(t, id=f"S/1/1.{n}", char=char, attempt=n) for char in "tu" for n in (1, 2)]
    attempts = [dataclasses.replace(a, id=f"S/1/{'tu'.index(a.char) + 1}.{a.attempt}") for a in attempts]
    first = build_font(attempts, Record("Lamp Room"), accents=False, letterwise=letterwise)
    before = set(letterwise._made)
    mended = [dataclasses.replace(a, strokes=a.strokes[:1]) if a.id == "S/1/1.1" else a for a in attempts]
    second = build_font(mended, Record("Lamp Room"), accents=False, letterwise=letterwise)

    # broken strokes, oddness and shapes: three pieces of work on the one character
    assert 0 < len(set(letterwise._made) - before) <= 3
    assert second.font.glyphs["u"][0].strokes[0].tobytes() == first.font.glyphs["u"][0].strokes[0].tobytes()


def test_the_builder_beside_the_server_builds_refuses_and_comes_back_after_it_was_ended(t):
    builder = Builder()
    built = builder.build(
        Order([t, dataclasses.replace(t, id="S/1/1.2", attempt=2)], Record("Lamp Room"), BuildingRules())
    )

    assert set(built.font.glyphs) >= {"t"}
    with pytest.raises(InputError, match="none of its attempts can be used"):
        builder.build(Order([], Record("Lamp Room"), BuildingRules()))
    with pytest.raises(BuildFailedError, match="AttributeError"):
        builder.build(Order([None], Record("Lamp Room"), BuildingRules()))
    builder._process.kill()
    builder._process.wait()
    assert set(builder.build(Order([t], Record("Lamp Room"), BuildingRules())).font.glyphs) >= {"t"}
    builder.stop()
