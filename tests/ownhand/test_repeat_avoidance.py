"""Letters that would have the very shape of another in sight: found alike however many are looked at together."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from ownhand.composer.layout import repeat_avoidance
from ownhand.composer.layout.repeat_avoidance import separate_repeats

SIZE_MM = 3.0


def written(count: int, lines: int, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return letters of one kind that differ by about as much as may be: points, kinds, counts and lines."""
    rng = np.random.default_rng(seed)
    shape = rng.uniform(0, SIZE_MM, (4, 2))
    points = shape + rng.normal(size=(count, 4, 2)) * 0.02 * SIZE_MM + rng.uniform(0, 200, (count, 1, 2))
    line = np.sort(rng.integers(0, lines, count))
    return points.reshape(-1, 2), np.zeros(count, np.int64), np.full(count, 4), line


@pytest.mark.parametrize("together", [1, 7, 299, 300])
def test_letters_looked_at_in_parts_are_those_found_at_once(monkeypatch: pytest.MonkeyPatch, together: int) -> None:
    page = written(300, 20)
    at_once = separate_repeats(*page, SIZE_MM)
    changed = np.any(at_once != page[0], axis=1).reshape(300, 4).any(axis=1)
    assert 20 < changed.sum() < 280

    monkeypatch.setattr(repeat_avoidance, "TOGETHER", together)
    np.testing.assert_array_equal(separate_repeats(*page, SIZE_MM), at_once)


def test_many_letters_of_one_kind_take_memory_by_their_number_and_not_by_its_square() -> None:
    page = written(6000, 60)
    tracemalloc.start()
    try:
        separate_repeats(*page, SIZE_MM)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert peak < 120e6  # all with all: more than 1,000e6
