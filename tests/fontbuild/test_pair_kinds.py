"""Pairs that stand wider apart than their shapes tell, and what a hand's own words say of them."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.pair_kinds import SPREAD, STAND_OFF, of_words, stand_off

X = 400.0
PLAIN = tuple(g * X for g in STAND_OFF)


def test_only_points_and_capitals_stand_off() -> None:
    pairs = [("e", "."), ("o", ","), ("T", "h"), ("a", "b"), ("A", "B"), (".", "."), ("b", "A")]

    assert stand_off(pairs, (3.0, 5.0)).tolist() == [3.0, 3.0, 5.0, 0.0, 0.0, 0.0, 0.0]


def test_words_tell_where_a_hand_puts_its_full_stops() -> None:
    words = ["lamp", "tide.", "stones", "mist.", "dune", "gulls,", "seal", "tern."] * 12
    wider = np.array([20.0 * (len(w) - 1) + 100.0 * (w[-1] in ".,") for w in words])
    found = []
    for seed in range(8):
        # gaps scatter by a fifth of the x-height
        noise = np.random.default_rng(seed).normal(0, 0.2 * X, len(words)) * np.sqrt([len(w) - 1 for w in words])
        more, figures = of_words(words, wider + noise, PLAIN, x_height=X)
        found.append([more, *figures])

    more, point, capital = np.mean(found, axis=0)
    assert more == pytest.approx(20.0, abs=10.0)
    assert PLAIN[0] + 55.0 < point < PLAIN[0] + 105.0
    assert capital == pytest.approx(PLAIN[1], abs=1.0)


def test_one_word_hardly_moves_the_general_figure() -> None:
    words = ["lamp", "stones", "dune", "seal", "gulls", "shore", "stairs", "tide."]
    noise = np.array([60.0, -70.0, 50.0, -60.0, 70.0, -50.0, 30.0])
    short = np.concatenate([noise, [0.4 * X]])

    _, (point, _) = of_words(words, short, PLAIN, x_height=X)

    assert 0.0 < point - PLAIN[0] < 0.25 * X
    assert max(SPREAD) < 0.25


def test_words_without_such_pairs_tell_the_gaps_mean() -> None:
    words, short = ["lamp", "tides", "ab"], np.array([30.0, 40.0, 10.0])

    more, figures = of_words(words, short, (0.0, 0.0), x_height=X)

    assert more == pytest.approx(80.0 / 8.0)
    assert figures == pytest.approx((0.2 * X, 0.08 * X))
