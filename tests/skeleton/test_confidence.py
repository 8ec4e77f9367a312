"""Confidence is a calibrated probability: it follows what speaks for a reading, and bad ink bounds it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from skeleton.api import read_character
from skeleton.ductus import allographs
from skeleton.ductus.observed import observed_allographs
from skeleton.scoring.confidence import DOUBTFUL_CONFIDENCE, Judged, confidence
from tests.bench.people import part
from tests.bench.trace_data import hershey
from tests.bench.trace_ink import ink

CLEAR = Judged(
    share=0.99, alike=0.97, surprise=0.5, wrong_share=0.01, strokes=1, unknown_shape=False, followed_form=True
)


def test_a_clear_reading_is_believed_and_never_fully() -> None:
    assert 0.9 < confidence(CLEAR) < 1


@pytest.mark.parametrize(
    "worse", [{"share": 0.3}, {"alike": 0.4}, {"surprise": 5.0}, {"wrong_share": 0.05}, {"followed_form": False}]
)
def test_whatever_speaks_against_a_reading_lowers_its_confidence(worse: dict[str, float]) -> None:
    assert confidence(replace(CLEAR, **worse)) < confidence(CLEAR) - 0.005  # type: ignore[arg-type]


def test_strokes_that_leave_ink_bare_or_add_ink_are_never_believed_above_a_half() -> None:
    assert confidence(replace(CLEAR, wrong_share=0.09)) <= DOUBTFUL_CONFIDENCE


def test_a_shape_in_which_nobody_writes_the_character_is_never_believed_above_a_half() -> None:
    """A picture suggests a form for whatever is in it: letters under another letter's name."""
    assert confidence(replace(CLEAR, unknown_shape=True)) <= DOUBTFUL_CONFIDENCE
    cases = {c.char: c for c in hershey()}
    for char, label in ("Xo", "To", "Wl", "ko", "#o"):
        assert read_character(ink(cases[char].strokes)[0], 300, label).confidence <= DOUBTFUL_CONFIDENCE, char


def test_a_plain_stem_is_surer_than_a_scribble_labelled_as_one() -> None:
    stem = ink([np.array([[0.0, 0.0], [0.0, 7.0]])], seed=1)[0]
    scribble = ink([np.cumsum(np.random.default_rng(4).normal(0, 1, (40, 2)), axis=0)], seed=1)[0]

    sure, doubtful = (read_character(grey, 300, "l").confidence for grey in (stem, scribble))

    assert sure > 0.8 and doubtful < 0.5


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("char", list("aEgt4?"))
def test_forms_that_people_write_stand_beside_the_tables(char: str, hand: str) -> None:
    forms = observed_allographs(char, handedness=hand)  # type: ignore[arg-type]

    assert sum(f.prior for f in forms) == pytest.approx(1)
    assert {a.name for a in allographs(char, handedness=hand)} < {f.name for f in forms}  # type: ignore[arg-type]
    assert [f.prior for f in forms] == sorted((f.prior for f in forms), reverse=True)


def test_what_nobody_was_seen_to_write_is_the_tables() -> None:
    assert observed_allographs("Ж") == allographs("Ж")


def test_the_people_left_out_stay_left_out() -> None:
    """Digest of the split by names that stand for UNIPEN's; a change of it would put tested people into the fit."""
    parts = [part("unipen", f"app/app05/app{n:04d}") for n in range(200)]

    assert [parts.count(p) for p in ("train", "val", "out")] == [124, 15, 61]
    assert part("uji", "4") == part("omniglot", "6") == "out" and part("uji", "1") == "train"
