"""How letters stand beside each other on ruled lines comes out as they were set there, whatever was cut wrongly."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.joins import APART, WAYS
from fontbuild.letters_on_lines import LEAST_PAIRS, QUARTILES_SD, letters_on_lines
from skeleton.attempt import Attempt, Stroke

X_HEIGHT_MM = 3.0


def line(key: str, wide: float, form: str) -> Attempt:
    """Return a letter that is a level line, in a cell of a sheet of 3 mm."""
    points = np.column_stack([np.linspace(0.5, 0.5 + wide, 9), np.zeros(9)])
    return Attempt(key, "n", 1, "written", (Stroke(points, 0.4),), X_HEIGHT_MM, 6.0, -3.0, 8.0, 0.4, allograph=form)


def written(gaps: list[float], widths: list[float], form: str) -> tuple[list[Attempt], dict[str, tuple[float, float]]]:
    """Return words of two letters each with a gap between their boxes, mm, and the places of both on the page."""
    attempts, places = [], {}
    for row, gap in enumerate(gaps):
        one, two = widths[2 * row : 2 * row + 2]
        after = WAYS[True, False] if form == WAYS[False, True] else APART
        attempts += [line(f"s/1/{row}.1", one, form), line(f"s/1/{row}.2", two, after)]
        places |= {f"s/1/{row}.1": (20.0, 9.0 * row), f"s/1/{row}.2": (20.0 + one + gap, 9.0 * row)}
    return attempts, places


def test_the_gap_where_the_pen_was_lifted_and_what_it_scatters_by() -> None:
    gaps = np.random.default_rng(1).normal(1.2, 0.5, 400)
    gaps[:20] = -4.0

    found = letters_on_lines(*written(gaps.tolist(), [2.5] * 800, APART))

    assert found["pen_up_gap"] == pytest.approx(1.2 / X_HEIGHT_MM, abs=0.04)
    assert found["pen_up_gap_sd"] == pytest.approx(0.5 / X_HEIGHT_MM, rel=0.2)
    assert "step" not in found


def test_the_standard_deviation_is_that_of_a_normal_distribution() -> None:
    # quantile .75 of the normal distribution is .6745 (Abramowitz and Stegun, Handbook of Mathematical Functions, 1964)
    assert pytest.approx(2 * 0.6745, abs=1e-3) == QUARTILES_SD


def test_the_steps_where_the_pen_stayed_down() -> None:
    widths = np.random.default_rng(2).uniform(1.0, 4.0, 120).tolist()

    found = letters_on_lines(*written([0.0] * 60, widths, WAYS[False, True]))

    # a step is half of both lines, and half a line is 1.73 of its deviation
    assert found["step_share"] == pytest.approx(np.sqrt(3.0), abs=0.02)
    assert found["step"] == pytest.approx(0.0, abs=0.02)
    assert "pen_up_gap" not in found


def test_few_pairs_and_letters_whose_place_nobody_knows_tell_nothing() -> None:
    attempts, places = written([1.0] * (LEAST_PAIRS - 1), [2.5] * 2 * LEAST_PAIRS, APART)

    assert letters_on_lines(attempts, places) == {}
    assert letters_on_lines(written([1.0] * 60, [2.5] * 120, APART)[0], {}) == {}
