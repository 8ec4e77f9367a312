"""The general rules of writing: what comes first where nothing is known of the character."""

from __future__ import annotations

from typing import Any

import numpy as np
from pytest import approx

import skeleton
from capture.units import Points
from skeleton.hypotheses.stroke_direction import direction_features
from skeleton.hypotheses.writing_order import writing_order
from tests.bench.trace_ink import ink
from tests.bench.trace_score import gap, spread


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


def test_of_a_texture_the_lines_come_from_the_top_down() -> None:
    lines = [_line((x, y), (x + 4, y)) for y in range(90, -10, -10) for x in range(0, 100, 10)]
    tops = [lines[i][0, 1] for i in writing_order(lines, [False] * len(lines))]
    assert tops == sorted(tops)


def _read(*strokes: Points) -> list[Points]:
    image, off = ink([s / 10 for s in strokes])
    return [10 * (s.points_mm - off) for s in skeleton.trace(image, 300)]


def test_a_hook_belongs_to_the_line_that_it_ends() -> None:
    hook = _line((0, 0), (0, 100), (14, 72))
    found = _read(hook)
    assert len(found) == 1
    assert gap(spread(found[0]), spread(hook)) < 3.5


def test_a_side_that_would_be_written_upwards_is_a_stroke_of_its_own() -> None:
    # the upper right of a box: along its top, then down its side
    top, side = _line((0, 0), (60, 0)), _line((60, 0), (60, 60))
    corner, foot = [top, side], _line((0, 0), (0, 60), (60, 60))
    found = _read(*corner, foot)
    assert all(s[-1, 0] > s[0, 0] - 5 and s[-1, 1] > s[0, 1] - 5 for s in found)


def test_of_two_lines_that_cross_each_goes_straight_on() -> None:
    falling, rising = _line((0, 0), (50, 80)), _line((50, 0), (0, 80))
    found = _read(falling, rising)
    assert len(found) == 2
    for line in (falling, rising):
        assert min(min(gap(spread(s), spread(line)), gap(spread(s[::-1]), spread(line))) for s in found) < 3.5


def test_a_small_ring_is_run_clockwise_from_its_foot_and_a_large_one_the_other_way_from_its_top() -> None:
    t = np.linspace(0, 2 * np.pi, 60)
    stem = _line((0, 0), (0, 90))
    mark = np.stack([30 - 7 * np.sin(t), 8 + 7 * np.cos(t)], axis=1)
    large = np.stack([-30 * np.sin(t), 30 - 30 * np.cos(t)], axis=1)
    for ring, others, foot in ((mark, [stem], True), (large, [], False)):
        found = _read(*others, ring)
        assert len(found) == 1 + len(others)
        got = min(found, key=lambda s: float(np.hypot(*(s[0] - s[-1]))))
        assert gap(spread(got), spread(ring)) < 3.5, foot


def test_no_reading_of_anything_is_an_error_and_a_dot_stays_a_dot() -> None:
    dot = np.array([[0.0, 0.0], [0.5, 0.5]])
    found = _read(_line((0, 20), (0, 90)), dot)
    assert min(len(s) for s in found) == 1


def test_the_way_of_a_line_is_told_with_the_opposite_sign_when_it_is_turned() -> None:
    line = _line((0, 0), (40, 60), (80, 20))
    told, turned = direction_features(line, 80.0), direction_features(np.ascontiguousarray(line[::-1]), 80.0)
    assert np.allclose(told, -turned, atol=1e-9)
    assert told[0] == approx(20 / 80)
    assert told[1] == approx(1.0)
