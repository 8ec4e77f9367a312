"""Narrow loops whose ink has run into one: two smooth legs on the edges of the ink, no beads."""

from __future__ import annotations

import tracemalloc
from unittest.mock import patch

import numpy as np
import pytest
from scipy.interpolate import splev, splprep

from capture.units import Points
from skeleton import selection, trace
from skeleton.fitting import closed_loops, refinement
from skeleton.fitting.closed_loops import any_beside, turning
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

PEN_MM = 0.5


def looped_l(wide: float) -> Points:
    """Return a joined l of 7 mm whose loop is `wide` mm wide, leaning, in one stroke (SciPy's spline)."""
    knots = np.array(
        [
            (-1.6, 0.0), (-0.6, -0.6), (0.5 * wide, -3.0), (0.5 * wide + 0.05, -5.5), (0.15 * wide, -7.0),
            (-0.5 * wide, -6.1), (-0.5 * wide, -4.0), (-0.5 * wide + 0.02, -1.6), (0.1, -0.2), (1.0, 0.0), (1.8, -0.8),
        ]
    )  # fmt: skip
    line = np.array(splev(np.linspace(0, 1, 300), splprep(knots.T, s=0)[0])).T
    line[:, 0] -= 0.175 * line[:, 1]
    return line


def mean_um(wide: float, seed: int) -> float:
    line = looped_l(wide)
    grey, off = ink([line], pen_mm=PEN_MM, seed=seed)
    found = [s.points_mm for s in trace(grey, 300, "l")]
    return 1e3 * score(found, [line + off], PEN_MM).mean


@pytest.mark.parametrize("wide", [0.4, 0.5])
def test_the_legs_of_a_loop_narrower_than_the_pen_lie_on_the_edges_of_its_ink(wide: float) -> None:
    with_it = np.mean([mean_um(wide, seed) for seed in range(3)])
    with patch.object(refinement, "_spread", lambda lines, wanting, paper: (lines, wanting)):
        fitted_further = np.mean([mean_um(wide, seed) for seed in range(3)])
        with patch.object(selection, "settled", lambda trial: trial):
            without = np.mean([mean_um(wide, seed) for seed in range(3)])
    assert with_it < fitted_further + 1 < 27 < without


def test_a_closed_loop_is_drawn_without_beads() -> None:
    """The turning of all lines, radians, is not a third more than that of the line that was written."""
    line = looped_l(0.4)
    grey, _ = ink([line], pen_mm=PEN_MM, seed=1)
    (stroke,) = trace(grey, 300, "l")
    written = turning(line, np.zeros(len(line), np.int64))
    assert turning(stroke.points_mm, np.zeros(len(stroke.points_mm), np.int64)) < 1.33 * written


def test_turning_is_the_sum_of_the_outer_angles() -> None:
    """A closed square turns three right angles at its inner corners; two strokes do not turn into each other."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    assert turning(square, np.zeros(5, np.int64)) == pytest.approx(1.5 * np.pi)
    assert turning(square, np.array([0, 0, 1, 1, 1])) == pytest.approx(0.5 * np.pi)


def test_lines_far_apart_or_on_each_other_are_not_looked_at() -> None:
    t = np.linspace(0, 20, 30)
    here = np.stack([np.zeros(30), t], axis=1)
    stroke = np.repeat([0, 1], 30)
    for apart, beside in ((0.0, False), (2.5, True), (12.0, False)):
        both = np.concatenate([here, here + np.array([apart, 0.0])])
        assert any_beside(both, stroke, 5.0) == beside


def loops_of(points: int) -> tuple[Points, np.ndarray]:
    """Return a row of narrow loops, px, as one stroke, and its number at every point."""
    t = np.linspace(0, points / 20, points)
    turns = np.stack([4.0 * t + 2.0 * np.sin(2 * np.pi * t), 20 * np.cos(2 * np.pi * t)], axis=1)
    return turns, np.zeros(points, np.int64)


def test_legs_beside_each_other_are_found_block_by_block_as_all_at_once() -> None:
    points, stroke = loops_of(240)
    whole = list(closed_loops._beside(points, stroke, 5.0))
    with patch.object(closed_loops, "BLOCK_POINTS", 16):
        blocks = list(closed_loops._beside(points, stroke, 5.0))
    assert len(whole) > 5
    assert [(p.one.tolist(), p.other.tolist()) for p in blocks] == [(p.one.tolist(), p.other.tolist()) for p in whole]


def test_the_ten_thousand_points_of_a_texture_are_compared_without_a_table_of_all_pairs() -> None:
    points, stroke = loops_of(10_000)
    tracemalloc.start()
    found = sum(1 for _ in closed_loops._beside(points, stroke, 5.0))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found > 300
    assert peak < 50e6  # all pairs as numbers: 800 MB
