"""The scorer of the benches: what counts as the same strokes, order and direction."""

import cv2
import numpy as np
import pytest

from tests.bench.trace_reference import reference
from tests.bench.trace_score import score, summary

STEM = np.array([[1.0, 1.0], [1.0, 6.0]])
BAR = np.array([[0.0, 3.0], [2.0, 3.0]])


def verdicts(found, written=(STEM, BAR)):
    s = score(list(found), list(written), 0.5)
    return s.count, s.paths, s.order, s.full


def test_strokes_are_themselves():
    s = score([STEM, BAR], [STEM, BAR], 0.5)

    assert (s.mean, s.p95, s.worst) == pytest.approx((0, 0, 0), abs=0.003)
    assert verdicts([STEM, BAR]) == (True, True, True, True)


def test_a_stroke_written_from_its_other_end_keeps_the_order_and_loses_the_direction():
    assert verdicts([STEM, BAR[::-1]]) == (True, True, True, False)


def test_strokes_written_in_another_order_are_the_right_paths():
    assert verdicts([BAR, STEM]) == (True, True, False, False)


def test_a_stroke_too_many_or_too_few_is_not_counted_as_right_in_anything():
    assert verdicts([STEM]) == (False, False, False, False)
    assert verdicts([STEM[:, :], BAR, BAR]) == (False, False, False, False)


def test_a_path_may_be_off_by_the_tolerance_and_no_more():
    aside = np.array([0.9 * 0.35, 0.0])

    assert verdicts([STEM + aside, BAR]) == (True, True, True, True)
    assert verdicts([STEM + 1.3 * aside, BAR]) == (True, False, False, False)


def test_a_broad_pen_is_given_more_room():
    aside = np.array([0.5, 0.0])

    assert not score([STEM + aside], [STEM], 0.5).paths
    assert score([STEM + aside], [STEM], 1.0).paths


def test_a_closed_stroke_must_begin_where_the_writer_began():
    t = np.linspace(0, 2 * np.pi, 80)
    ring = 2 * np.column_stack([np.cos(t), np.sin(t)])
    turned = 2 * np.column_stack([np.cos(t + 1.0), np.sin(t + 1.0)])

    assert score([turned], [ring], 0.5).mean < 0.01
    assert verdicts([turned], [ring]) == (True, False, False, False)


def test_a_dot_of_one_point_can_be_compared():
    dot = np.array([[2.0, 2.0]])

    assert verdicts([dot], [dot + 0.1]) == (True, True, True, True)


def test_nothing_found_is_a_miss_and_no_fault_of_the_scorer():
    assert verdicts([]) == (False, False, False, False)


def test_a_summary_is_the_mean_over_characters_in_micrometres():
    s = summary([score([STEM + np.array([0.02, 0])], [STEM], 0.5), score([BAR], [BAR[::-1]], 0.5)])

    assert s["mean"] == pytest.approx(10, abs=1.5)
    assert (s["count"], s["paths"], s["order"], s["full"]) == (1, 1, 1, 0.5)


def test_plain_thinning_breaks_a_cross_into_its_arms():
    grey = np.full((120, 120), 255, np.uint8)
    cv2.line(grey, (60, 10), (60, 110), 0, 6)
    cv2.line(grey, (10, 60), (110, 60), 0, 6)
    lines = reference(cv2.GaussianBlur(grey, (0, 0), 1.0), 254)
    long = [p for p in lines if np.hypot(*(p[-1] - p[0])) > 3]

    assert len(long) == 4
    assert all(np.hypot(*(np.vstack([p[0], p[-1]]) - 6.05).T).min() < 0.8 for p in long)
