"""Two ways to measure a polyline, NumPy's and the compiled loops', give the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.geometry import arc_length, polyline

POINTS = st.lists(st.tuples(*[st.floats(-50, 50, allow_subnormal=False)] * 2), min_size=2, max_size=12)


@given(POINTS, st.floats(-5, 200))
def test_lengths_and_points_are_the_same_in_both(points: list[tuple[float, float]], where: float) -> None:
    line = np.array(points, float)

    assert arc_length.line_length(line) == pytest.approx(polyline.line_length(line))
    np.testing.assert_allclose(arc_length.arc_lengths(line), polyline.along(line), atol=1e-9)
    if arc_length.line_length(line) > 1e-6:
        at = np.array([where])
        np.testing.assert_allclose(arc_length.points_at(line, at), polyline.at_lengths(line, at), atol=1e-6)


def test_a_dot_has_no_length_and_is_repeated() -> None:
    dot = np.array([[2.0, 3.0]])

    assert arc_length.line_length(dot) == 0
    np.testing.assert_array_equal(arc_length.resample(dot, 3), np.repeat(dot, 3, axis=0))


def test_points_at_equal_steps_lie_where_a_ruler_has_them() -> None:
    """Sides of 5 (3, 4, 5), 4 and 3: a quarter is 3 along the first side, a half 1 along the second."""
    line = np.array([[0.0, 0.0], [3.0, 4.0], [7.0, 4.0], [7.0, 1.0]])

    np.testing.assert_allclose(arc_length.resample(line, 5), [(0, 0), (1.8, 2.4), (4, 4), (7, 4), (7, 1)], atol=1e-12)
