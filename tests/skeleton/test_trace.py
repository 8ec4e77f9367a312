"""What the tracer makes of small drawings: each names one thing that thinning alone gets wrong."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

import skeleton
from capture.units import Points
from tests.bench.trace_ink import even, ink

PEN_MM = 0.5


def line(*points: tuple[float, float]) -> Points:
    return np.array(points, float)


def arc(cx: float, cy: float, r: float, start_deg: float, end_deg: float) -> Points:
    t = np.radians(np.linspace(start_deg, end_deg, 60))
    return np.stack([cx + r * np.cos(t), cy - r * np.sin(t)], axis=1)


def read(strokes: list[Points], char: str | None = None, **how: object) -> tuple[list[Points], list[Points]]:
    """Return traced and written strokes in the image's frame."""
    image, offset = ink(strokes, **how)  # type: ignore[arg-type]
    dpi = float(how.get("dpi", 300))  # type: ignore[arg-type]
    return [s.points_mm for s in skeleton.trace(image, dpi, char)], [s + offset for s in strokes]


def gap_mm(found: Points, true: Points) -> float:
    """Return the mean distance of two lines at equal arc lengths, in the same direction."""

    def at(p: Points) -> Points:
        s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        t = np.linspace(0, s[-1], 50)
        return np.stack([np.interp(t, s, p[:, 0]), np.interp(t, s, p[:, 1])], axis=1)

    return float(np.hypot(*(at(found) - at(true)).T).mean())


def same_line(found: Points, true: Points) -> float:
    return min(gap_mm(found, true), gap_mm(found[::-1], true))


def test_a_blank_image_has_no_strokes() -> None:
    noise = np.random.default_rng(1).normal(245, 4, (80, 60)).clip(0, 255).astype(np.uint8)

    assert skeleton.trace(np.full((80, 60), 250, np.uint8), 300) == []
    assert skeleton.trace(noise, 300, "a") == []
    assert skeleton.trace(np.zeros((0, 0), np.uint8), 300) == []


def test_an_image_that_is_not_grey_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="uint8"):
        skeleton.trace(np.zeros((10, 10, 3), np.uint8), 300)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="dpi"):
        skeleton.trace(np.zeros((10, 10), np.uint8), 0)


def test_a_dot_is_one_point_in_its_middle() -> None:
    found, _ = read([line((0, 0))])
    image, offset = ink([line((0, 0))])

    assert [len(s) for s in found] == [1]
    assert np.hypot(*(found[0][0] - offset)) < 0.04
    assert image.min() < 120


@pytest.mark.parametrize("dpi", [200, 300, 600])
@pytest.mark.parametrize("angle_deg", [0, 17, 45, 90])
def test_a_straight_line_lies_where_it_was_drawn_without_a_constant_offset(dpi: float, angle_deg: float) -> None:
    d = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    sides = []
    for seed in range(8):
        (found,), (true,) = read([np.stack([0 * d, 5 * d])], dpi=dpi, kind="clean", seed=seed)
        normal = np.array([-d[1], d[0]])
        sides.append(float(((found - true[0]) @ normal)[2:-2].mean()))

    assert abs(np.mean(sides)) < 0.004
    assert np.max(np.abs(sides)) < 0.012


def test_the_ends_of_a_line_lie_half_a_pen_width_inside_its_ink() -> None:
    for pen in (0.3, 0.5, 0.8):
        (found,), (true,) = read([line((0, 0), (4, 1))], pen_mm=pen)

        assert same_line(found, true) < 0.06
        assert np.hypot(*(found[[0, -1]] - true).T).max() < 0.12


def test_a_t_is_two_strokes_not_three() -> None:
    stem, bar = line((1.5, 0), (1.5, 5)), line((0, 1.5), (3, 1.5))
    for char in ("t", None):
        found, true = read([stem, bar], char)

        assert len(found) == 2
        assert {int(np.argmin([same_line(f, t) for t in true])) for f in found} == {0, 1}
        assert max(min(same_line(f, t) for t in true) for f in found) < 0.08


def test_a_t_is_written_stem_first_and_downwards() -> None:
    stem, bar = line((1.5, 0), (1.5, 5)), line((0, 1.5), (3, 1.5))
    found, true = read([stem, bar], "t")

    assert [gap_mm(f, t) < 0.1 for f, t in zip(found, true, strict=True)] == [True, True]


@pytest.mark.parametrize("angle_deg", [30, 45, 60, 90])
def test_a_crossing_is_two_straight_lines_at_any_angle(angle_deg: float) -> None:
    half = 2.5 * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    strokes = [line((-2.5, 0), (2.5, 0)), np.stack([-half, half])]
    found, true = read(strokes)

    assert len(found) == 2
    for f in found:
        t = min(true, key=lambda t: same_line(f, t))
        d = (t[1] - t[0]) / np.hypot(*(t[1] - t[0]))
        off = np.abs((f - t[0]) @ np.array([-d[1], d[0]]))
        assert off.max() < 0.06


def test_a_bar_is_not_pulled_aside_by_the_stem_that_meets_it() -> None:
    bar, stem = line((0, 0), (4, 0)), line((2, 0), (2, 4))
    found, true = read([bar, stem])
    f = min(found, key=lambda s: same_line(s, true[0]))

    assert np.abs(f[:, 1] - true[0][0, 1]).max() < 0.05


