"""Curves: as few pieces as the tolerance allows, corners kept, smooth elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.units import Points
from skeleton.fit import find_corners, fit_curve, sample_curve


def far_mm(points: Points, curve: Points) -> float:
    """Return the largest distance of any point from the curve."""
    fine = sample_curve(curve, 0.005)
    return float(np.sqrt(((points[:, None] - fine[None]) ** 2).sum(axis=2).min(axis=1)).max())


def circle(r: float, n: int = 200) -> Points:
    t = np.linspace(0, 2 * np.pi, n)
    return r * np.stack([np.cos(t), np.sin(t)], axis=1)


def test_a_circle_takes_four_pieces_at_a_hundredth_of_its_radius() -> None:
    curve = fit_curve(circle(3.0), within_mm=0.03)

    # a quarter circle is within 0.00027 radii of one cubic (Goldapp, CAGD 8, 1991); two halves are not within 0.01
    assert (len(curve) - 1) // 3 <= 4
    assert far_mm(circle(3.0), curve) < 0.03


def test_a_straight_line_is_one_piece() -> None:
    curve = fit_curve(np.stack([np.linspace(0, 5, 50), np.linspace(0, 2, 50)], axis=1), within_mm=0.02)

    assert curve.shape == (4, 2)


def test_the_corners_of_a_z_are_kept_and_nothing_else() -> None:
    z = np.concatenate(
        [
            np.stack([np.linspace(0, 3, 40), np.zeros(40)], axis=1),
            np.stack([np.linspace(3, 0, 60), np.linspace(0, 4, 60)], axis=1)[1:],
            np.stack([np.linspace(0, 3, 40), np.full(40, 4.0)], axis=1)[1:],
        ]
    )
    curve = fit_curve(z, within_mm=0.02)

    assert find_corners(z, reach=0.5) == [39, 98]
    assert curve.shape == (10, 2)
    assert np.allclose(curve[[3, 6]], [[3, 0], [0, 4]])


def test_a_bow_is_no_corner() -> None:
    assert find_corners(circle(1.0), reach=0.5) == []


def test_pieces_join_without_an_angle() -> None:
    t = np.linspace(0, 1, 300)
    wave = np.stack([8 * t, np.sin(9 * t)], axis=1)
    curve = fit_curve(wave, within_mm=0.01)

    for k in range(3, len(curve) - 1, 3):
        a, b = curve[k] - curve[k - 1], curve[k + 1] - curve[k]
        assert a @ b / np.hypot(*a) / np.hypot(*b) > 0.9999


def test_a_dot_stays_a_dot() -> None:
    assert fit_curve(np.array([[1.0, 2.0]]), within_mm=0.1).tolist() == [[1.0, 2.0]]
    assert fit_curve(np.array([[1.0, 2.0], [1.0, 2.0]]), within_mm=0.1).tolist() == [[1.0, 2.0]]


def test_impossible_input_is_refused() -> None:
    with pytest.raises(ValueError, match="shape"):
        fit_curve(np.zeros((0, 2)), within_mm=0.1)
    with pytest.raises(ValueError, match="positive"):
        fit_curve(np.zeros((3, 2)), within_mm=0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.02, 0.05, 0.1]))
def test_the_curve_is_never_further_off_than_allowed(seed: int, within: float) -> None:
    rng = np.random.default_rng(seed)
    knots = np.cumsum(rng.normal(0, 1.2, (6, 2)), axis=0)
    t = np.linspace(0, 5, 120)
    points = np.stack([np.interp(t, range(6), knots[:, i]) for i in (0, 1)], axis=1)
    kernel = np.ones(15) / 15
    points = np.stack([np.convolve(points[:, i], kernel, "valid") for i in (0, 1)], axis=1)
    curve = fit_curve(points, within_mm=within)

    assert (len(curve) - 1) % 3 == 0
    assert np.allclose(curve[[0, -1]], points[[0, -1]])
    assert far_mm(points, curve) <= within * 1.001 + 1e-6
