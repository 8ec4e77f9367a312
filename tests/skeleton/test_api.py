"""Readings: confidence, other candidates, and what a writer's own ways add."""

from __future__ import annotations

import numpy as np

import skeleton
from capture.units import Points
from skeleton.geometry.stroke import Stroke
from skeleton.hypotheses.writing_order import writing_order
from skeleton.matching.stroke_distance import OTHER_COUNT, shape_of, stroke_distance
from tests.bench.trace_ink import ink

STEM = np.array([[1.5, 0.0], [1.5, 5.0]])
BAR = np.array([[0.0, 1.5], [3.0, 1.5]])


def writes_same(found: skeleton.Reading, strokes: list[Points]) -> bool:
    return stroke_distance(shape_of([s.points_mm for s in found.strokes]), shape_of(strokes)) < 0.05


def test_a_clear_letter_is_read_with_confidence() -> None:
    image, _ = ink([STEM, BAR])
    found = skeleton.read_character(image, 300, "t")

    assert found.confidence > 0.5
    assert found.allograph
    assert not found.findings


def test_other_readings_differ_from_the_best_and_from_each_other() -> None:
    image, _ = ink([STEM, BAR])
    found = skeleton.read_character(image, 300, "t")
    shapes = [shape_of([s.points_mm for s in r.strokes]) for r in (found, *found.candidates)]

    assert found.candidates
    assert all(not r.candidates for r in found.candidates)
    assert all(stroke_distance(a, b) > 0.05 for i, a in enumerate(shapes) for b in shapes[i + 1 :])


def test_ink_that_is_no_such_letter_is_doubtful() -> None:
    scribble = np.cumsum(np.random.default_rng(3).normal(0, 1.0, (40, 2)), axis=0)
    image, _ = ink([scribble])
    found = skeleton.read_character(image, 300, "l")

    assert found.confidence < 0.5
    assert "low confidence" in [f.kind for f in found.findings]


def test_a_blank_image_is_a_reading_without_strokes() -> None:
    assert skeleton.read_character(np.full((50, 50), 255, np.uint8), 300, "a").strokes == ()


def test_a_known_attempt_decides_what_the_ink_does_not_tell() -> None:
    odd = [BAR[::-1], STEM[::-1]]
    image, _ = ink(odd)
    plain = skeleton.read_character(image, 300, "t")
    taught = skeleton.read_character(image, 300, "t", known=[[Stroke(2 * s + 7) for s in odd]])

    assert not writes_same(plain, odd)
    assert writes_same(taught, odd)


def test_a_characters_attempts_are_read_alike() -> None:
    rng = np.random.default_rng(5)
    images = [
        ink([STEM + rng.normal(0, 0.1, STEM.shape), BAR + rng.normal(0, 0.1, BAR.shape)], seed=i)[0] for i in range(4)
    ]
    found = skeleton.read_together(images, 300, "t")
    shapes = [shape_of([s.points_mm for s in r.strokes]) for r in found]

    assert len(found) == 4
    assert all(stroke_distance(shapes[0], s) < 0.15 for s in shapes)


def test_a_blank_among_the_attempts_stays_in_its_place() -> None:
    images = [ink([STEM, BAR])[0], np.full((50, 50), 255, np.uint8), ink([STEM, BAR], seed=1)[0]]

    assert [bool(r.strokes) for r in skeleton.read_together(images, 300, "t")] == [True, False, True]


def test_shape_is_the_same_at_any_size_and_place() -> None:
    a, b = shape_of([STEM, BAR]), shape_of([3 * STEM + 9, 3 * BAR + 9])

    assert stroke_distance(a, b) < 1e-9
    assert stroke_distance(a, shape_of([STEM])) == OTHER_COUNT


def test_without_a_label_two_bars_are_written_from_the_top() -> None:
    bars = [np.array([[0.0, 3.0], [4.0, 3.0]]), np.array([[0.5, 0.0], [3.5, 0.0]])]

    assert writing_order(bars, [False, False]) == [1, 0]


def test_dots_come_last() -> None:
    stem, dot = np.array([[0.0, 2.0], [0.0, 5.0]]), np.array([[0.0, 0.0]])

    assert writing_order([dot, stem], [True, False]) == [1, 0]
