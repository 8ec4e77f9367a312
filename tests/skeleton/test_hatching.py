"""Lines so near each other that their ink runs into one: each is drawn where it was drawn."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest

from skeleton import trace
from skeleton.ink import mask
from skeleton.ink.ink_map import find_ink
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

DPI = 300.0
PEN_MM = 0.5


def hatching(apart_mm: float) -> list[np.ndarray]:
    """Return six slanting lines side by side, mm, y down."""
    return [np.array([[i * apart_mm, 0.0], [i * apart_mm + 1, 5.0]]) for i in range(6)]


def mean_um(apart_mm: float, seed: int) -> float:
    """Return how far the lines that are traced lie from those drawn."""
    lines = hatching(apart_mm)
    grey, off = ink(lines, seed=seed, pen_mm=PEN_MM)
    return 1e3 * score([s.points_mm for s in trace(grey, DPI)], [s + off for s in lines], PEN_MM).mean


@pytest.mark.parametrize(("apart_mm", "without_um"), [(0.6, 60), (0.65, 42)])
def test_hatching_whose_ink_runs_into_one_is_followed_line_by_line(apart_mm: float, without_um: float) -> None:
    """The wider gaps are taken for streaks that a dry pen left, and closed, before they are opened again."""
    with_it = np.mean([mean_um(apart_mm, seed) for seed in range(4)])
    with patch.object(mask, "BROAD_HALF_WIDTH_PEN_WIDTHS", np.inf):
        without = np.mean([mean_um(apart_mm, seed) for seed in range(4)])
    assert with_it < 40 < without_um < without


def test_bare_streaks_of_a_dry_pen_part_no_line() -> None:
    """A broad band without gaps, drawn by a pen that skips, stays in one piece."""
    grey, _ = ink(hatching(0.35), kind="skipping", seed=1, pen_mm=PEN_MM)
    found = find_ink(grey, DPI)
    with patch.object(mask, "BROAD_HALF_WIDTH_PEN_WIDTHS", np.inf):
        before = find_ink(grey, DPI)
    assert found is not None and before is not None
    assert np.array_equal(found.mask, before.mask)
