"""The general rules of writing: what comes first where nothing is known of the character."""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.order import against_the_grain, writing_order


def _line(*corners: tuple[float, float]) -> Any:
    p = np.array(corners, float)
    s = np.linspace(0, len(p) - 1, 24 * (len(p) - 1) + 1)
    return np.stack([np.interp(s, np.arange(len(p)), p[:, k]) for k in (0, 1)], axis=1)


def test_a_level_line_comes_before_the_upright_one_that_crosses_it() -> None:
    upright, level = _line((50, 0), (50, 100)), _line((0, 50), (100, 50))
    assert writing_order([upright, level], [False, False]) == [1, 0]


def test_of_two_marks_in_the_upper_right_the_left_one_is_first_and_both_come_last() -> None:
    body = _line((0, 20), (60, 20), (10, 100))
    left, right = _line((76, 2), (82, 12)), _line((88, -2), (94, 8))
    assert writing_order([right, left, body], [False, False, False]) == [2, 1, 0]


def test_a_hook_belongs_to_the_line_that_it_ends() -> None:
    hook = _line((0, 0), (0, 100), (14, 72))
    assert against_the_grain(hook, 5.0) == [(0, len(hook) - 1)]


def test_a_side_that_would_be_written_upwards_is_a_stroke_of_its_own() -> None:
    corner = _line((0, 0), (60, 0), (60, -60))
    assert len(against_the_grain(corner, 5.0)) == 2
