"""Which attempts are doubtful, and in which words; and the font that is built again only where something changed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from capture.errors import InputError
from capture.report import Finding
from fontbuild.build import Decisions as BuildingRules
from fontbuild.font import Record
from fontbuild.variants import AttemptStrokes, variants_of
from ownhand.hands.decisions import KEPT, Decision, seen
from ownhand.review.edits.operations import turn
from ownhand.review.session.builder import Builder, BuildFailedError, Remembered
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


def test_variants_that_were_made_before_are_the_same_and_not_made_again(monkeypatch):
    made = []

    def counted(*args, **how):
        made.append(args)
        return variants_of(*args, **how)

    monkeypatch.setattr("ownhand.review.session.builder.variants_of", counted)
    fit = Remembered()
    group = [written(1), written(2)]
    first = fit("t", group, x_height_mm=3.5)
    again = fit("t", [written(1), written(2)], x_height_mm=3.5)
    moved = dataclasses.replace(group[1], strokes=tuple(s + 0.01 for s in group[1].strokes))
    fit("t", [group[0], moved], x_height_mm=3.5)

    assert again is first
    assert len(made) == 2
    fit.forget_unused()
    fit.forget_unused()
    fit("t", group, x_height_mm=3.5)
    assert len(made) == 3


def test_the_builder_beside_the_server_builds_refuses_and_comes_back_after_it_was_ended(t):
    builder = Builder()
    built = builder.build([t, dataclasses.replace(t, id="S/1/1.2", attempt=2)], Record("Lamp Room"), BuildingRules())

    assert set(built.font.glyphs) >= {"t"}
    with pytest.raises(InputError, match="none of its attempts can be used"):
        builder.build([], Record("Lamp Room"), BuildingRules())
    with pytest.raises(BuildFailedError, match="AttributeError"):
        builder.build([None], Record("Lamp Room"), BuildingRules())
    builder._process.kill()
    builder._process.wait()
    assert set(builder.build([t], Record("Lamp Room"), BuildingRules()).font.glyphs) >= {"t"}
    builder.stop()
