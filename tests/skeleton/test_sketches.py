"""Forms that a picture suggests: what the network is shown, and what it makes of it."""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.hypotheses.forms_sought import SUGGESTED_SHARE, forms_for, models_of
from skeleton.ink.ink_map import InkMap, find_ink
from skeleton.matching.sketches import (
    BOX_PX,
    LEAST_PROBABILITY,
    MOST_STROKES,
    PICTURE_PX,
    POINTS,
    SKETCHES,
    STRIDES,
    picture_of,
    sketched,
    suggested_forms,
    trained,
)
from skeleton.matching.stroke_distance import shape_of, stroke_distance
from tests.bench.trace_data import LATIN, Case, sample_hand
from tests.bench.trace_ink import ink


def ink_map(case: Case, dpi: float = 300.0) -> InkMap:
    found = find_ink(ink(case.strokes, dpi=dpi)[0], dpi)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    """Return letters of the simulated hand, which the network was not trained on."""
    return [c for c in sample_hand(LATIN, 1) if len(c.strokes) <= MOST_STROKES]


def test_the_picture_holds_the_ink_in_its_middle_whatever_the_resolution(cases: list[Case]) -> None:
    case = next(c for c in cases if c.char == "g")
    seen = [picture_of(ink_map(case, dpi)) for dpi in (200.0, 300.0, 600.0)]
    for picture in seen:
        rows, columns = np.nonzero(picture > 0.4)
        assert max(np.ptp(rows), np.ptp(columns)) + 1 == pytest.approx(BOX_PX, abs=2)
        for at in (rows, columns):
            assert (at.min() + at.max()) / 2 == pytest.approx((PICTURE_PX - 1) / 2, abs=1.0)
    # one letter in other noise: pixels at edges differ
    assert np.abs(seen[0] - seen[1]).mean() < 0.04 and np.abs(seen[2] - seen[1]).mean() < 0.04


def test_letters_of_another_hand_are_sketched_as_they_were_written(cases: list[Case]) -> None:
    """In number, order and direction of strokes: three of four at the first guess, chance is one of eight at best."""
    good = 0
    for case in cases:
        first = suggested_forms(case.char, ink_map(case))[0]
        good += stroke_distance(shape_of(first.strokes), shape_of(case.strokes)) < 0.1
    assert good >= 0.75 * len(cases)


def test_guesses_are_forms_with_probabilities_the_likeliest_first(cases: list[Case]) -> None:
    for case in cases[::7]:
        found = suggested_forms(case.char, ink_map(case))
        shares = [m.prior for m in found]
        assert 1 <= len(found) <= SKETCHES and shares == sorted(shares, reverse=True)
        assert min(shares) >= LEAST_PROBABILITY and 1 - SKETCHES * LEAST_PROBABILITY < sum(shares) <= 1 + 1e-9
        for m in found:
            assert m.guessed and 1 <= len(m.strokes) <= MOST_STROKES
            assert all(s.shape == (POINTS, 2) and np.isfinite(s).all() for s in m.strokes)


def test_of_a_character_that_it_does_not_know_nothing_is_guessed(cases: list[Case]) -> None:
    assert suggested_forms("\u3042", ink_map(cases[0])) == []
    found = ink_map(cases[0])
    assert [m.name for m in forms_for(found, "\u00e9", "right")] == [m.name for m in models_of("\u00e9", "right", ())]


def test_a_picture_s_forms_stand_beside_the_table_s_and_have_their_share(cases: list[Case]) -> None:
    case = cases[0]
    every = forms_for(ink_map(case), case.char, "right")
    table = models_of(case.char, "right", ())
    assert [m.name for m in every[: len(table)]] == [m.name for m in table]
    assert sum(m.prior for m in every if not m.guessed) == pytest.approx(1 - SUGGESTED_SHARE)
    share = sum(m.prior for m in every if m.guessed)
    assert SUGGESTED_SHARE * (1 - SKETCHES * LEAST_PROBABILITY) < share <= SUGGESTED_SHARE + 1e-9


def test_the_layers_are_as_long_as_what_goes_into_them() -> None:
    network = trained()
    side, channels = PICTURE_PX, 1
    for kernels, stride in zip(network.convolutions.kernels, STRIDES, strict=True):
        assert kernels.shape[1] == channels
        side, channels = -(-side // stride), len(kernels)
    assert len(network.weights[0]) == channels * side * side
    assert network.weights[-1].shape[1] == SKETCHES * (MOST_STROKES * (2 * POINTS + 1) + 1)
    assert sketched(network, "a", np.zeros((PICTURE_PX, PICTURE_PX), np.float32))
