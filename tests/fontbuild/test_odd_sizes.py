from __future__ import annotations

import numpy as np
import pytest

from fontbuild.odd_sizes import LEAST_SIZE, MOST_PAIR_SIZE, ODD_SIZE, deviations, most_of_pair, size_scatter


def test_the_scatter_of_many_sizes_is_theirs_whatever_their_characters_are_large_by():
    rng = np.random.default_rng(1)
    characters = [rng.normal(mean, 0.16, 9) for mean in rng.normal(0, 1, 200)]

    assert size_scatter(characters) == pytest.approx(0.16, rel=0.1)


def test_one_letter_of_another_size_hardly_changes_the_scatter():
    rng = np.random.default_rng(2)
    characters = [rng.normal(0, 0.1, 6) for _ in range(20)]
    spoiled = [*characters[:-1], np.append(characters[-1][:-1], 3.0)]

    assert size_scatter(spoiled) == pytest.approx(size_scatter(characters), rel=0.1)


@pytest.mark.parametrize("scatter, is_odd", [(0.06, True), (0.25, False)])
def test_a_letter_half_as_large_again_is_odd_in_a_steady_hand_only(scatter: float, is_odd: bool):
    sizes = np.append(np.linspace(-scatter, scatter, 7), np.log(1.65))

    assert bool(deviations(sizes, scatter)[-1] > ODD_SIZE) is is_odd
    assert (np.abs(deviations(sizes, scatter)[:-1]) < ODD_SIZE).all()


def test_of_fewer_than_three_attempts_none_is_far_off_and_two_may_differ_within_bounds():
    assert deviations(np.array([0.0, 2.0]), 0.1).tolist() == [0.0, 0.0]
    assert most_of_pair(0.01) == LEAST_SIZE < most_of_pair(0.09) < most_of_pair(1.0) == MOST_PAIR_SIZE
