"""Lines so near each other that their ink runs into one: each is drawn where it was drawn."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np

from skeleton import trace
from skeleton.ink import ink_map
from skeleton.ink.ink_map import find_ink
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

DPI = 300.0
PEN_MM = 0.5


def hatching(apart_mm: float) -> list[np.ndarray]:
    """Return six slanting lines side by side, mm, y down."""
    return [np.array([[i * apart_mm, 0.0], [i * apart_mm + 1, 5.0]]) for i in range(6)]


def mean_um(seed: int) -> float:
    """Return how far the lines that are traced lie from those drawn, which leave a tenth of a millimetre of paper."""
    lines = hatching(0.6)
    grey, off = ink(lines, seed=seed, pen_mm=PEN_MM)
    return 1e3 * score([s.points_mm for s in trace(grey, DPI)], [s + off for s in lines], PEN_MM).mean


def test_hatching_whose_ink_runs_into_one_is_followed_line_by_line() -> None:
    with_it = np.mean([mean_um(seed) for seed in range(4)])
    with patch.object(ink_map, "BROAD_HALF_WIDTH_PEN_WIDTHS", np.inf):
        without = np.mean([mean_um(seed) for seed in range(4)])
    assert with_it < 50 < 120 < without


def test_bare_streaks_of_a_dry_pen_part_no_line() -> None:
    """A broad band without gaps, drawn by a pen that skips, stays in one piece."""
    grey, _ = ink(hatching(0.35), kind="skipping", seed=1, pen_mm=PEN_MM)
    found = find_ink(grey, DPI)
    with patch.object(ink_map, "BROAD_HALF_WIDTH_PEN_WIDTHS", np.inf):
        before = find_ink(grey, DPI)
    assert found is not None and before is not None
    assert np.array_equal(found.mask, before.mask)