def test_a_stem_gone_down_and_up_again_is_one_stroke() -> None:
    down_up_over = np.concatenate([line((0, 0), (0, 3.5), (0.05, 1.2)), arc(1.05, 1.2, 1.0, 180, 0), line((2.05, 3.5))])
    found, true = read([down_up_over], "n")

    assert len(found) == 1
    assert gap_mm(found[0], true[0]) < 0.3


def test_the_shape_of_a_rough_edge_is_no_stroke() -> None:
    image, _ = ink([line((0, 0), (5, 0))], pen_mm=0.8)
    image = image.copy()
    w = image.shape[1]
    top = int(np.flatnonzero(image[:, w // 2] < 120)[0])
    image[top - 2 : top, w // 2 - 1 : w // 2 + 2] = 60

    assert len(skeleton.trace(image, 300)) == 1


def test_a_skip_of_the_pen_is_bridged() -> None:
    image, offset = ink([line((0, 0), (6, 0))])
    image = image.copy()
    k = 300 / 25.4
    x = round((3 + offset[0]) * k)
    image[:, x - 3 : x + 3] = np.maximum(image[:, x - 3 : x + 3], 205)
    found = skeleton.trace(image, 300)

    assert len(found) == 1
    assert found[0].length_mm == pytest.approx(6, abs=0.15)


def test_a_blank_skip_in_a_straight_line_is_bridged_and_a_gap_between_lines_aside_is_not() -> None:
    image, offset = ink([line((0, 0), (6, 0))])
    image = image.copy()
    x = round((3 + offset[0]) * 300 / 25.4)
    image[:, x - 2 : x + 4] = 245
    aside, _ = ink([line((0, 0), (2.8, 0)), line((3.5, 0.35), (6, 0.35))])

    assert len(skeleton.trace(image, 300)) == 1
    assert len(skeleton.trace(aside, 300)) == 2


def test_a_pale_skip_in_a_bend_is_bridged() -> None:
    image, offset = ink([arc(0, 0, 1.4, 200, 340)], kind="clean")
    image = image.copy()
    x = round(offset[0] * 300 / 25.4)
    image[:, x - 3 : x + 2] = np.maximum(image[:, x - 3 : x + 2], 185)

    assert len(skeleton.trace(image, 300)) == 1


def test_a_ring_starts_at_its_top_and_runs_counter_clockwise() -> None:
    for char in ("o", None):
        found, true = read([arc(0, 0, 1.8, 90, 450)], char)

        assert len(found) == 1
        p = found[0]
        centre = true[0].mean(axis=0)
        assert p[0, 1] < centre[1] - 1.5
        assert p[len(p) // 4, 0] < centre[0]
        assert np.hypot(*(p - centre).T) == pytest.approx(1.8, abs=0.05)


def test_a_ring_says_that_it_is_closed() -> None:
    image, _ = ink([arc(0, 0, 1.8, 90, 450)])
    (ring,) = skeleton.trace(image, 300, "o")

    assert ring.closed
    assert np.allclose(ring.points_mm[0], ring.points_mm[-1])


def test_the_pens_width_is_told_along_the_stroke() -> None:
    image, _ = ink([line((0, 0), (5, 2))], pen_mm=0.6, kind="clean")
    (stroke,) = skeleton.trace(image, 300)

    assert stroke.width_mm == pytest.approx(0.6, abs=0.05)
    assert stroke.widths_mm is not None
    assert stroke.widths_mm.shape == (len(stroke.points_mm),)


def test_the_same_drawing_at_another_resolution_gives_the_same_lines() -> None:
    strokes = [arc(0, 0, 2, 40, 320), line((2.9, -2), (2.9, 2.4))]
    coarse, true = read(strokes, dpi=200, kind="clean")
    fine, true_fine = read(strokes, dpi=600, kind="clean")

    assert len(coarse) == len(fine) == 2
    for found, truth in ((coarse, true), (fine, true_fine)):
        assert max(min(same_line(f, t) for t in truth) for f in found) < 0.08


def test_uneven_light_does_not_make_ink_of_paper() -> None:
    image, _ = ink([line((0, 0), (6, 3))], seed=2)
    w = image.shape[1]
    shade = np.linspace(1.0, 0.72, w)[None]
    found = skeleton.trace((image * shade).astype(np.uint8), 300)

    assert len(found) == 1


def test_tracing_twice_gives_the_same_strokes() -> None:
    image, _ = ink([arc(0, 0, 2, 40, 320), line((2.2, -2), (2.2, 2.4))])
    a, b = skeleton.trace(image, 300, "d"), skeleton.trace(image, 300, "d")

    assert all(np.array_equal(x.points_mm, y.points_mm) for x, y in zip(a, b, strict=True))


def test_importing_the_package_does_not_load_the_compiler() -> None:
    code = "import sys, skeleton; sys.exit('numba' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_even_steps_keep_both_ends() -> None:
    p = line((0, 0), (1, 0), (1, 1))

    assert np.allclose(even(p, 0.3)[[0, -1]], p[[0, -1]])
