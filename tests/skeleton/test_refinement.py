"""Lines fitted to ink of known shape: the truth is analytic, so errors of hundredths of a pixel show."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erfc

from capture.units import Points, image_from_pixels
from skeleton.fitting.refinement import Refined, refine
from skeleton.geometry.polyline import even_steps
from skeleton.ink.ink_map import InkMap, find_ink
from skeleton.ink.scaled_darkness import Grey

PEN = 6.0
BLUR = 0.75
"""px, standard deviation: about what an optical scanner's lens and sampling make of an edge."""


def distance(points: Points, line: Points) -> NDArray[np.float64]:
    """Return the distance of every point (n, 2) from a polyline."""
    a, d = line[:-1], np.diff(line, axis=0)
    best = np.full(len(points), np.inf)
    for p, v in zip(a, d, strict=True):
        u = np.clip((points - p) @ v / max(float(v @ v), 1e-12), 0, 1)
        best = np.minimum(best, np.hypot(*(points - p - u[:, None] * v).T))
    return best


def scan(
    lines: list[Points], shape: tuple[int, int], *, pen: float = PEN, blur: float = BLUR, noise: float = 4
) -> Grey:
    """Return the image of lines drawn with a round pen, its edge blurred, with a scanner's noise (grey levels)."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    at = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    d = np.min([distance(at, line) for line in lines], axis=0) - pen / 2
    grey = 245 - 200 * 0.5 * erfc(d / (blur * np.sqrt(2))).reshape(shape)
    grey += np.random.default_rng(1).normal(0, noise, shape)
    return np.clip(np.round(grey), 0, 255).astype(np.uint8)


def ink_of(grey: Grey, dpi: float = 300) -> InkMap:
    ink = find_ink(grey, dpi)
    assert ink is not None
    return ink


def as_thinned(line: Points, *, wobble: float = 0.8, short: float = 2.0) -> Points:
    """Return the line as thinning might leave it: px aside in waves, the ends swallowed."""
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    where = np.linspace(short, s[-1] - short, max(3, int(s[-1])))
    p = np.stack([np.interp(where, s, line[:, i]) for i in (0, 1)], axis=1)
    d = np.gradient(p, axis=0)
    normal = np.stack([-d[:, 1], d[:, 0]], axis=1) / np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    return p + wobble * np.sin(where / 4.0)[:, None] * normal


def one(line: Points, shape: tuple[int, int] = (90, 90), **how: float) -> Refined:
    return refine([as_thinned(line)], ink_of(scan([line], shape, **how)))[0]


@pytest.mark.parametrize("degrees", [0, 17, 45, 72, 90])
def test_a_straight_line_lies_within_a_tenth_of_a_pixel_and_to_neither_side(degrees: int) -> None:
    u = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    centre = np.array([45.3, 44.6])
    r = one(np.stack([centre - 30 * u, centre + 30 * u]))
    off = (r.line - centre) @ np.array([-u[1], u[0]])
    assert np.abs(off).max() < 0.15
    assert abs(off.mean()) < 0.03


@pytest.mark.parametrize("degrees", [0, 33, 90])
def test_the_ends_lie_half_a_pen_width_inside_the_ink(degrees: int) -> None:
    u = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    a, b = 45 - 30 * u, 45 + 27.4 * u
    r = one(np.stack([a, b]))
    assert np.hypot(*(r.line[0] - a)) < 0.25
    assert np.hypot(*(r.line[-1] - b)) < 0.25


@pytest.mark.parametrize("radius", [5.0, 12.0, 30.0])
def test_a_bow_keeps_its_centre_and_radius(radius: float) -> None:
    t = np.linspace(0.3, 2 * np.pi - 0.7, 400)
    centre = np.array([45.4, 45.2])
    truth = centre + radius * np.stack([np.cos(t), np.sin(t)], axis=1)
    out = np.hypot(*(even_steps(one(truth).line, 0.1) - centre).T) - radius
    assert np.abs(out).max() < 0.25
    assert abs(out.mean()) < 0.06


@pytest.mark.parametrize("degrees", [90, 60, 40])
def test_a_corner_stays_a_corner(degrees: int) -> None:
    tip = np.array([45.2, 20.3])
    half = np.radians(degrees / 2)
    truth = np.stack(
        [tip + 50 * np.array([-np.sin(half), np.cos(half)]), tip, tip + 50 * np.array([np.sin(half), np.cos(half)])]
    )
    r = refine([as_thinned(truth, wobble=0.3)], ink_of(scan([truth], (90, 90))))[0]
    assert distance(r.line, truth).mean() < 0.1
    assert distance(tip[None], r.line)[0] < 0.6


def test_lines_that_cross_at_a_small_angle_run_straight_through() -> None:
    a = np.array([[10.0, 30.2], [110.0, 60.4]])
    b = np.array([[10.0, 61.3], [110.0, 29.6]])
    bent = [as_thinned(line) for line in (a, b)]
    middle = np.array([60.2, 45.4])
    for p in bent:
        # thinning makes the crossing a common stretch
        near = np.hypot(*(p - middle).T) < 6
        p[near, 1] = middle[1]
    for r, truth in zip(refine(bent, ink_of(scan([a, b], (90, 120)))), (a, b), strict=True):
        assert distance(r.line, truth).mean() < 0.1
        assert distance(r.line, truth).max() < 0.5


def test_out_and_back_in_one_blot_become_two_legs() -> None:
    t = np.linspace(0, np.pi, 40)
    turn = np.array([40.0, 20.0]) + 1.6 * np.stack([-np.cos(t), -np.sin(t)], axis=1)
    truth = np.concatenate([[[20.0, 100.0], [37.5, 62.0]], turn, [[42.5, 62.0], [62.0, 100.0]]])
    one_line = np.array([[20.0, 100.0], [38.5, 62.0], [40.0, 58.0], [40.0, 20.0]])
    back = np.array([[40.0, 20.0], [40.0, 58.0], [41.5, 62.0], [62.0, 100.0]])
    got = refine([np.concatenate([one_line, back])], ink_of(scan([truth], (120, 80))))[0].line
    assert distance(got, truth).mean() < 0.25
    assert distance(truth, got).mean() < 0.25
    # the legs do not change sides on the way
    out, home = got[: len(got) // 2], got[len(got) // 2 :]
    assert out[(out[:, 1] > 26) & (out[:, 1] < 60), 0].max() < home[(home[:, 1] > 26) & (home[:, 1] < 60), 0].min()


def test_two_strokes_side_by_side_in_one_blot_do_not_weave() -> None:
    upper = np.array([[15.0, 20.0], [30.0, 43.4], [90.0, 43.4], [105.0, 20.0]])
    lower = np.array([[15.0, 70.0], [30.0, 46.6], [90.0, 46.6], [105.0, 70.0]])
    joined = [np.array([[15.0, 20.0], [30, 44], [34, 45], [86, 45], [90, 44], [105, 20]])]
    joined += [np.array([[15.0, 70.0], [30, 46], [34, 45], [86, 45], [90, 46], [105, 70]])]
    a, b = refine(joined, ink_of(scan([upper, lower], (90, 120))))
    assert distance(a.line, upper).mean() < 0.2
    assert distance(b.line, lower).mean() < 0.2
    assert a.line[:, 1].max() < b.line[:, 1].min() + 0.3


def test_the_width_follows_the_pen() -> None:
    thin, thick = np.array([[12.0, 20.0], [100.0, 20.0]]), np.array([[12.0, 50.0], [100.0, 50.0]])
    y, x = np.mgrid[:70, :115]
    at = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    d = np.minimum(distance(at, thin) - 2.6, distance(at, thick) - 3.4)
    grey = np.round(245 - 100 * erfc(d / (BLUR * np.sqrt(2)))).reshape(x.shape).astype(np.uint8)
    a, b = refine([as_thinned(thin), as_thinned(thick)], ink_of(grey))
    assert np.median(a.width) == pytest.approx(5.2, abs=0.25)
    assert np.median(b.width) == pytest.approx(6.8, abs=0.25)


@pytest.mark.parametrize(("pen", "blur"), [(3.6, 0.7), (12.0, 0.8), (23.0, 1.2)])
def test_working_at_another_size_moves_nothing(pen: float, blur: float) -> None:
    truth = np.array([[30.3, 190.2], [190.6, 24.4], [150.2, 203.1]])
    ink = ink_of(scan([truth], (233, 227), pen=pen, blur=blur))
    to_work = ink.px_per_mm * 25.4 / 300
    start = as_thinned((truth + 0.5) * to_work - 0.5, wobble=0.4)
    got = image_from_pixels(refine([start], ink)[0].line, px_per_mm=ink.px_per_mm)
    error_px = distance(got, image_from_pixels(truth, px_per_mm=300 / 25.4)) * 300 / 25.4
    assert error_px.mean() < 0.05 * pen / 3
    assert error_px[len(error_px) // 2 + 8 :].max() < 0.35 * pen / 3


def test_a_dot_finds_its_middle() -> None:
    truth = np.array([[30.4, 28.7], [30.4, 28.7]])
    got = refine([np.array([[31.5, 27.6]])], ink_of(scan([truth], (60, 60))))[0]
    assert got.line.shape == (1, 2)
    assert np.hypot(*(got.line[0] - truth[0])) < 0.1


def test_a_ring_is_closed_and_only_a_ring() -> None:
    t = np.linspace(0, 2 * np.pi, 200)
    ring = np.array([45.0, 45.0]) + 22 * np.stack([np.cos(t), np.sin(t)], axis=1)
    got = refine([ring], ink_of(scan([ring], (90, 90))))[0]
    assert got.closed
    assert np.array_equal(got.line[0], got.line[-1])
    assert not one(np.array([[15.0, 45], [75.0, 45]])).closed


def test_parts_can_be_left_out() -> None:
    truth = np.array([[15.0, 45.0], [75.0, 45.0]])
    ink = ink_of(scan([truth], (90, 90), noise=12))
    start = as_thinned(truth, wobble=0.0) + np.array([0.0, 0.7])
    still = refine([start], ink, to_ink=False)[0].line
    assert np.abs(still[:, 1] - 45.7).max() < 1e-6
    rough = refine([start], ink, smoothly=False)[0].line
    even = refine([start], ink)[0].line
    assert abs(rough[:, 1].mean() - 45) < 0.1
    assert np.abs(np.diff(rough[:, 1], 2)).mean() > 2 * np.abs(np.diff(even[:, 1], 2)).mean()


@pytest.mark.parametrize("degrees", [60, 100, 130])
def test_small_hooks_where_the_pen_lands_are_followed(degrees: int) -> None:
    turn = np.radians(degrees)
    truth = np.array([[20.0, 45.0], [75.0, 45.0], [75.0 + 7.5 * np.cos(turn), 45.0 + 7.5 * np.sin(turn)]])
    got = refine([truth[:2] - np.array([1.0, 0.0])], ink_of(scan([truth], (90, 100))))[0].line
    assert distance(truth[2:], got)[0] < 0.6
    assert np.hypot(*(got[-1] - truth[2])) < 0.8
    assert np.hypot(*(got[0] - truth[0])) < 0.25


def test_nothing_gives_nothing() -> None:
    assert refine([], ink_of(scan([np.array([[15.0, 45.0], [75.0, 45.0]])], (90, 90)))) == []
