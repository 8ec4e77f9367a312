"""Letters that were not written beside each other are set about as far apart as the hand sets joined letters."""

from __future__ import annotations

import numpy as np
import pytest

from ownhand.composer.layout.joined_letters import FARTHEST, OUT_OF_STEP, in_step

RHYTHM = {"step": 100.0, "step_share": 1.2, "step_sd": 50.0}
SPREAD = np.full(6, 100.0)
USUAL = 100.0 + 1.2 * 200.0
LETTER = np.ones(6, bool)
FREE = np.full(5, -np.inf)


def steps(
    advance: list[float], down: list[bool], letter: np.ndarray = LETTER, closest: np.ndarray = FREE,
    rhythm: dict[str, float] = RHYTHM, together: list[bool] | None = None,
) -> np.ndarray:  # fmt: skip
    """Return the advances of letters whose middles lie at their origins, by default written one after the other."""
    held = np.array([*down, False])
    own = held if together is None else np.array([*together, False])
    return in_step(np.array(advance), held, own, letter, np.zeros(6), SPREAD, closest, rhythm)


def test_steps_as_the_hands_own_stay_and_odd_ones_come_nearer() -> None:
    found = steps([USUAL, USUAL + 40.0, USUAL - 60.0, USUAL + 1000.0, USUAL], [True] * 5)

    most = OUT_OF_STEP * FARTHEST * 50.0
    assert found - USUAL == pytest.approx([0.0, 40.0 * OUT_OF_STEP, -60.0 * OUT_OF_STEP, most, 0.0])


def test_letters_of_other_words_that_the_pen_goes_on_to_stand_as_far_as_the_hands_own_on_the_average() -> None:
    before = [USUAL + 60.0, USUAL + 20.0, USUAL + 40.0, USUAL + 80.0, USUAL]

    found = steps(before, [True] * 5, together=[False, False, False, False, True])

    assert found[:4].mean() == pytest.approx(USUAL)
    assert found[:4].std() == pytest.approx(OUT_OF_STEP * np.std(before[:4]))


def test_where_the_pen_is_lifted_words_stay_as_wide() -> None:
    before = [USUAL + 90.0, USUAL - 30.0, USUAL + 30.0, USUAL + 70.0, USUAL + 40.0]

    found = steps(before, [False] * 5)

    assert found.mean() == pytest.approx(np.mean(before))
    assert found.std() == pytest.approx(OUT_OF_STEP * np.std(before))


def test_signs_and_what_joins_do_not_decide_stay_as_they_are() -> None:
    letter = np.array([True, True, False, True, True, True])

    found = steps([USUAL + 50.0, 30.0, 40.0, np.nan, USUAL], [True, False, False, True, True], letter)

    assert found[1:3].tolist() == [30.0, 40.0]
    assert np.isnan(found[3])


def test_no_letter_comes_nearer_than_it_may() -> None:
    closest = np.array([-np.inf, USUAL + 95.0, USUAL + 200.0, -np.inf, -np.inf])

    found = steps([USUAL + 100.0] * 5, [True] * 5, closest=closest)

    assert found - USUAL == pytest.approx([60.0, 95.0, 100.0, 60.0, 60.0])


def test_a_hand_whose_steps_nobody_knows_is_left_alone() -> None:
    before = [300.0, 200.0, 900.0, np.nan, 100.0]

    assert steps(before, [True] * 5, rhythm={}) == pytest.approx(before, nan_ok=True)
