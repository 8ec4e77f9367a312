"""Marks that stand apart from their letter, and rings and corners where a pen turns back."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import skeleton
from capture.units import Points
from skeleton.ductus.curve import pen_line
from skeleton.hypotheses.forms_sought import models_of
from skeleton.matching.detached_marks import ABOVE, BELOW, NOWHERE, detached_in_ink, detached_in_template
from skeleton.matching.stroke_distance import shape_with_marks_aside
from skeleton.pipeline import build_state_graph_of
from tests.bench.trace_data import hershey, sample_hand
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

BOWL = np.array([(1.9, 0.25), (1.0, 0.0), (0.1, 1.6), (0.9, 3.4), (1.8, 2.4), (2.1, 0.0)])
LETTER_A = np.concatenate([BOWL, [(2.05, 2.0), (2.2, 3.4), (2.7, 3.2)]])
DOTS = [np.array([(0.7, -1.2), (0.72, -1.15)]), np.array([(1.6, -1.25), (1.62, -1.2)])]


def curve(knots: NDArray[np.float64]) -> Points:
    """Return a smooth line through knots, the corner at the bowl's top right kept."""
    return pen_line(knots, np.arange(len(knots)) == len(BOWL) - 1)


def test_dots_above_and_below_are_drawn_apart_and_bars_are_not() -> None:
    found = {c: {m.apart[1] for m in models_of(c, "right", ())} for c in "\u00e4\u00c5i!TEx"}

    assert found["\u00e4"] == found["\u00c5"] == {ABOVE}
    assert ABOVE in found["i"] and BELOW in found["!"]
    assert {m.apart[1] for c in "TEx" for m in models_of(c, "right", ()) if not m.name.startswith("as people")} == {
        NOWHERE
    }
    assert detached_in_template([curve(LETTER_A), *DOTS]) == (1, ABOVE)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.9, 0.0), (-0.5, -1.4), (0.3, 0.35)])
def test_a_letter_is_read_the_same_wherever_its_dots_are(shift: tuple[float, float]) -> None:
    strokes = [curve(LETTER_A), *(d + shift for d in DOTS)]
    grey, offset = ink(strokes, seed=2)
    found = [s.points_mm for s in skeleton.trace(grey, 300, "\u00e4")]

    assert score(found, [s + offset for s in strokes], 0.5).full


def test_dots_are_found_apart_in_the_ink() -> None:
    apart = build_state_graph_of(ink([curve(LETTER_A), *DOTS])[0], 300)
    assert apart is not None
    there = detached_in_ink(*apart[1:])

    assert set(there) == {ABOVE}
    assert there[ABOVE].pieces == 2
    assert there[ABOVE].boxes[1, 1, 1] < there[ABOVE].boxes[0, 0, 1]


def test_the_shape_of_a_letter_is_the_same_wherever_its_dots_are() -> None:
    near, far = (
        shape_with_marks_aside([curve(LETTER_A), *(d + shift for d in DOTS)], 1) for shift in ((0, 0), (1.0, -2.0))
    )

    np.testing.assert_allclose(near.strokes, far.strokes, atol=1e-9)


def test_a_pen_may_turn_back_at_a_corner_without_a_tip() -> None:
    for seed in range(3):
        grey, offset = ink([curve(LETTER_A)], seed=seed)
        found = [s.points_mm for s in skeleton.trace(grey, 300, "a")]

        assert score(found, [curve(LETTER_A) + offset], 0.5).full


def test_a_ring_that_was_given_a_tip_is_not_left_broken_elsewhere() -> None:
    for case in sample_hand("Oo0", 4):
        apart = build_state_graph_of(case.grey, 300)
        assert apart is not None
        pieces, at = apart[1].pieces, apart[1].junction_of
        free = [(i, p[-k]) for i, (p, j) in enumerate(zip(pieces, at, strict=True)) for k in (0, 1) if j[k] < 0]
        assert not any(i < m and np.hypot(*(p - q)) < 1 for i, p in free for m, q in free)


@pytest.mark.parametrize(("turned", "least", "most"), [(0.0, 0.9, 1.0), (3.0, 0.0, 0.3)])
def test_lettering_is_drafted_where_it_is_upright(turned: float, least: float, most: float) -> None:
    # NBS SP 424 (Hershey's plain letters): stems upright and bars level to the unit of the design.
    way = np.deg2rad(turned)
    turn = np.array([[np.cos(way), np.sin(way)], [-np.sin(way), np.cos(way)]])
    told = []
    for case in hershey():
        if case.char in "EFHLT":
            apart = build_state_graph_of(ink([s @ turn for s in case.strokes], seed=1)[0], 300)
            assert apart is not None
            told.append(apart[2].drafted)

    assert least <= np.median(told) <= most
