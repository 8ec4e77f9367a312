"""A dot that ran into its letter is no form to repeat."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.collisions import RAN_INTO, SPECK, find_collisions
from fontbuild.variants import AttemptStrokes


def an_i(id_: str, dot_mm: float) -> AttemptStrokes:
    stem = np.column_stack([np.zeros(40), np.linspace(3.0, 0.0, 40)])
    return AttemptStrokes(id_, "i", (stem, np.array([[0.1, 3.0 + dot_mm]])), width_mm=0.4)


def test_a_low_dot_is_set_aside_where_others_stand_clear():
    group = [an_i("a", 1.2), an_i("b", 1.4), an_i("low", 0.3)]

    assert find_collisions({"i": group}) == {"low": RAN_INTO}


@pytest.mark.parametrize("gaps", [(1.2, 0.3), (0.2, 0.3, 0.3), (1.0, 1.3, 1.4)])
def test_nothing_is_set_aside_where_too_few_would_stay_or_none_touches(gaps):
    group = [an_i(str(k), gap) for k, gap in enumerate(gaps)]

    assert find_collisions({"i": group}) == {}


def test_what_a_person_keeps_stays():
    group = [an_i("a", 1.2), an_i("b", 1.4), an_i("low", 0.3)]

    assert find_collisions({"i": group}, keep={"low"}) == {}


def test_a_speck_that_the_others_do_not_have_is_set_aside():
    stem = an_i("x", 1.0).strokes[0]
    group = [AttemptStrokes(str(k), "l", (stem,), width_mm=0.4) for k in range(3)]
    specked = AttemptStrokes("specked", "l", (stem, np.array([[0.9, -0.2]])), width_mm=0.4)

    assert find_collisions({"l": [*group, specked]}) == {"specked": SPECK}


def test_a_pair_of_which_one_has_a_speck_stays_whole():
    stem = an_i("x", 1.0).strokes[0]
    pair = [
        AttemptStrokes("a", "l", (stem,), width_mm=0.4),
        AttemptStrokes("b", "l", (stem, np.array([[0.9, -0.2]])), width_mm=0.4),
    ]

    assert find_collisions({"l": pair}) == {}


def test_letters_without_dots_may_touch_themselves():
    group = [AttemptStrokes(str(k), "t", an_i("x", 0.1).strokes, width_mm=0.4) for k in range(4)]

    assert find_collisions({"t": group}) == {}


def test_a_short_bar_on_a_stem_is_neither_a_speck_nor_a_broken_line():
    stem = np.column_stack([np.zeros(40), np.linspace(3.0, 0.0, 40)])
    bar = np.column_stack([np.linspace(-0.5, 0.5, 10), np.full(10, 1.5)])
    plain = [AttemptStrokes(str(k), "7", (stem,), width_mm=0.4) for k in range(3)]

    assert find_collisions({"7": [*plain, AttemptStrokes("barred", "7", (stem, bar), width_mm=0.4)]}) == {}
    assert find_collisions(
        {"7": [*plain, AttemptStrokes("loose", "7", (stem, bar + np.array([1.5, 0])), width_mm=0.4)]}
    ) == {"loose": SPECK}


def test_the_dot_of_an_i_is_no_speck_however_many_lack_theirs():
    bare = [AttemptStrokes(f"bare {k}", "i", (an_i("x", 1.0).strokes[0],), width_mm=0.4) for k in range(4)]
    dotted = [an_i(str(k), 1.2) for k in range(2)]

    assert find_collisions({"i": [*bare, *dotted]}) == {}


def test_low_dots_stay_where_the_others_have_none():
    bare = [AttemptStrokes(f"bare {k}", "i", (an_i("x", 1.0).strokes[0],), width_mm=0.4) for k in range(4)]

    assert find_collisions({"i": [*bare, an_i("low", 0.3), an_i("clear", 1.2)]}) == {}
